"""What is advised for a valve zone, in words."""

from __future__ import annotations

import datetime as dt
import math

import pandas as pd

from stressmap.core.notes import Note
from stressmap.jobs.season_notes import _of_limits, readings_told
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.output.view.advice import advice
from stressmap.season.due_table import counts_of

OVERDUE = {
    "known": True, "stress_low_bar": 4.2, "stress_high_bar": 6.9, "allowed_bar": 4.0, "days_left": 0.0,
    "days_left_high": 0.0, "interval_days": 11.0, "interval_low_days": 13.0, "interval_high_days": 22.0,
    "peak_low_bar": math.nan, "days_since_water": 24.2,
}  # fmt: skip


def test_a_valve_that_is_due_tells_its_last_water_and_no_turn() -> None:
    now = "stress is 4.2 to 6.9 bar, 4 is allowed."
    assert advice(OVERDUE, "en") == f"Last water 24 days ago. Overdue: {now} Water now."
    doubtful = OVERDUE | {"days_left_high": 2.0, "days_since_water": math.nan}
    assert advice(doubtful, "en") == f"Due now, though not surely: {now}"


def test_a_valve_that_was_watered_and_not_relieved_is_looked_at_first() -> None:
    assert advice(OVERDUE, "en", alarmed=True).startswith("Look at the valve first: watered, not relieved. ")
    assert advice(OVERDUE, "es", alarmed=True).startswith(
        "Revise primero la válvula: se regó y no hubo alivio. Último riego hace 24 días. "
    )


WIDE = {
    "known": True, "stress_low_bar": -3.0, "stress_high_bar": 4.9, "allowed_bar": 4.0, "days_left": 9.6,
    "days_left_low": 0.6, "days_left_high": math.nan, "due": dt.date(2026, 7, 24), "drying_low": 0.05,
    "drying_high": 0.56, "due_early": dt.date(2026, 7, 15), "due_late": None, "interval_days": math.nan,
}  # fmt: skip


def test_a_range_too_wide_to_plan_by_names_no_likeliest_day_and_says_what_would_narrow_it() -> None:
    assert advice(WIDE, "en") == (
        "Water in 0 days to over three weeks (from Jul 15 on): too wide a range to plan by. Read a tree in "
        "it: its stress is known only to be \N{MINUS SIGN}3.0 to 4.9 bar."
    )
    read = WIDE | {"stress_low_bar": -1.1, "stress_high_bar": 1.0, "days_left_low": 2.5}
    assert advice(read | {"days_left_high": 17.2, "due_late": dt.date(2026, 8, 1)}, "en") == (
        "Water in 2 to 18 days (Jul 15 to Aug 1): too wide a range to plan by. Read it again just before its "
        "next water: it dries by 0.05 to 0.56 bar a day, for all that is known."
    )
    assert "Lea un árbol de esta válvula" in advice(WIDE, "es")
    assert "Vuelva a leerla justo antes de su próximo riego" in advice(read, "es")
    # two weeks are none too many
    assert advice(read | {"days_left_low": 7.0}, "en").endswith("likeliest on Jul 24.")


def test_what_is_due_now_but_not_surely_is_no_overdue_valve() -> None:
    due = pd.DataFrame(
        {"days_left": [0.0, 0.0, 2.5, 7.0, math.nan], "days_left_high": [0.0, 1.5, math.nan, 9.0, math.nan]}
    )
    assert counts_of(due, 8) == {"overdue": 1, "now": 1, "soon": 1, "before": 4}


def test_the_limit_that_comes_first_is_told_with_its_range() -> None:
    day = [dt.date(2026, 8, 5), dt.date(2026, 8, 1), None]
    early, late = [dt.date(2026, 7, 30), dt.date(2026, 7, 22), None], [None, dt.date(2026, 9, 15), None]
    table = pd.DataFrame(
        {"block": ["East", "Home", "West"], "limit_day": day, "limit_early": early, "limit_late": late},
        dtype=object,
    ).assign(harvest=dt.date(2026, 9, 1))
    (note,) = _of_limits(table)
    assert isinstance(note, Note)
    assert sentence(note, Words("en")).endswith("before harvest, Home first (Jul 22 to Sep 15): Home, East.")
    assert "Home (del 22 jul al 15 sep): Home, East." in sentence(note, Words("es"))
    (open_end,) = _of_limits(table.iloc[:1])
    assert sentence(open_end, Words("en")).endswith("East first (from Jul 30 on): East.")


def test_readings_are_counted_with_what_they_were_left_out_for() -> None:
    first = pd.DataFrame(
        {
            "used": [True, True, False, False],
            "flags": [[], ["short_bag"], ["no_value", "short_bag"], ["no_time"]],
        }
    )
    last = pd.DataFrame({"used": [True, False, False], "flags": [[], ["outside_visit"], ["no_value"]]})
    assert [sentence(note, Words("en")) for note in readings_told([first, last])] == [
        "Of 6 readings at 2 visits 3 were used and 3 left out.",
        "Left out of the season, no pressure: 2 readings.",
        "Left out of the season, no date and time that can be read: 1 reading.",
    ]
