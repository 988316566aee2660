"""A column that ``[columns]`` names is read in the unit that its own heading states, wherever it stands."""

from pathlib import Path

import pytest
from helpers import small_ranch

from stressmap.jobs.assess_visit import load_inputs


@pytest.mark.parametrize("heading", ["inches applied", "applied, inches", "in applied", "pulgadas de agua"])
def test_inches_are_never_read_as_millimetres(tmp_path: Path, heading: str) -> None:
    """An inch is 25.4 mm: NIST Special Publication 811, 2008, appendix B.8."""
    settings = f'{small_ranch.SETTINGS}\n[columns]\n"{heading}" = "mm"\n'
    path = small_ranch.write(tmp_path, settings)
    (tmp_path / "irrigation.csv").write_text(f'valve,start,hours,"{heading}"\nN1,2026-07-10 20:00,10,1.5\n')
    log = load_inputs(path).value[0].irrigation
    assert log["mm"].tolist() == pytest.approx([38.1])
