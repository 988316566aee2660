"""What is read before a visit is judged."""

from pathlib import Path

import pytest
from helpers import small_ranch

from stressmap.jobs.assess_visit import load_inputs


@pytest.mark.parametrize("text", ["", "valve,start,hours\n"])
def test_a_log_in_which_nothing_has_run_yet_is_as_none_and_is_told(tmp_path: Path, text: str) -> None:
    path = small_ranch.write(tmp_path, small_ranch.SETTINGS)
    (tmp_path / "irrigation.csv").write_text(text)
    made = load_inputs(path)
    assert made.value[0].irrigation is None
    told = [dict(note.values)["files"] for note in made.notes if note.code == "files_without_rows"]
    assert [[Path(file).name for file in files] for files in told] == [["irrigation.csv"]]
