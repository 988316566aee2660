"""The water plan on a third of a page: the amount, who gets what by day, what stays dry, what binds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import groupby

from stressmap.output.view.plan_dry import by_block, left_dry
from stressmap.output.view.plan_limits import what_binds
from stressmap.output.view.plan_words import outline_title, overdue, planned_amount
from stressmap.output.view.water_words import Section, WaterWords
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import Advice

NAMED, FEWER = 10, 5
"""Valves named for a day, and in a sentence on what stays dry."""
MOST_DAYS, MOST_LINES = 8, 3


def digest(advice: Advice, words: WaterWords) -> tuple[Section, ...]:
    """Tell a plan in short.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    tuple of Section
        The amount, the days, what stays dry and what that risks, what binds.
    """
    rows = tuple(_days(advice, words))
    more = len(rows) - MOST_DAYS
    heads = tuple(words(f"table.{head}") for head in ("day", "sets", "volume", "opened"))
    told = (outline_title(advice, words), planned_amount(advice, words), overdue(advice, words))
    return (
        Section("outline", "", told),
        Section(
            "day", "", (words("plan.more_days", count=more),) if more > 0 else (), heads, rows[:MOST_DAYS]
        ),
        Section("dry", words("dry.title"), _some(left_dry(advice, words, FEWER, remembered=False), words)),
        Section("binds", words("limit.title"), _some(what_binds(advice, words), words)),
    )


def _some(lines: list[str], words: WaterWords) -> tuple[str, ...]:
    """Keep the first lines and count the rest."""
    more = len(lines) - MOST_LINES
    return (*lines[:MOST_LINES], *([words("plan.more_below", count=more)] if more > 0 else []))


def _days(advice: Advice, words: WaterWords) -> Iterator[tuple[str, ...]]:
    """Give for each day its sets, their water and the valves that are opened, in the order of the clock."""
    case, clock = advice.case, advice.case.calendar.clock
    sets = sorted(advice.timetable.sets, key=lambda one: (one.start, case.requirements[one.valve].valve))
    for day, of_day in groupby(sets, key=lambda one: clock(one.start).date()):
        opened = list(of_day)
        water = sum(advice.volume_m3(one) for one in opened)
        needs = list({one.valve: case.requirements[one.valve] for one in opened}.values())
        yield (
            _day(day, words), words.plain.number(len(opened), 0), words.known(water, "volume"),
            _named(needs, words),
        )  # fmt: skip


def _day(day: dt.date, words: WaterWords) -> str:
    """Write the day of the week and the day, without the year."""
    return f"{words.plain('locale.weekdays').split()[day.weekday()]} {words.plain.day(day)}"


def _named(needs: list[Requirement], words: WaterWords) -> str:
    """Name valves block by block, those of a block side by side."""
    blocks = list(dict.fromkeys(need.block for need in needs))
    return by_block(sorted(needs, key=lambda need: blocks.index(need.block)), words, NAMED)
