"""The water plan: allocation, schedule, alternatives and binding constraints, and its tables."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from stressmap.agronomy.crops import CropProfile
from stressmap.core.progress import Progress, Silent
from stressmap.core.schemas import TIMETABLE, WATER_PLAN, columns_of
from stressmap.core.set_codes import set_codes
from stressmap.core.settings import Water
from stressmap.core.units import M3_PER_HA_MM
from stressmap.water.allocation_problem import Solution
from stressmap.water.alternatives import (
    Alternative,
    EvaluatedDraws,
    compare_alternatives,
    evaluate_over_draws,
)
from stressmap.water.binding_constraints import BindingConstraint, binding_constraints
from stressmap.water.crop_water_use import ReferenceEt
from stressmap.water.formulation import PlanInputs
from stressmap.water.plan_and_schedule import plan_and_schedule
from stressmap.water.pump_schedule import Set
from stressmap.water.schedule import Schedule
from stressmap.water.water_per_bar import OTHER_FACTORS, WateredByFactor, watered_by_factor
from stressmap.zoning.valve_correlation import ValveCorrelation

PLAN_COLUMNS = columns_of(WATER_PLAN)
"""Columns of ``water_plan.csv``."""
TIMETABLE_COLUMNS = columns_of(TIMETABLE)
"""Columns of ``timetable.csv``."""

IN_PART = 0.8
"""A valve that gets a smaller share of its need is watered in part."""
STATUS_IN_PART = "watered in part"
STATUS = {
    "": "dry",
    "out_of_service": "out of service",
    "over_pump": "flow over the pump",
    "over_intake": "rate over the soil's intake",
    "no_set_fits": "no set fits the hours",
    "before_harvest": "closed before harvest",
    "no_need": "no need",
    "no_harm": "dormant",
    "few_trees": "order only, too few trees",
    "waits": "waits for a whole flood set",
    "rests": "rests after a logged set",
}
"""What becomes of a valve that gets no water, by why."""


@dataclass(frozen=True)
class PlanTerms:
    """Dates, settings and evapotranspiration of a plan.

    Parameters
    ----------
    start, next_turn : date
        First day of the plan, and the day until which the water must last.
    water : Water
        ``[water]``, with what the command line put in its place.
    eto : ReferenceEt
        Reference evapotranspiration.
    profiles : mapping of str to CropProfile
        By crop.
    """

    start: dt.date
    next_turn: dt.date
    water: Water
    eto: ReferenceEt
    profiles: Mapping[str, CropProfile]


@dataclass(frozen=True)
class Advice:
    """A finished water plan.

    Parameters
    ----------
    case : PlanInputs
        Its inputs.
    terms : PlanTerms
        Dates and settings.
    solution : Solution
        Steps of each valve, what they relieve and the proven bound.
    timetable : Schedule
        When.
    alternatives : tuple of Alternative
        The plan, equal share, driest first and nothing.
    over_draws : EvaluatedDraws
        The same over draws of the zone means.
    limits : tuple of str, length n
        Binding constraint of each valve; see :data:`stressmap.water.binding_constraints.BINDING_CONSTRAINTS`.
    by_factor : WateredByFactor
        Who gets water with half and twice the water per bar.
    dear_cost : float or None
        Share of the relief that leaving out the dear hours costs at most; None where there are none.
    """

    case: PlanInputs
    terms: PlanTerms
    solution: Solution
    timetable: Schedule
    alternatives: tuple[Alternative, ...]
    over_draws: EvaluatedDraws
    limits: tuple[BindingConstraint, ...]
    by_factor: WateredByFactor
    dear_cost: float | None = None

    @property
    def avoids_dear(self) -> bool:
        """Whether nothing that can wait runs in the hours of dear power."""
        return self.case.problem is self.case.cheap

    def hours_of(self, one: Set) -> float:
        """Give the hours from opening to closing of a set."""
        return (one.end - one.start) * self.case.calendar.cell_minutes / 60.0

    def volume_m3(self, one: Set) -> float:
        """Give the water of a set, the pauses of a pulsed valve left out [m3]."""
        return self.case.requirements[one.valve].mean_flow_m3_h * self.hours_of(one)

    @property
    def is_better(self) -> bool:
        """Whether the plan does better than equal share and driest first: beyond the limits first."""
        ours, *others = (way.merit for way in self.alternatives)
        return ours > max(others) * (1 + 1e-6)


def advise(
    case: PlanInputs,
    terms: PlanTerms,
    *,
    correlation: ValveCorrelation | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
) -> Advice:
    """Allocate, schedule, compare with alternatives and evaluate over draws.

    Parameters
    ----------
    case : PlanInputs
        From :func:`stressmap.water.formulation.formulate`.
    terms : PlanTerms
        Dates and settings.
    correlation : ValveCorrelation, optional
        Of the zones' errors; by default the zones are independent.
    jobs : int
        Draws worked on at once.
    progress : Progress, optional
        Told of stages and steps.

    Returns
    -------
    Advice
    """
    tell = progress or Silent()
    tell.stage(f"Planning water, searching up to {terms.water.time_limit_s:g} s")
    plan = plan_and_schedule(
        case.problem, case.calendar, case.benefit_model.dry_bar, cheap=case.cheap,
        time_limit_s=terms.water.time_limit_s,
    )  # fmt: skip
    case = replace(case, problem=plan.problem)
    alternatives = compare_alternatives(case, plan.solution.steps)
    tell.stage("Trying the plan on drawn stress", terms.water.draws)
    over_draws = evaluate_over_draws(
        case,
        alternatives,
        terms.water.draws,
        covariance=correlation and correlation.covariance(case.problem.names, case.benefit_model.se_bar),
        jobs=jobs,
        step=tell.step,
    )
    tell.stage("Planning with half and twice the water per bar", len(OTHER_FACTORS))
    by_factor = watered_by_factor(
        case, terms.water, terms.start, plan.solution.steps, jobs=jobs, step=tell.step
    )
    limits = binding_constraints(case, plan.timetable, terms.water.most_turns)
    return Advice(
        case,
        terms,
        plan.solution,
        plan.timetable,
        alternatives,
        over_draws,
        limits,
        by_factor,
        plan.dear_cost,
    )


def plan_table(advice: Advice) -> pd.DataFrame:
    """Give what each valve gets.

    Parameters
    ----------
    advice : Advice
        A finished plan of n valves.

    Returns
    -------
    DataFrame, n rows
        In rank order, with the columns of :data:`PLAN_COLUMNS`; depths on the field are ``mm``, what
        counts for the trees ``net_mm``; ``stress_bar`` is that of the valves' ranking, and
        ``stress_for_need_bar`` what the need rests on: below the season target, raised where the log says
        drier than the readings.
    """
    case, steps = advice.case, advice.solution.steps
    gross, net = steps * case.gross_mm_per_step, steps * case.net_mm_per_step
    sets = np.bincount([s.valve for s in advice.timetable.sets], minlength=len(steps))
    after = case.benefit_model.dry_bar - net / case.benefit_model.mm_per_bar
    rows = []
    for i, need in enumerate(case.requirements):
        covered = _covered(net[i], need.need_mm)
        rows.append(
            {
                "valve": need.valve, "block": need.block, "crop": need.crop,
                "pump": case.pumps[case.problem.pump[i]] or None, "status": _status(advice, i, covered),
                "limited_by": advice.limits[i] or None, "area_ha": need.area_ha,
                "stress_bar": need.stress_bar,
                "stress_se_bar": need.dry_se_bar, "stress_for_need_bar": need.dry_bar, "stage": need.stage,
                "need_mm": need.need_mm, "need_low_mm": need.need_low_mm, "need_high_mm": need.need_high_mm,
                "need_by_trees_mm": need.need_by_trees_mm, "need_by_book_mm": need.need_by_book_mm,
                "inspect": need.inspect,
                "hours": steps[i] * case.problem.step_hours, "mm": gross[i], "net_mm": net[i],
                "m3": gross[i] * need.area_ha * M3_PER_HA_MM, "flow_m3_h": need.flow_m3_h,
                "sets": int(sets[i]), "need_covered": covered,
                "stress_dry_bar": case.benefit_model.dry_bar[i], "stress_after_bar": after[i],
                "chosen_share": advice.over_draws.chosen[i], "short_mm": need.short_mm,
                "etc_since_mm": need.etc_since_mm, "etc_until_mm": need.etc_until_mm,
                "given_mm": need.given_mm, "let_down_bar": need.let_down_bar, "mm_per_bar": need.mm_per_bar,
                "divided_by": need.factor, "assumed": need.assumed, "sure": bool(advice.by_factor.sure[i]),
            }
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(PLAN_COLUMNS))


def _status(advice: Advice, valve: int, covered: float) -> str:
    if not advice.solution.steps[valve]:
        return STATUS[advice.case.barred[valve]]
    return "watered" if covered >= IN_PART else STATUS_IN_PART


def _covered(net_mm: float, need_mm: float) -> float:
    return min(1.0, net_mm / need_mm) if need_mm > 0 else 1.0


def timetable_table(advice: Advice) -> pd.DataFrame:
    """Give who opens what when.

    Parameters
    ----------
    advice : Advice
        A finished plan.

    Returns
    -------
    DataFrame, a row per set
        In the order of the openings, with the columns of :data:`TIMETABLE_COLUMNS`; times are local. A valve
        that is pulsed by a timer has one row from its first opening to its last closing.
    """
    case, calendar = advice.case, advice.case.calendar
    sets = advice.timetable.sets
    codes = set_codes([(case.requirements[one.valve].valve, calendar.clock(one.start)) for one in sets])
    rows = []
    for number, (one, code) in enumerate(zip(sets, codes, strict=True), start=1):
        need = case.requirements[one.valve]
        hours = advice.hours_of(one)
        on, off = need.pulse or (np.nan, np.nan)
        rows.append(
            {
                "set": number, "pump": case.pumps[case.problem.pump[one.valve]] or None, "valve": need.valve,
                "block": need.block, "start": calendar.clock(one.start), "end": calendar.clock(one.end),
                "hours": hours, "flow_m3_h": need.flow_m3_h, "m3": advice.volume_m3(one),
                "mm": need.rate_mm_h * hours, "pulse_on_min": on, "pulse_off_min": off,
                "code": code,
            }
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(TIMETABLE_COLUMNS))
