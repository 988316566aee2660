"""What ran by the log before a plan, and within its days, counts for rests, days apart and needs."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from helpers.planned_ranch import START, ZONE, Ranch

from stressmap.water.logged_sets import runs_of
from stressmap.water.ranch_inputs import about_log
from stressmap.water.water_plan import Advice, plan_table, timetable_table

HOUR = pd.Timedelta(hours=1)


def at(text: str) -> pd.Timestamp:
    return pd.Timestamp(text, tz=ZONE)


def first_opening(advice: Advice, valve: str) -> pd.Timestamp:
    sets = timetable_table(advice)
    return sets.loc[sets["valve"] == valve, "start"].min()


@pytest.mark.parametrize(("soil", "rest"), [("loam", 24), ("clay loam", 48), ("clay", 72)])
def test_a_valve_rests_after_its_last_logged_set(soil: str, rest: int) -> None:
    """Once a drip valve that ran until 16:00 of the plan's first day by the log was opened at 5:30 of it.

    Rests by soil: docs/references.md (24 h are common practice, no source; on heavy soil a judgement).
    """
    made = Ranch().block("P", "prune", 6.0, 6.0, soil=soil).ran("P1", "2026-07-16 01:00", 15.0).plan()
    assert first_opening(made, "P1") >= at("2026-07-16 16:00") + rest * HOUR
    assert first_opening(made, "P2") < at("2026-07-17 00:00"), "the other valve has not run"


def test_walnut_has_its_day_of_water_in_three_with_the_log() -> None:
    """24 h by the log until 20:00 of the day before: with the first planned set no 72 h hold over 24 h."""
    ranch = (
        Ranch().block("W", "walnut", 5.0, irrigation="micro_sprinkler").ran("W1", "2026-07-14 20:00", 24.0)
    )
    sets = timetable_table(ranch.plan())
    assert len(sets)
    begin, end = at("2026-07-14 20:00"), at("2026-07-15 20:00")
    for row in sets.itertuples():
        since = row.end - 72 * HOUR
        assert row.start >= begin + 72 * HOUR, "days apart of micro-sprinklers"
        before = max(0.0, (end - max(begin, since)) / HOUR)
        assert before + (row.end - row.start) / HOUR <= 24.0


def test_sets_of_the_log_count_among_those_of_seven_days() -> None:
    """Two sets a week of micro-sprinklers (common practice, no source): after a logged one the next is the
    second, and the third waits until seven days after the first.
    """
    ranch = Ranch(days=10, next_turn="2026-07-26").block("A", "prune", 8.0, irrigation="micro_sprinkler")
    sets = timetable_table(ranch.ran("A1", "2026-07-14 06:00", 12.0).plan()).sort_values("start")
    openings = [at("2026-07-14 06:00"), *sets["start"]]
    assert len(openings) >= 3
    assert all(c - a >= 168 * HOUR for a, c in zip(openings, openings[2:], strict=False))


def test_a_check_watered_this_week_waits_for_the_next() -> None:
    """One set a week of flood (common practice, no source), whenever in the week it was."""
    ranch = Ranch(days=7).block("F", "walnut", 5.0, irrigation="flood")
    ranch.data[0]["rate_mm_h"] = 10.0
    made = ranch.ran("F1", "2026-07-15 20:00", 1.0).plan()
    assert timetable_table(made).empty
    assert plan_table(made)["status"].tolist() == ["rests after a logged set"]


def test_a_set_logged_within_the_plan_is_subtracted_and_its_hours_are_left_free() -> None:
    """Once a set of the plan's second night was passed over without a word: the need stayed as it was.

    16 h of 1.5 mm/h at the uniformity of drip, 0.95 (docs/references.md): 22.8 mm.
    """
    plain, logged = (Ranch().block("P", "prune", 6.0, 6.0) for _ in range(2))
    logged.ran("P1", "2026-07-17 20:00", 16.0)
    before, after = plain.needs()[0], logged.needs()[0]
    assert after.given_mm - before.given_mm == pytest.approx(16.0 * 1.5 * 0.95)
    assert before.need_mm - after.need_mm == pytest.approx(16.0 * 1.5 * 0.95)
    sets = timetable_table(logged.plan())
    own = sets[sets["valve"] == "P1"]
    begin, end = at("2026-07-17 20:00"), at("2026-07-18 12:00")
    assert ((own["end"] <= begin - 24 * HOUR) | (own["start"] >= end + 24 * HOUR)).all()


def log_of(*rows: tuple[str, str, str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["valve", "start", "end"])
    for name in ("start", "end"):
        table[name] = pd.DatetimeIndex(table[name]).tz_localize(ZONE)
    return table.assign(mm=np.nan)


def test_rows_that_meters_cut_are_one_set() -> None:
    log = log_of(
        ("P1", "2026-07-14 18:00", "2026-07-15 00:00"),
        ("P1", "2026-07-15 00:00", "2026-07-15 06:00"),
        ("P1", "2026-07-15 12:00", "2026-07-15 13:00"),
        ("P1", "2026-06-01 12:00", "2026-06-01 13:00"),
    )
    long, short = runs_of(log, START)
    assert long == (at("2026-07-14 18:00"), at("2026-07-15 06:00"))
    assert short == (at("2026-07-15 12:00"), at("2026-07-15 13:00"))


def test_a_log_that_reaches_into_the_plan_or_ends_long_before_it_is_told() -> None:
    turn = START + dt.timedelta(days=7)
    within = log_of(
        ("P1", "2026-07-14 18:00", "2026-07-15 06:00"), ("P2", "2026-07-17 20:00", "2026-07-18 12:00")
    )
    (note,) = about_log(within, START, turn)
    assert (note.code, note.value("valves"), note.value("count")) == ("plan_log_within", ("P2",), 1)
    (note,) = about_log(within.iloc[:1], START + dt.timedelta(days=4), turn)
    assert (note.code, note.value("days")) == ("plan_log_ends", 5)
    assert about_log(within.iloc[:1], START, turn) == ()
    assert about_log(None, START, turn) == ()
