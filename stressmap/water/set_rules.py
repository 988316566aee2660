"""Good manners of irrigation, by system, soil and crop: how deep, how long, how often a valve may run.

Each figure can be replaced by a key of ``[water]``; a valve's own ``min_hours`` and ``max_hours`` hold beside
them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stressmap.core.settings import Water
from stressmap.water.requirement import Requirement

REST_HOURS = 24.0
REST_HOURS_BY_SOIL = {"clay loam": 48.0, "clay": 72.0}
"""Between two sets of a valve [h]: soil drains to what it holds in 1 to 3 days; "Irrigation Scheduling Part
2: determining water holding capacity", extension, 2010, text (read). How long each soil takes is a judgement.
"""

WET_SPAN_HOURS = 72.0
"""Walnut may have water for ``walnut_wet_hours`` in any so many hours: its new root tips die in 1 to 4 days
of saturated soil; "Have flooded orchards? Keep an eye out for damage", trade press by extension advisers,
2017, text (read). The figure of 24 h is a judgement."""

LEAST_SET_MM = {"drip": 8.0, "micro_sprinkler": 20.0, "sprinkler": 20.0, "flood": 75.0}
MOST_SET_MM = {"flood": 100.0}
"""Depths of a useful set on the field [mm]: less than the least mostly wets the surface; a check takes 75 to
100 mm to be covered. Common practice, no source."""

MOST_SET_HOURS = {"drip": 16.0, "micro_sprinkler": 24.0, "sprinkler": 24.0}
"""Longest usual sets [h]: drip 8 to 16 h, micro-sprinklers 12 to 24 h; from memory, no text read."""

DAYS_APART = {"micro_sprinkler": 3.0, "sprinkler": 3.0}
SETS_A_WEEK = {"micro_sprinkler": 2, "sprinkler": 2, "flood": 1}
"""Days between two openings of a valve, and sets in seven days: common practice, no source."""

YOUNG_SETS_A_WEEK, YOUNG_LEAST = 3, 0.5
"""Sets in which young trees get what they use in a week at least, where rests leave room, and the share of
the least useful depth that they may be held to: short and often, for their roots reach neither far nor deep;
common practice, no source."""

INTAKE_MM_H = {"clay": 5.0, "clay loam": 10.0, "loam": 15.0, "sandy loam": 25.0}
"""Basic intake of a soil, upper ends of the ranges (clay 1 to 5, clay loam 5 to 10, loam 8 to 15, sandy loam
15 to 25 mm/h, sand more): from memory, no text read. What is over it surely runs off; a sealed surface takes
half."""

VALVES_A_CREW = 60
"""Valves for which one crew is taken where ``[water] crews`` does not tell: common practice, no source."""
HALF_HOUR = 30.0
WEEK_DAYS = 7
MANY = 1000
"""Sets a week where there is no limit."""
NEAR = 1e-9


@dataclass(frozen=True)
class SetRules:
    """What a valve's sets must keep to, in time steps.

    Parameters
    ----------
    least_steps, most_steps : int
        Ends of the length of a set.
    own_steps : int
        What the valve must run at least; shorter than ``least_steps`` is only less useful.
    whole_steps : int
        Lengths are multiples of it.
    period_steps : int
        Most over the whole plan.
    most_sets : int
        Sets over the whole plan.
    sets_a_week : int
        Openings within any seven days.
    week_steps : int
        Most within any seven days of a longer plan: their share of what all days may bring, or one least set.
    rest_steps : int
        From a closing to the next opening.
    apart_steps : int
        From an opening to the next one.
    by_gate : bool
        Whether water goes from gate to gate: sets begin on the hour and in the order of the gates.
    """

    least_steps: int
    most_steps: int
    own_steps: int
    whole_steps: int
    period_steps: int
    most_sets: int
    sets_a_week: int
    week_steps: int
    rest_steps: int
    apart_steps: int
    by_gate: bool


def set_rules(need: Requirement, water: Water) -> SetRules:
    """Settle the rules of a valve.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    SetRules
        ``most_steps`` is 0 where a set as short as the valve can run would be too deep for its root zone.
    """
    step, flood = water.step_hours, need.system == "flood"
    whole = max(1, math.ceil(1.0 / step - NEAR)) if flood else 1
    most_h, period_h = most_set_hours(need, water), most_hours(need, water)
    most = _down(most_h, step, whole)
    useful = _up(least_set_mm(need, water) / need.rate_mm_h, step, whole)
    useful = max(min(useful, most, _down(period_h, step, whole)), whole)
    own = _up(need.min_hours, step, whole)
    if flood and period_h > 0.0:
        # A check takes its least depth to be covered, whatever the week may bring: it waters for two.
        useful = max(whole, min(_up(least_set_mm(need, water) / need.rate_mm_h, step, whole), most))
        period_h = max(period_h, useful * step)
    rest_h = rest_hours(need, water)
    a_week = sets_a_week(need, water)
    apart_h = 24.0 * days_apart(need, water)
    return SetRules(
        least_steps=max(useful, own),
        most_steps=most if max(useful, own) <= most else 0,
        own_steps=own,
        whole_steps=whole,
        period_steps=_down(period_h, step, whole),
        most_sets=_most_sets(a_week, water.days),
        sets_a_week=int(min(a_week, MANY)),
        week_steps=max(_down(_week_hours(need, water.days), step, whole), useful, own),
        rest_steps=max(1, math.ceil(rest_h / step - NEAR)),
        apart_steps=math.ceil(apart_h / step - NEAR),
        by_gate=flood,
    )


def sets_a_week(need: Requirement, water: Water) -> float:
    """Give the most sets of a valve in seven days.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        Infinite where there is no limit.
    """
    return _by_system(water.sets_a_week, SETS_A_WEEK, need.system, math.inf)


def days_apart(need: Requirement, water: Water) -> float:
    """Give the days between two openings of a valve.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        [d]; 0 where there is no limit.
    """
    return _by_system(water.days_apart, DAYS_APART, need.system, 0.0)


def least_set_mm(need: Requirement, water: Water) -> float:
    """Give the least useful depth of a set on the field.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        [mm]; 0 where there is none.
    """
    return _by_system(water.least_set_mm, LEAST_SET_MM, need.system, 0.0)


def most_set_hours(need: Requirement, water: Water) -> float:
    """Give the longest set of a valve: by its root zone, its system, its crop and its own limit.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        [h], not yet whole steps; infinite where nothing limits it.
    """
    deep = min(
        need.most_net_mm_a_set / need.factor,
        _by_system(water.most_set_mm, MOST_SET_MM, need.system, math.inf),
    )
    return min(
        deep / need.rate_mm_h,
        _by_system(water.most_set_hours, MOST_SET_HOURS, need.system, math.inf),
        need.max_hours,
        wet_hours(need, water),
        _short_set_hours(need, water),
    )


def _short_set_hours(need: Requirement, water: Water) -> float:
    """Return the longest set of young trees: a third or so of a week's use, or half a least useful set."""
    if not need.is_young:
        return math.inf
    between = max(rest_hours(need, water) + 24.0, 24.0 * days_apart(need, water))
    sets = max(1, min(YOUNG_SETS_A_WEEK, sets_a_week(need, water), math.floor(24 * WEEK_DAYS / between)))
    week_h = need.daily_use_mm * WEEK_DAYS / need.factor / need.rate_mm_h
    return max(week_h / sets, YOUNG_LEAST * least_set_mm(need, water) / need.rate_mm_h)


