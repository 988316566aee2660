"""Formulation of the allocation problem from requirements, pumps, hours and limits."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.errors import Problem as Trouble
from stressmap.core.errors import SettingsError
from stressmap.core.settings import Water
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.benefit import BenefitModel, benefit_curves
from stressmap.water.calendar import Calendar, Span, calendar
from stressmap.water.expected_course import benefit_model_of
from stressmap.water.requirement import Requirement

Barred = Literal["", "out_of_service", "over_pump", "no_set_fits", "no_need", "no_harm", "few_trees"]
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
    """

    requirements: tuple[Requirement, ...]
    pumps: tuple[str, ...]
    calendar: Calendar
    benefit_model: BenefitModel
    problem: AllocationProblem
    barred: tuple[Barred, ...]

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

    Returns
    -------
    PlanInputs

    Raises
    ------
    SettingsError
        If nothing at all could be watered: no hours, no pump strong enough, every valve out of service.
    """
    _refuse_unknown_valves(requirements, water, where)
    pumps, pump, capacity = _pumps(requirements, water, where)
    hours = calendar(
        start, water.days, zone, hours=water.hours, crew=water.crew_hours, step_hours=water.step_hours
    )
    if not hours.set_lengths:
        raise SettingsError(_no_hours(water, where))
    set_lengths = tuple(_set_lengths_of(need, hours, water) for need in requirements)
    barred = tuple(
        _barred(need, water, float(capacity[p]), own)
        for need, p, own in zip(requirements, pump, set_lengths, strict=True)
    )
    _refuse_if_nothing_can_run(requirements, barred, hours, (where, capacity.tolist(), pumps))
    benefit_model = benefit_model_of(requirements, water, start)
    without_curves = AllocationProblem(
        names=tuple(need.valve for need in requirements),
        flow_m3_h=np.array([need.flow_m3_h for need in requirements]),
        pump=pump,
        capacity_m3_h=capacity,
        volume_m3=float("inf") if water.available is None else water.available,
        step_hours=water.step_hours,
        windows=tuple((b - a) // hours.cells_per_step for a, b in hours.windows),
        rest_steps=max(1, math.ceil(water.rest_hours / water.step_hours - NEAR)),
        set_lengths=set_lengths,
        max_sets=np.full(len(requirements), max(water.most_turns, len(hours.windows)), dtype=np.int64),
        max_steps=np.array(
            [0 if w else _total(n, hours, water) for n, w in zip(requirements, barred, strict=True)]
        ),
        curves=(),
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
    return PlanInputs(tuple(requirements), pumps, hours, benefit_model, problem, barred)


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


def _total(need: Requirement, hours: Calendar, water: Water) -> int:
    if not math.isfinite(need.max_hours):
        return hours.steps
    return min(hours.steps, water.most_turns * math.floor(need.max_hours / water.step_hours + NEAR))


def _set_lengths_of(need: Requirement, hours: Calendar, water: Water) -> tuple[Span, ...]:
    """Cut the lengths that the hours allow to what the valve allows."""
    low = max(1, math.ceil(need.min_hours / water.step_hours - NEAR))
    high = math.floor(min(need.max_hours, 1e6) / water.step_hours + NEAR)
    cut = [(max(a, low), min(b, high)) for a, b in hours.set_lengths]
    return tuple((a, b) for a, b in cut if a <= b)


def _barred(need: Requirement, water: Water, capacity: float, set_lengths: tuple[Span, ...]) -> Barred:
    if need.valve in water.out_of_service:
        return "out_of_service"
    if need.flow_m3_h > capacity * (1 + NEAR):
        return "over_pump"
    if not set_lengths:
        return "no_set_fits"
    if need.order_only:
        return "few_trees"
    if need.need_mm <= 0.0:
        return "no_need"
    return "no_harm" if need.harm <= 0.0 else ""


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
    if not all(why in {"out_of_service", "over_pump", "no_set_fits"} for why in barred):
        return
    if all(why == "out_of_service" for why in barred):
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
