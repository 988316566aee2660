"""A volume of water shared by the ranches of a district: a curve a ranch, one allocation, a plan a ranch.

The curve and the plan of a ranch are worked out wherever its map is; what is wrong with one of them stands in
its result and keeps no other from its water.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

from stressmap.core.district_settings import DistrictWater
from stressmap.core.errors import Problem, StressmapError
from stressmap.core.progress import Progress, Silent
from stressmap.core.ranch_result import RanchResult
from stressmap.jobs.before_work import refuse_early
from stressmap.jobs.district_plans import take_plan_away
from stressmap.jobs.district_tasks import LOST, alone_at, defect
from stressmap.jobs.district_turn import WhileWanted
from stressmap.jobs.handed_down import NOTHING, HandedDown
from stressmap.jobs.plan_ground import plan_ground, prepared_plan
from stressmap.jobs.water import plan_on
from stressmap.water.shared_volume import PlannedShare, RanchCurve, SharedVolume, share_volume

if TYPE_CHECKING:
    from stressmap.intake.inputs import Inputs

LEAST_M3 = 1.0
"""A smaller share is none [m3]."""
WHY = {"plan_stale": "stale", "plan_too_few_trees": "few_trees"}
"""Notes that say why readings carry no amounts, and the word for it."""
T = TypeVar("T", RanchCurve, PlannedShare)


@dataclass(frozen=True)
class WaterTask:
    """A ranch whose curve or plan is wanted.

    Parameters
    ----------
    ranch : RanchResult
        Mapped.
    here : Path
        The folder that one is in: paths are seen from there.
    asked : mapping of str to value
        What stands in for keys of its ``[water]``.
    handed : HandedDown
        What it gets from the district.
    folder : Path, optional
        Where its plan goes.
    """

    ranch: RanchResult
    here: Path
    asked: Mapping[str, object] = field(default_factory=dict)
    handed: HandedDown = NOTHING
    folder: Path | None = None


class Everywhere(Protocol):
    """Does a piece of work for each task, on however many workers."""

    def __call__(
        self, work: Callable[[WaterTask], T], tasks: Sequence[WaterTask]
    ) -> Iterable[tuple[WaterTask, T | str]]:
        """Give task and result as they come; instead of a result what became of its worker."""


def one_by_one(
    work: Callable[[WaterTask], T], tasks: Sequence[WaterTask]
) -> Iterable[tuple[WaterTask, T | str]]:
    """Do all of it here, one after the other."""
    return ((task, work(task)) for task in tasks)


def share_water(
    water: DistrictWater,
    results: Sequence[RanchResult],
    task_of: Callable[[RanchResult], WaterTask],
    everywhere: Everywhere = one_by_one,
    progress: Progress | None = None,
) -> SharedVolume:
    """Share a volume between ranches and plan each of them with its share.

    Parameters
    ----------
    water : DistrictWater
        ``[water]`` of the district.
    results : sequence of RanchResult
        What came of each ranch.
    task_of : callable
        Gives the task of a mapped ranch, its folder being that of the plan.
    everywhere : callable, optional
        Where the work is done; by default here.
    progress : Progress, optional
        Told of each curve and plan.

    Returns
    -------
    SharedVolume
    """
    tell, asked = progress or Silent(), asked_of(water, results)
    tasks = [replace(task_of(one), asked=asked) for one in results if not one.failed]
    tell.stage("Finding what water brings on each ranch", len(tasks))
    found = {one.slug: one for one in _done(everywhere(curve_of, tasks), _no_curve, tell)}
    curves = [found.get(one.slug) or failed_curve(one) for one in results]
    shared = replace(
        share_volume(curves, water.available, water.floor), start=start_of(water, results), days=water.days
    )
    amounts = {one.slug: shared.share_of(one.slug) for one in curves if one.has_amounts}
    due = [
        replace(task, asked={**asked, "available": amounts[task.ranch.slug]})
        for task in tasks
        if amounts.get(task.ranch.slug, 0.0) >= LEAST_M3
    ]
    tell.stage("Planning each ranch with its share", len(due))
    planned = list(_done(everywhere(plan_of, due), _no_plan, tell))
    whole = {one.slug for one in planned if not one.problems}
    taken = [_take_away(task) for task in tasks if task.ranch.slug not in whole]
    return shared.with_plans([*planned, *filter(None, taken)])


def _done(
    results: Iterable[tuple[WaterTask, T | str]], lost: Callable[[WaterTask, Problem], T], tell: Progress
) -> Iterable[T]:
    for task, one in results:
        tell.step()
        yield lost(task, Problem(str(task.ranch.source), one, LOST)) if isinstance(one, str) else one


def start_of(water: DistrictWater, results: Iterable[RanchResult]) -> dt.date | None:
    """Give the first day of all plans.

    Parameters
    ----------
    water : DistrictWater
        ``[water]`` of the district.
    results : iterable of RanchResult
        What came of each ranch.

    Returns
    -------
    date or None
        As set, else the day after the newest visit; None where no ranch was mapped.
    """
    newest = max((one.visit[1] for one in results if one.visit is not None), default=None)
    return water.start or (None if newest is None else newest + dt.timedelta(days=1))


def asked_of(water: DistrictWater, results: Iterable[RanchResult]) -> dict[str, object]:
    """Give what stands in for keys of each ranch's ``[water]`` while its curve is worked out.

    Parameters
    ----------
    water : DistrictWater
        ``[water]`` of the district.
    results : iterable of RanchResult
        What came of each ranch.

    Returns
    -------
    dict
        The common days; no volume and no reserve of its own, for what there is, is shared.
    """
    days = {} if water.days is None else {"days": water.days, "next_turn": None}
    return {"available": None, "reserve": None, "start": start_of(water, results), **days}


def curve_of(task: WaterTask) -> RanchCurve:
    """Work out what water brings on a ranch.

    Parameters
    ----------
    task : WaterTask
        The ranch.

    Returns
    -------
    RanchCurve
        Whatever is wrong with the ranch stands in it.
    """
    from stressmap.water.ranch_curve import ranch_curve

    ranch, area = task.ranch, 0.0
    with alone_at(task.here):
        try:
            ground = plan_ground(ranch.source, task.asked, Silent(), handed=task.handed)
            area = _area_ha(ground.inputs)
            if ground.no_amounts.notes:
                why = WHY[ground.no_amounts.notes[0].code]
                return RanchCurve(ranch.slug, ranch.name, area, float("nan"), why=why)
            case, limit = prepared_plan(ground, Silent()).case, ground.water.time_limit_s
            return replace(ranch_curve(case, ranch.slug, ranch.name, time_limit_s=limit), area_ha=area)
        except StressmapError as error:
            return _without(ranch, area, error.problems)
        except Exception as error:
            return _without(ranch, area, (defect(ranch.source, error, "water"),))


def _area_ha(inputs: Inputs) -> float:
    return float(inputs.valves.geometry.area.sum() / 1e4)


def _without(ranch: RanchResult, area_ha: float, problems: Iterable[Problem]) -> RanchCurve:
    return RanchCurve(ranch.slug, ranch.name, area_ha, float("nan"), why="no_plan", problems=tuple(problems))


def failed_curve(ranch: RanchResult) -> RanchCurve:
    """Give what stands for a ranch that could not be mapped: it has no part in the water.

    Parameters
    ----------
    ranch : RanchResult
        The ranch.

    Returns
    -------
    RanchCurve
    """
    return RanchCurve(ranch.slug, ranch.name, 0.0, float("nan"), why="failed", problems=ranch.problems)


def _no_curve(task: WaterTask, problem: Problem) -> RanchCurve:
    return _without(task.ranch, 0.0, (problem,))


def plan_of(task: WaterTask) -> PlannedShare:
    """Plan a ranch with its share, as ``stressmap water --out`` does.

    Parameters
    ----------
    task : WaterTask
        The ranch, its share asked for.

    Returns
    -------
    PlannedShare
        Whatever is wrong with the plan stands in it.
    """
    ranch = task.ranch
    with alone_at(task.here):
        try:
            refuse_early(ranch.source, task.folder, "water", task.handed.shared)
            tell = WhileWanted(task.handed.call)
            ground = plan_ground(ranch.source, task.asked, tell, handed=task.handed)
            advice = plan_on(ground, out=task.folder, progress=tell).advice
            return PlannedShare(ranch.slug, advice.case.problem.volume_of(advice.solution.steps))
        except StressmapError as error:
            return PlannedShare(ranch.slug, problems=error.problems)
        except Exception as error:
            return PlannedShare(ranch.slug, problems=(defect(ranch.source, error, "water"),))


def _take_away(task: WaterTask) -> PlannedShare | None:
    """Take an earlier plan of a ranch away that gets none now, or whose new one could not be made."""
    try:
        if task.folder is not None:
            if task.handed.call is not None:
                task.handed.call.refuse_gone()  # else the plan there may be that of a newer call
            take_plan_away(task.folder)
    except StressmapError as error:
        return PlannedShare(task.ranch.slug, problems=error.problems)
    return None


def _no_plan(task: WaterTask, problem: Problem) -> PlannedShare:
    return PlannedShare(task.ranch.slug, problems=(problem,))
