"""Visits with their counts, and readings that stand in two files."""

import pandas as pd
from helpers import invented_ranch as ranch
from helpers.told import english

from stressmap.core.row_names import row_names
from stressmap.quality.assessment_summary import mend_table, summarise
from stressmap.quality.visit_counts import in_two_files, two_files_elsewhere, two_files_note, visit_notes

BLOCKS = ranch.blocks()
VALVES = ranch.valves(BLOCKS)


def of_three_visits() -> pd.DataFrame:
    """Four rows of 14 July, four of a day before that, four of two days in June; one short bag in June."""
    table = ranch.readings(BLOCKS, per_block=3)
    table.loc[4:7, "time"] -= pd.Timedelta(days=12)
    table.loc[8:9, "time"] -= pd.Timedelta(days=40)
    table.loc[10:11, "time"] -= pd.Timedelta(days=39)
    table.loc[8, "bag_minutes"] = 2.0
    return table


def test_every_visit_is_told_with_its_counts() -> None:
    assessed = ranch.assess(of_three_visits(), BLOCKS)
    assert english(visit_notes(assessed, ())) == [
        "Readings: 2026-06-04 to 2026-07-14, 3 visits:",
        "2026-06-04 \N{EN DASH} 2026-06-05: 4 readings, 3 usable, 1 flagged.",
        "2026-07-02: 4 readings, 4 usable, 0 flagged; 27 days after the visit before.",
        "2026-07-14: 4 readings, 4 usable, 0 flagged; 12 days after the visit before.",
    ]
    assert "4 readings, 4 usable, 1 flagged." in english(visit_notes(assessed, ("short_bag",)))[1]


def test_one_visit_is_told_by_the_head_alone_and_rows_without_a_time_are_counted() -> None:
    table = ranch.readings(BLOCKS, per_block=3)
    assert list(visit_notes(ranch.assess(table, BLOCKS), ())) == []
    table.loc[0, "time"] = pd.NaT
    assert english(visit_notes(ranch.assess(table, BLOCKS), ()))[1:] == [
        "2026-07-14: 11 readings, 11 usable, 0 flagged.",
        "Without a time: 1 reading.",
    ]


def in_two() -> pd.DataFrame:
    """A phone's export of eight readings, and the next of all twelve; one row twice in the first."""
    table = ranch.readings(BLOCKS, per_block=3).assign(file="monday.csv")
    later = table.assign(file="tuesday.csv")
    return pd.concat([table[:8], table[7:8].assign(row=20), later], ignore_index=True)


def test_a_reading_in_two_files_counts_once_and_is_said() -> None:
    assessed = ranch.assess(in_two(), BLOCKS)
    twice = assessed[["duplicate" in codes for codes in assessed["flags"]]]
    assert row_names(assessed)[twice.index].tolist() == [
        "20 (monday.csv)", *(f"{row} (tuesday.csv)" for row in range(2, 10)),
    ]  # fmt: skip
    assert assessed["used"].sum() == 12
    assert in_two_files(assessed).sum() == 8
    assert english(two_files_note(assessed)) == [
        "8 readings of the visit stand in another file too (tuesday.csv); each counts once."
    ]


def test_what_only_stands_in_two_files_needs_no_mending() -> None:
    assessed = ranch.assess(in_two(), BLOCKS)
    found = summarise(assessed, BLOCKS, VALVES, ranch.settings())
    assert english(found.first) == [
        "1 of 13 entered twice (row 20 (monday.csv) tree B3-T2): Delete the second row."
    ]
    listed = mend_table(assessed)
    assert listed[["row", "file"]].to_numpy().tolist() == [[20, "monday.csv"]]


def test_what_stands_in_two_files_of_another_visit_is_said_too() -> None:
    table = in_two()
    table["time"] = table["time"].where(table["row"] > 5, table["time"] - pd.Timedelta(days=12))
    assessed = ranch.assess(table, BLOCKS)
    assert english(two_files_elsewhere(assessed)) == [
        "4 readings of other visits stand in another file too (tuesday.csv); each counts once."
    ]
    told = english(summarise(assessed, BLOCKS, VALVES, ranch.settings()).visits)
    assert told[-1].startswith("4 readings of other visits")
    assert two_files_elsewhere(ranch.assess(in_two(), BLOCKS)) == ()
