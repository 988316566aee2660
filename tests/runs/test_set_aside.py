"""A reading that all others contradict, through a whole run: set aside, told, and brought back on request."""

import json
from pathlib import Path

import pandas as pd
import pytest
from helpers import small_ranch

from stressmap.jobs.run import run

ROW, TREE = 12, "T11"
WRONG_BAR = 12.0


def mapped(folder: Path, settings: str = small_ranch.SETTINGS) -> tuple[pd.DataFrame, dict]:
    """Run a small ranch, one reading 12 bar too high: its readings by row, and its record."""
    source = small_ranch.write(folder, settings)
    table = pd.read_csv(folder / "readings.csv")
    table.loc[ROW - 2, "pressure_bar"] += WRONG_BAR
    table.to_csv(folder / "readings.csv", index=False)
    made = run(source, out=folder / "out").folder
    readings = pd.read_csv(made / "readings.csv", keep_default_na=False).set_index("row")
    return readings, json.loads((made / "run.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[pd.DataFrame, dict]:
    return mapped(tmp_path_factory.mktemp("set_aside"))


def test_it_is_not_used_and_says_why(found) -> None:
    readings, _ = found
    one = readings.loc[ROW]
    assert (str(one["used"]).lower(), one["flags"], float(one["weight"])) == (
        "false",
        "unlike_neighbours",
        0.0,
    )
    assert float(one["z_score"]) > 3.5
    assert float(one["stress_bar"]) - float(one["predicted_bar"]) == pytest.approx(WRONG_BAR, abs=4.0)
    others = readings.drop(index=ROW)
    assert (others["used"].astype(str).str.lower() == "true").all()
    assert (others["weight"].astype(float) > 0.2).all()


def test_the_run_says_which_and_by_how_much_the_map_moved(found) -> None:
    _, record = found
    (note,) = [note for note in record["notes"] if note["code"] == "readings_set_aside"]
    assert "All others contradict 1 reading" in "".join(record["warnings"])
    assert f"row {ROW}" in "".join(record["warnings"])
    assert "most_bar" in json.dumps(note)
    assert record["counts"]["used"] == record["counts"]["readings"] - 1
    (file,) = [file for file in record["inputs"] if file["kind"] == "readings"]
    assert "unlike_neighbours" in json.dumps(file)


def test_keep_brings_it_back_in_full(tmp_path: Path) -> None:
    kept = small_ranch.SETTINGS + '\n[reading]\nkeep = ["unlike_neighbours"]\n'
    readings, record = mapped(tmp_path, kept)
    assert (readings["used"].astype(str).str.lower() == "true").all()
    assert (readings["weight"].astype(float) == 1.0).all()
    assert not [note for note in record["notes"] if note["code"] == "readings_set_aside"]
