"""What is said of the spans of log and weather."""

import pandas as pd
from helpers.told import english

from stressmap.core.notes import Noted
from stressmap.core.unsure_sets import UnsureSets, with_unsure
from stressmap.quality.record_spans import span_notes


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
