"""Rounds and timetables as their files have them."""

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from stressmap.core.errors import DataError
from stressmap.intake.planned_work import STOPS, read_round, read_timetable

ZONE = ZoneInfo("America/Los_Angeles")
HEAD = (
    "stop,crew,action,clock,tree_id,block,valve,row,lon,lat,why_en,why_es,"
    "expected_bar,expected_low_bar,expected_high_bar\n"
)
ROWS = (
    "1,1,bag,12:45,T1,North,N1,4,-120.1,37.2,fixed tree,árbol fijo,-13,-15,-11\n"
    "2,1,bag,12:50,T2,North,N1,5,-120.2,37.2,,,,,\n"
    "3,1,read,13:05,T2,North,N1,5,-120.2,37.2,,,,,\n"
    "4,1,read,2026-07-14T13:10:00-07:00,T1,North,N1,4,-120.1,37.2,fixed tree,árbol fijo,-13,-15,-11\n"
)


def test_the_two_calls_at_a_tree_are_one_stop_in_the_order_of_the_round(tmp_path: Path) -> None:
    file = tmp_path / "round.csv"
    file.write_text(HEAD + ROWS, encoding="utf-8")
    stops = read_round(file)
    assert tuple(stops.columns) == STOPS
    assert stops["tree_id"].tolist() == ["T1", "T2"]
    first = stops.iloc[0]
    assert (first["bag_clock"], first["read_clock"], first["stop"], first["row"]) == (
        "12:45",
        "13:10",
        "1",
        "4",
    )
    assert (first["expected"], first["expected_low"], first["expected_high"]) == (13, 11, 15)
    assert first["why_es"] == "árbol fijo"
    assert stops["expected"].isna().tolist() == [False, True]


def test_a_tree_of_one_name_in_two_blocks_is_two_stops(tmp_path: Path) -> None:
    file = tmp_path / "round.csv"
    file.write_text("action,clock,tree_id,block\nbag,12:40,T1,A\nbag,12:45,T1,B\n", encoding="utf-8")
    stops = read_round(file)
    assert stops["block"].tolist() == ["A", "B"]
    assert stops["read_clock"].isna().all()


def test_a_file_that_is_no_round_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "valves.csv"
    file.write_text("valve,block\nV1,A\n", encoding="utf-8")
    with pytest.raises(DataError, match=r"no column is recognised as tree_id .*the file has valve, block"):
        read_round(file)


@pytest.mark.parametrize("codes", [True, False], ids=["with codes", "of an earlier plan"])
def test_a_timetable_gives_its_sets_by_opening(tmp_path: Path, *, codes: bool) -> None:
    file = tmp_path / "timetable.csv"
    rows = [
        ("set", "code", "pump", "valve", "block", "start", "end", "hours"),
        ("2", "K3T7P", "P", "N2", "North", "2026-07-17T06:00:00-07:00", "2026-07-17T10:00:00-07:00", "4"),
        ("1", "B2C3D", "P", "N1", "North", "2026-07-16T20:00:00-07:00", "2026-07-17T06:00:00-07:00", "10"),
    ]
    text = "\n".join(",".join(c for i, c in enumerate(row) if codes or i != 1) for row in rows)
    file.write_text(text + "\n", encoding="utf-8")
    sets = read_timetable(file, ZONE).value
    assert sets["valve"].tolist() == ["N1", "N2"]
    assert sets["code"].tolist() == (["B2C3D", "K3T7P"] if codes else [None, None])
    assert sets["start"].iloc[0].isoformat() == "2026-07-16T20:00:00-07:00"
