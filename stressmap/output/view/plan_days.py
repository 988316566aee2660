"""Who gets what, day by day in the order of the clock."""

from __future__ import annotations

import datetime as dt
from itertools import groupby

from stressmap.output.view.manner_words import pulse_words
from stressmap.output.view.quantities import duration
from stressmap.output.view.water_words import Section, WaterWords
from stressmap.water.pump_schedule import Set
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import Advice

NO_PUMP = "-"


def days(advice: Advice, words: WaterWords) -> tuple[Section, ...]:
    """Lay out every set of a plan by the day of its opening.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    tuple of Section
        One for each day on which a valve is opened, its rows by the clock, then by pump.
    """
    case, clock = advice.case, advice.case.calendar.clock

    def place(one: Set) -> tuple[int, int, str]:
        return one.start, int(case.problem.pump[one.valve]), case.requirements[one.valve].valve

    sets = sorted(advice.timetable.sets, key=place)
    pumps = len({place(one)[1] for one in sets}) > 1
    looked = any(_note(case.requirements[one.valve], words) for one in sets)
    heads = ["opens", "closes", "valve", "block", *(["pump"] if pumps else []), "hours", "depth", "volume"]
    named = tuple(words(f"table.{head}") for head in heads) + ((words("table.look"),) if looked else ())
    return tuple(
        Section(
            "day", words.weekday(day), heads=named, words_first=5 if pumps else 4,
            rows=tuple(_row(one, day, advice, words, pumps=pumps, looked=looked) for one in of_day),
        )
        for day, of_day in groupby(sets, key=lambda one: clock(one.start).date())
    )  # fmt: skip


def _row(
    one: Set, day: dt.date, advice: Advice, words: WaterWords, *, pumps: bool, looked: bool
) -> tuple[str, ...]:
    case = advice.case
    need, calendar = case.requirements[one.valve], case.calendar
    times = (words.clock(calendar.clock(moment), day) for moment in (one.start, one.end))
    pump = (case.pumps[case.problem.pump[one.valve]] or NO_PUMP,) if pumps else ()
    amounts = _amounts(one, advice, words)
    return (*times, need.valve, need.block, *pump, *amounts, *((_note(need, words),) if looked else ()))


def _amounts(one: Set, advice: Advice, words: WaterWords) -> tuple[str, str, str]:
    hours = advice.hours_of(one)
    depth, water = advice.case.requirements[one.valve].rate_mm_h * hours, advice.volume_m3(one)
    return duration(hours, words.plain), words.known(depth, "depth"), words.known(water, "volume")


def _note(need: Requirement, words: WaterWords) -> str:
    """Return what is to be minded at a set: that the valve is looked at first, and its pulses."""
    told = [words("table.look_first")] if need.inspect else []
    return ", ".join(told + ([pulse_words(*need.pulse, words)] if need.pulse else []))
