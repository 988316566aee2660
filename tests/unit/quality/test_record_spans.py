"""What is said of the spans of log and weather."""

import datetime as dt

import pandas as pd
from helpers.told import english

from stressmap.core.notes import Noted
from stressmap.core.unsure_sets import UnsureSets, with_unsure
from stressmap.quality.record_spans import late_sets_note, span_notes


def test_valves_whose_rows_were_left_out_are_not_called_without_entry():
    start = pd.to_datetime(["2026-07-10 06:00"]).tz_localize("America/Los_Angeles")
    log = pd.DataFrame({"valve": ["V1"], "start": start, "end": start + pd.Timedelta(hours=8)})
    with_unsure(log, UnsureSets.of([("V1", None), ("V2", None)]))
    said = english(Noted(None, tuple(span_notes(log, None, ["V1", "V2", "V3"]))))
    assert said[1:] == [
        "Irrigation log: the rows that may be of 1 of 3 valves could not be used, so that it is not known "
        "whether they ran: V2.",
        "Irrigation log: no entry for 1 of 3 valves: V3.",
    ]


def test_sets_long_after_the_last_reading_are_told_once_with_their_count():
    start = pd.to_datetime(["2026-07-10 06:00", "2027-07-10 06:00"]).tz_localize("America/Los_Angeles")
    log = pd.DataFrame({"valve": ["V1", "V1"], "start": start, "end": start + pd.Timedelta(hours=8)})
    said = english(Noted(None, late_sets_note(log, dt.date(2026, 7, 15))))
    assert said == [
        "1 set of the irrigation log begins over 31 days after the last reading (2026-07-15), up to "
        "2027-07-10: is the year or the month right?"
    ]
    assert late_sets_note(log[:1], dt.date(2026, 7, 15)) == ()
