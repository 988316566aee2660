"""Awkward readings files: each says in its name what is awkward about it.

Every file of ``readings/`` is read to the same table as ``clean.csv``, or is refused with the message that
``refused.toml`` has for it. What a file needs said in ``ranch.toml`` is in ``SETTINGS``; what it does not
carry in ``LACKS``; where its rows stand in ``ROWS`` (2 to 7 elsewhere).
"""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from helpers.invented_ranch import ZONE

from stressmap.core.errors import DataError
from stressmap.core.settings import Settings
from stressmap.intake.readings import read_readings

HERE = Path(__file__).parent
FILES = sorted((HERE / "readings").iterdir())

SETTINGS: dict[str, dict[str, Any]] = {
    "headings_said_under_columns.csv": {
        "columns": {
            "Quien sabe": "tree_id", "Wann": "time", "O": "lon", "N": "lat", "Manometer": "pressure_bar",
            "Zweite": "recheck_bar", "Beutel": "bag_minutes", "Schlag": "block", "Notiz": "note",
        }
    },
    "two_pressures_one_chosen.csv": {"columns": {"gauge_bar": "pressure_bar"}},
    "columns_names_what_is_not_there.csv": {"columns": {"Bäume": "tree_id"}},
    "unit_in_the_settings_psi.csv": {"reading": {"unit": "psi"}},
    "heading_disagrees_with_the_settings.csv": {"reading": {"unit": "psi"}},
    "state_plane_feet_crs_in_the_settings.csv": {"reading": {"crs": "EPSG:2226"}},
}  # fmt: skip

_SPARSE = {"recheck_bar", "bag_minutes", "block", "note"}
LACKS = {
    "waypoints_number_in_the_comment.gpx": _SPARSE,
    "waypoints_reading_behind_the_name.gpx": _SPARSE,
}
ROWS = {
    "blank_lines_between.csv": [3, 4, 7, 8, 9, 10],
    "rows_of_separators_only.csv": [2, 3, 4, 8, 9, 10],
    "title_row_above.csv": [3, 4, 5, 6, 7, 8],
    "title_and_date_rows_above.csv": [5, 6, 7, 8, 9, 10],
    "sep_line_of_a_spreadsheet.csv": [3, 4, 5, 6, 7, 8],
    "units_row_above.csv": [3, 4, 5, 6, 7, 8],
    "units_row_below.csv": [3, 4, 5, 6, 7, 8],
    "workbook_a_sheet_a_visit.xlsx": [2, 3, 4, 2, 3, 4],
    "workbook_with_a_cover_sheet_and_title.xlsx": [4, 5, 6, 7, 8, 9],
}
REFUSED: dict[str, str] = tomllib.loads((HERE / "refused.toml").read_text(encoding="utf-8"))


def settings(name: str) -> Settings:
    table = {
        "ranch": {"name": "Invented", "timezone": ZONE},
        "files": {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")},
    }
    return Settings.model_validate({**table, **SETTINGS.get(name, {})})


def read(path: Path) -> pd.DataFrame:
    return read_readings(path, settings(path.name)).value


CLEAN = read(HERE / "clean.csv")


@pytest.mark.parametrize("path", [p for p in FILES if p.name not in REFUSED], ids=lambda p: p.name)
def test_an_awkward_file_reads_as_its_clean_twin(path: Path) -> None:
    table = read(path)
    assert table["row"].tolist() == ROWS.get(path.name, [2, 3, 4, 5, 6, 7])
    for column, close in {
        "lon": 2e-6,
        "lat": 2e-6,
        "pressure_bar": 0.01,
        "recheck_bar": 0.01,
        "bag_minutes": 1e-9,
    }.items():
        expected = np.full(6, np.nan) if column in LACKS.get(path.name, ()) else CLEAN[column]
        np.testing.assert_allclose(table[column], expected, atol=close, rtol=0, err_msg=column)
    assert table["time"].tolist() == CLEAN["time"].tolist()
    for column in ("tree_id", "block", "note"):
        expected = [None] * 6 if column in LACKS.get(path.name, ()) else CLEAN[column].tolist()
        assert [_folded(v) for v in table[column]] == [_folded(v) for v in expected], column


def _folded(value: str | None) -> str | None:
    """Text without the marks that a format cannot carry (a line break, a semicolon in a comment)."""
    return None if value is None else " ".join(value.replace(";", " ").replace(" - ", " ").split())


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_an_awkward_file_is_refused_with_its_message(name: str) -> None:
    path = HERE / "readings" / name
    with pytest.raises(DataError) as error:
        read(path)
    assert str(error.value).replace(str(path), name) == REFUSED[name]


def test_a_formula_that_was_never_calculated_is_no_value() -> None:
    assert (
        read(HERE / "formula_never_calculated.xlsx")["pressure_bar"].isna().tolist()
        == [False, True] + [False] * 4
    )


def test_the_corpus_is_large_and_every_exception_is_of_a_file() -> None:
    names = {path.name for path in FILES}
    assert len(names) >= 90
    assert {*REFUSED, *SETTINGS, *LACKS, *ROWS} <= names