def most_hours(need: Requirement, water: Water) -> float:
    """Give the hours that a valve may run over the plan: by what a period may bring and by ``turns``.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        [h], not yet whole steps; infinite where nothing limits it.
    """
    return min(need.most_net_mm / need.factor / need.rate_mm_h, water.most_turns * need.max_hours)


def _week_hours(need: Requirement, days: int) -> float:
    """Return the hours of seven days' share of what a plan may bring [h]; all of it in a shorter plan."""
    return need.most_net_mm * min(1.0, WEEK_DAYS / days) / need.factor / need.rate_mm_h


def wet_hours(need: Requirement, water: Water) -> float:
    """Give the most hours of water within 72 that a crop's roots bear.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        [h], infinite where the crop is not known to suffer.
    """
    return water.walnut_wet_hours if need.crop == "walnut" else math.inf


def rest_hours(need: Requirement, water: Water) -> float:
    """Give the hours between two sets of a valve.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        [h]; so long, too, that no 72 h hold more water than the crop bears.
    """
    usual = REST_HOURS_BY_SOIL.get(need.texture, REST_HOURS)
    rest = usual if water.rest_hours is None else water.rest_hours
    return max(rest, WET_SPAN_HOURS - wet_hours(need, water))


def is_over_intake(need: Requirement, water: Water) -> bool:
    """Tell whether a valve brings more water an hour than its soil surely takes in.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    bool
        False for flood, which must cover the ground to reach the end of the check. A soil that is not known
        is taken as loam, here as elsewhere.
    """
    if need.system == "flood":
        return False
    return need.rate_mm_h / need.wetted_share > intake_mm_h(need, water) * (1 + NEAR)


def intake_mm_h(need: Requirement, water: Water) -> float:
    """Give what the soil of a valve takes in.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    float
        On the wetted ground [mm/h]; infinite where nothing limits it.
    """
    return float(water.intake_mm_h or INTAKE_MM_H.get(need.texture, math.inf))


def turns_in_half_an_hour(valves: int, water: Water) -> int:
    """Give how many valves all crews can open or close in half an hour.

    Parameters
    ----------
    valves : int
        Of the ranch.
    water : Water
        ``[water]``.

    Returns
    -------
    int
        At least 1.

    Examples
    --------
    >>> turns_in_half_an_hour(60, Water()), turns_in_half_an_hour(61, Water(travel_minutes=10.0))
    (6, 6)
    """
    crews = water.crews or math.ceil(valves / VALVES_A_CREW)
    reached = math.inf if water.travel_minutes <= 0 else math.floor(HALF_HOUR / water.travel_minutes + NEAR)
    return crews * int(max(1, min(water.crew_valves, reached)))


def _most_sets(a_week: float, days: int) -> int:
    if not math.isfinite(a_week):
        return days * 24
    return max(1, math.ceil(a_week * days / WEEK_DAYS - NEAR))


def _by_system(ours: dict, usual: dict, system: str, other: float) -> float:  # type: ignore[type-arg]
    return float((usual | ours).get(system, other))


def _down(hours: float, step: float, whole: int) -> int:
    return math.floor(min(hours, 1e6) / (step * whole) + NEAR) * whole


def _up(hours: float, step: float, whole: int) -> int:
    return math.ceil(min(hours, 1e6) / (step * whole) - NEAR) * whole
