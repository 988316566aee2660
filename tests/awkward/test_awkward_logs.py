"""Awkward irrigation logs: each says in its name what is awkward about it.

Every file of ``logs/`` gives the table of ``clean_log.csv``, and the lines that ``TOLD`` has for it, or is
refused with the line of ``REFUSED``.
"""

from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.output.text.note_words import rows_told
from stressmap.output.text.words import Words

HERE = Path(__file__).parent
FILES = sorted((HERE / "logs").iterdir())
NAMES = ["V03", "V04", "V07", "V10", "V11", "V48"]
ZONES = gpd.GeoDataFrame(
    {"valve": NAMES, "flow_m3_h": np.nan, "rate_mm_h": np.nan},
    geometry=[shapely.box(0, 0, 100, 100)] * len(NAMES),
    crs="EPSG:32610",
)
TOLD = {
    "rows_twice_and_overlapping.csv": [
        "row 7: row 2 has the same set of valve 'V03' already; counted once.",
        "row 8: it overlaps row 6 of valve 'V07'; the hours of both were counted once.",
    ],
    "blank_valve_and_unknown_valve.csv": [
        "row 7: no valve is named.",
        "row 8: no valve is called 'V99'.",
    ],
    "words_for_hours.csv": [
        "row 7: 'all night' is no number of hours.",
        "row 8: 'toda la noche' is no number of hours.",
    ],
    "negative_and_huge_hours.csv": [
        "row 7: '-4' is no length of a set; write the hours it ran.",
        "row 8: '9000' is no length of a set; write the hours it ran.",
    ],
    "ends_before_they_start.csv": [
        "row 7: it ends (2026-07-17 06:00) before it starts, or when it starts.",
    ],
    "no_time_at_all.csv": [
        "row 7: no start is given.",
        "row 8: the start 'someday' cannot be read; write it as 2026-07-10 06:00.",
    ],
}
REFUSED = {
    "no_column_for_the_valve.csv": "no_column_for_the_valve.csv: no column is recognised as valve "
    "(usual headings: "
    "valve, valve_id, valve_name, zone); the file has start, hours. Add it, or name it under [columns], "
    '"your heading" = "valve".',
    "no_column_for_the_start.csv": "no_column_for_the_start.csv: no column is recognised as start "
    "(usual headings: "
    "start, date and start, inicio, fecha); it has valve, hours. Name it under [columns], "
    '"your heading" = "start".',
    "picture_named_csv.csv": "picture_named_csv.csv: it is not a text file. Save the table as CSV or .xlsx.",
}


def read(path: Path) -> Noted[pd.DataFrame]:
    return read_irrigation(path, zone=ZoneInfo("America/Los_Angeles"), valves=ZONES)


def sets(table: pd.DataFrame) -> list[tuple[str, pd.Timestamp, pd.Timestamp]]:
    return sorted(zip(table["valve"], table["start"], table["end"], strict=True))


@pytest.mark.parametrize("path", [p for p in FILES if p.name not in REFUSED], ids=lambda p: p.name)
def test_an_awkward_log_reads_as_its_clean_twin(path: Path) -> None:
    log = read(path)
    assert sets(log.value) == sets(read(HERE / "clean_log.csv").value)
    (counts,) = log.counts
    assert counts.rows == counts.used + len(counts.left_out)
    assert list(rows_told(counts, Words("en"))[1:]) == TOLD.get(path.name, [])


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_log_that_is_none_is_refused_with_its_line(name: str) -> None:
    path = HERE / "logs" / name
    with pytest.raises(DataError) as error:
        read(path)
    assert str(error.value).replace(str(path), name) == REFUSED[name]


def test_the_corpus_has_its_size_and_every_exception_is_of_a_file() -> None:
    names = {path.name for path in FILES}
    assert len(names) >= 20
    assert {*TOLD, *REFUSED} <= names
