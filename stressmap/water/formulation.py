"""Formulation of the allocation problem from requirements, pumps, hours and limits."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.errors import Problem as Trouble
from stressmap.core.errors import SettingsError
from stressmap.core.settings import Water
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.benefit import BenefitModel, benefit_curves
from stressmap.water.calendar import Calendar, ClockTimes, Span, lay_out
from stressmap.water.crew_turns import pauses_of
from stressmap.water.equal_sets import most_in_equal_sets
from stressmap.water.expected_course import benefit_model_of
from stressmap.water.flood_runs import gate_order, runs_of_checks, waits_for_head
from stressmap.water.logged_sets import closed_by_runs, opened_cells
from stressmap.water.pulses import is_token, with_pulses
from stressmap.water.requirement import Requirement
from stressmap.water.set_limits import SetLimits, set_limits
from stressmap.water.set_rules import WEEK_DAYS, SetRules, is_over_intake, set_rules, turns_in_half_an_hour
from stressmap.water.valve_hours import Closed, hours_by_valve, stretches_within, without_hours
from stressmap.water.water_sources import ValveSupply, sources_of, volume_for_plan_m3

Barred = Literal[
    "", "out_of_service", "over_pump", "over_intake", "before_harvest", "no_set_fits", "no_need", "no_harm",
    "few_trees", "waits", "rests",
]  # fmt: skip
CANNOT_RUN = frozenset({"out_of_service", "over_pump", "over_intake", "no_set_fits"})
NEAR = 1e-9


@dataclass(frozen=True)
class PlanInputs:
    """The allocation problem with the data it was formulated from, n valve zones.

    Parameters
    ----------
    requirements : tuple of Requirement, length n
        In rank order.
    pumps : tuple of str, length p
        Names.
    calendar : Calendar
        When water may run and the crew is there.
    benefit_model : BenefitModel
        Benefit of water.
    problem : AllocationProblem
        The allocation problem.
    barred : tuple of str, length n
        Why a valve cannot or need not get water; ``""`` where it may.
    cheap : AllocationProblem or None
        The problem without the hours of dear power; None where there are none to leave out.
    supplies : mapping of str to ValveSupply
        Source and gate of a valve by its name.
    """

    requirements: tuple[Requirement, ...]
    pumps: tuple[str, ...]
    calendar: Calendar
    benefit_model: BenefitModel
    problem: AllocationProblem
    barred: tuple[Barred, ...]
    cheap: AllocationProblem | None = None
    supplies: Mapping[str, ValveSupply] = field(default_factory=dict)

    @property
    def gross_mm_per_step(self) -> Floats:
        """Depth on the field that one time step brings [mm]."""
        return np.asarray(np.array([need.rate_mm_h for need in self.requirements]) * self.problem.step_hours)

    @property
    def net_mm_per_step(self) -> Floats:
        """Depth that counts for the trees [mm]."""
        return np.asarray(self.gross_mm_per_step * np.array([need.factor for need in self.requirements]))


def formulate(
    requirements: Sequence[Requirement],
    water: Water,
    start: dt.date,
    zone: ZoneInfo,
    where: str = "ranch.toml",
    supplies: Mapping[str, ValveSupply] = MappingProxyType({}),
) -> PlanInputs:
    """Formulate the allocation problem.

    Parameters
    ----------
    requirements : sequence of Requirement, length n
        In rank order.
    water : Water
        ``[water]``.
    start : date
        First day of the plan.
    zone : ZoneInfo
        The ranch's.
    where : str
        The ``ranch.toml``, for messages.
    supplies : mapping of str to ValveSupply
        Source and gate of a valve by its name.

    Returns
    -------
    PlanInputs

    Raises
    ------
    SettingsError
        If nothing at all could be watered: no hours, no pump strong enough, every valve out of service.
    """
    _refuse_unknown_valves(requirements, water, where)
    requirements = [with_pulses(need, water) for need in requirements]
    pumps, pump, capacity = _pumps(requirements, water, where)
    sources = sources_of(requirements, supplies, water, pumps, where)
    hours = _calendar(requirements, water, start, zone)
    if not hours.set_lengths:
        raise SettingsError(_no_hours(water, where))
    rules = [set_rules(need, water) for need in requirements]
    closed = [
        Closed(n.cut_off, d, r.by_gate) for n, d, r in zip(requirements, sources.days, rules, strict=True)
    ]
    without_log = set_limits(rules, hours_by_valve(hours, closed), water)
    logged = [
        closed_by_runs(n.ran, (r.rest_steps, r.apart_steps, r.sets_a_week), hours)
        for n, r in zip(requirements, rules, strict=True)
    ]
    own_hours = hours_by_valve(
        hours, [replace(one, spans=spans) for one, spans in zip(closed, logged, strict=True)]
    )
    rules = _useful_beside_log(rules, logged, without_log)
    limits = set_limits(rules, own_hours, water) if any(logged) else without_log
    barred = _all_barred(requirements, water, (capacity[pump], start), (without_log, limits))
    _refuse_if_nothing_can_run(requirements, barred, hours, (where, capacity.tolist(), pumps))
    benefit_model = benefit_model_of(requirements, water, start)
    without_curves = AllocationProblem(
        names=tuple(need.valve for need in requirements),
        flow_m3_h=np.array([need.mean_flow_m3_h for need in requirements]),
        open_m3_h=np.array([need.flow_m3_h for need in requirements]),
        pump=pump,
        capacity_m3_h=capacity,
        volume_m3=volume_for_plan_m3(water, all_fed=sources.all_fed),
        step_hours=water.step_hours,
        windows=tuple((b - a) // hours.cells_per_step for a, b in hours.windows),
        rest_steps=np.array([r.rest_steps for r in rules], dtype=np.int64),
        apart_steps=np.array([r.apart_steps for r in rules], dtype=np.int64),
        sets_a_week=np.array([r.sets_a_week for r in rules], dtype=np.int64),
        week_steps=np.array([r.week_steps for r in rules]) if water.days > WEEK_DAYS else None,
        steps_with_rests=limits.steps_with_rests,
        set_lengths=limits.set_lengths,
        max_sets=limits.max_sets,
        max_steps=np.where([bool(why) for why in barred], 0, limits.max_steps),
        curves=(),
        hours=own_hours,
        gate=gate_order(requirements, supplies),
        source=sources.of_valve,
        source_m3=sources.volume_m3,
        crew_turns=turns_in_half_an_hour(len(requirements), water),
        pump_least_m3_h=np.array([water.pump_least.get(name, 0.0) for name in pumps], dtype=np.float64),
        pump_starts=water.pump_starts,
        runs=runs_of_checks(requirements, [not why for why in barred]),
        opened=tuple(opened_cells(need.ran, hours) for need in requirements),
    )
    steps = np.array(
        [
            covering_steps(without_curves, i, need.hours_needed / water.step_hours)
            for i, need in enumerate(requirements)
        ],
        dtype=np.int64,
    )
    net = np.array([n.rate_mm_h * n.factor for n in requirements]) * water.step_hours
    problem = replace(without_curves, max_steps=steps, curves=benefit_curves(benefit_model, net, steps))
    cheap = _cheap(problem, hours, rules, water)
    return PlanInputs(tuple(requirements), pumps, hours, benefit_model, problem, barred, cheap, supplies)


def covering_steps(problem: AllocationProblem, valve: int, needed: float) -> int:
    """Give the steps that cover a requirement, made of sets of feasible lengths.

    Parameters
    ----------
    problem : AllocationProblem
        With the most steps that each valve may get.
    valve : int
        Place of the valve.
    needed : float
        In time steps and a fraction of them.

    Returns
    -------
    int
        The least total that covers the need, or the most there can be.
    """
    most = int(problem.max_steps[valve])
    for total in range(max(0, math.ceil(needed - NEAR)), most + 1):
        if problem.feasible_steps(valve, total) == total:
            return total
    return problem.feasible_steps(valve, most)


def _calendar(requirements: Sequence[Requirement], water: Water, start: dt.date, zone: ZoneInfo) -> Calendar:
    on_the_hour = [dt.time(0)] if any(need.system == "flood" for need in requirements) else []
    marks = (*on_the_hour, *water.dear_hours)
    clock = ClockTimes(water.hours, water.crew_hours, water.step_hours, marks)
    return lay_out(start, water.days, zone, clock)


def _cheap(
    problem: AllocationProblem, hours: Calendar, rules: Sequence[SetRules], water: Water
) -> AllocationProblem | None:
    """Give the same problem without the hours of dear power; None where they are not there to be left out.

    What is flooded is not held to them, nor what has no useful set without them.
    """
    if not water.dear_hours:
        return None
    dear = (water.dear_hours[0], water.dear_hours[1])
    stretches = stretches_within(hours, dear)
    shuns = [not rule.by_gate for rule in rules]
    short = set_limits(rules, without_hours(problem.hours, shuns, dear), water).set_lengths
    shuns = [
        shun and (not old or bool(new and new[0][0] >= old[0][0]))
        for shun, old, new in zip(shuns, problem.set_lengths, short, strict=True)
    ]
    if not stretches or not any(shuns):
        return None
    cut, pumps = (
        set_limits(rules, without_hours(problem.hours, shuns, dear), water),
        len(problem.capacity_m3_h),
    )
    found = replace(
        problem,
        hours=cut.hours,
        set_lengths=cut.set_lengths,
        max_sets=cut.max_sets,
        steps_with_rests=cut.steps_with_rests,
        pauses=pauses_of(hours, stretches, problem.crew_turns),
        stands=np.array([np.array(shuns)[problem.pump == p].all() for p in range(pumps)]),
    )
    most = np.minimum(np.minimum(problem.max_steps, cut.max_steps), most_in_equal_sets(found))
    fits = [found.feasible_steps(i, int(steps)) for i, steps in enumerate(most)]
    return replace(found, max_steps=np.array(fits, dtype=np.int64))


def _useful_beside_log(
    rules: Sequence[SetRules], logged: Sequence[tuple[Span, ...]], without_log: SetLimits
) -> list[SetRules]:
    """Return the rules so that no set becomes shorter than is useful for the hours that the log leaves."""
    return [
        replace(rule, own_steps=max(rule.own_steps, lengths[0][0])) if spans and lengths else rule
        for rule, spans, lengths in zip(rules, logged, without_log.set_lengths, strict=True)
    ]


def _all_barred(
    requirements: Sequence[Requirement],
    water: Water,
    terms: tuple[Floats, dt.date],
    limits: tuple[SetLimits, SetLimits],
) -> tuple[Barred, ...]:
    """Say of each valve why it cannot or need not get water, by the limits without and with the log."""
    capacity, start = terms
    found: list[Barred] = []
    waits = waits_for_head(requirements, water)
    for i, need in enumerate(requirements):
        free, own = (one.set_lengths[i] for one in limits)
        why = _barred(need, water, (float(capacity[i]), start), free)
        found.append(why or ("waits" if waits[i] else "" if own else "rests"))
    return tuple(found)


def _barred(
    need: Requirement, water: Water, terms: tuple[float, dt.date], set_lengths: tuple[Span, ...]
) -> Barred:
    capacity, start = terms
    longest = set_lengths[-1][1] * water.step_hours if set_lengths else math.inf
    reasons: dict[Barred, bool] = {
        "out_of_service": need.valve in water.out_of_service,
        "over_pump": need.flow_m3_h > capacity * (1 + NEAR),
        "over_intake": is_over_intake(need, water) or is_token(need, water, longest),
        "before_harvest": need.cut_off is not None and need.cut_off < start,
        "no_set_fits": not set_lengths,
        "few_trees": need.order_only,
        "no_need": need.need_mm <= 0.0,
        "no_harm": need.harm <= 0.0,
    }
    return next((why for why, holds in reasons.items() if holds), "")


def _refuse_unknown_valves(requirements: Sequence[Requirement], water: Water, where: str) -> None:
    known = [need.valve for need in requirements]
    wrong = [name for name in water.out_of_service if name not in known]
    if wrong:
        raise SettingsError(
            Trouble(
                where,
                f"there is no valve {name!r}",
                f"Did you mean {difflib.get_close_matches(name, known, n=1, cutoff=0.0)[0]!r}?"
                " Write names as in the valves file",
                column="water.out_of_service",
            )
            for name in wrong
        )


def _pumps(
    requirements: Sequence[Requirement], water: Water, where: str
) -> tuple[tuple[str, ...], Ints, Floats]:
    """Match valves to pumps: names, the pump of each valve, and what each can deliver."""
    named = list(dict.fromkeys(need.pump for need in requirements if need.pump))
    if water.pumps:
        names = tuple(water.pumps)
        wrong = [name for name in named if name not in names]
        if wrong or (len(names) > 1 and any(need.pump is None for need in requirements)):
            raise SettingsError(_pump_trouble(requirements, wrong, where))
        capacity = list(water.pumps.values())
    elif water.pump is not None and len(named) > 1:
        text = f"one pump is given, but the valves name {len(named)}: {', '.join(named)}"
        flows = ", ".join(f'"{name}" = "... m3/h"' for name in named)
        raise SettingsError(
            Trouble(where, text, f"Write [water.pumps] {flows} in its place", column="water.pump")
        )
    else:
        names = tuple(named) or ("",)
        capacity = [water.pump or float("inf")] * len(names)
    place = {name: k for k, name in enumerate(names)}
    pump = np.array([place.get(need.pump or "", 0) for need in requirements], dtype=np.int64)
    return names, pump, np.array(capacity, dtype=np.float64)


def _pump_trouble(requirements: Sequence[Requirement], wrong: list[str], where: str) -> Trouble:
    if wrong:
        what = f"the valves name a pump that is not there: {', '.join(repr(name) for name in wrong)}"
        return Trouble(where, what, "Add its flow, or correct the valves file", column="water.pumps")
    unnamed = next(need.valve for need in requirements if need.pump is None)
    what = f"there are several pumps, and valve {unnamed!r} names none"
    return Trouble(where, what, "Fill in the column pump of the valves file", column="water.pumps")


def _no_hours(water: Water, where: str) -> Trouble:
    spans = [f"{a:%H:%M} to {_clock(b)}" for a, b in (water.hours, water.crew_hours or water.hours)]
    step = f"{water.step_hours:g} h"
    if water.crew_hours is None:
        what = f"between {spans[0]} there is no time for a set of {step}"
        return Trouble(where, what, "Give longer hours", column="water.hours")
    what = f"water may run {spans[0]} and the crew is there {spans[1]}: no set can be both opened and closed"
    return Trouble(
        where, what, "Widen crew_hours or hours so that they meet twice", column="water.crew_hours"
    )


def _clock(clock: dt.time) -> str:
    return "24:00" if clock == dt.time.max else f"{clock:%H:%M}"


def _refuse_if_nothing_can_run(
    requirements: Sequence[Requirement],
    barred: tuple[Barred, ...],
    hours: Calendar,
    context: tuple[str, list[float], tuple[str, ...]],
) -> None:
    where, capacity, _ = context
    if not all(why in CANNOT_RUN for why in barred):
        return
    if all(why == "over_intake" for why in barred):
        what, column = (
            "every valve brings more an hour than its soil takes in, even in pulses",
            "water.intake_mm_h",
        )
        remedy = (
            "Correct the rates, the soil or the wetted shares, or give what the soil was measured to take"
        )
    elif all(why == "out_of_service" for why in barred):
        what, column = "every valve is out of service", "water.out_of_service"
        remedy = "Take at least one valve off the list"
    elif "no_set_fits" not in barred:
        least = min(n.flow_m3_h for n, why in zip(requirements, barred, strict=True) if why == "over_pump")
        what = f"no pump is strong enough for any valve: the smallest needs {least:.1f} m3/h"
        what += f", the strongest pump gives {max(capacity):.1f} m3/h"
        remedy, column = "Correct the flow of the pump or of the valves", "water.pump"
    else:
        longest = max(b for _, b in hours.set_lengths) * hours.cells_per_step * hours.cell_minutes / 60.0
        what = f"no valve's min_hours and max_hours fit the hours, in which a set lasts {longest:g} h at most"
        remedy, column = (
            "Give longer hours, or correct min_hours and max_hours in the valves file",
            "water.hours",
        )
    raise SettingsError(Trouble(where, what, remedy, column=column))
