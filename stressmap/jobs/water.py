"""The water plan alone, for trying amounts: from the files to the plan, without the maps."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from stressmap.core.errors import SettingsError
from stressmap.core.notes import Note
from stressmap.core.progress import Progress, Silent
from stressmap.core.settings import Ranch
from stressmap.intake.polygon_repair import without_drawing
from stressmap.jobs.assess_visit import Visit
from stressmap.jobs.before_work import refuse_early
from stressmap.jobs.plan_ground import PlanGround, plan_ground, prepared_plan
from stressmap.output import outputs
from stressmap.output.staging import run_record
from stressmap.output.staging.output_folder import staged

if TYPE_CHECKING:
    from stressmap.water.value_of_water import WaterValueCurve
    from stressmap.water.water_plan import Advice


@dataclass(frozen=True)
class Watered:
    """What :func:`plan_water` made.

    Parameters
    ----------
    advice : Advice
        The plan.
    curve : WaterValueCurve or None
        Relief against water, where it was asked for.
    ranch : Ranch
        Its name, units and languages.
    visit : tuple of date
        The readings it rests on.
    notes : tuple of Note
        What the run had to say.
    trees : mapping of str to int
        How many read trees stand behind each valve, where there are any.
    """

    advice: Advice
    curve: WaterValueCurve | None
    ranch: Ranch
    visit: Visit
    notes: tuple[Note, ...]
    trees: Mapping[str, int]


def plan_water(
    source: Path,
    *,
    asked: Mapping[str, object] | None = None,
    on: dt.date | None = None,
    with_curve: bool = False,
    out: Path | None = None,
    progress: Progress | None = None,
) -> Watered:
    """Make the water plan alone.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    asked : mapping, optional
        What stands in for keys of ``[water]``: ``available`` [m3], ``days``.
    on : date, optional
        A day of the visit wanted.
    with_curve : bool
        Whether to plan for other amounts of water too.
    out : Path, optional
        Folder for the plan's files; by default nothing is written.
    progress : Progress, optional
        Told of stages and steps.

    Returns
    -------
    Watered

    Raises
    ------
    StressmapError
        With the problems and the exit code.
    """
    tell = progress or Silent()
    refuse_early(source, out, "water")
    ground = plan_ground(source, asked, tell, on=on)
    return plan_on(ground, with_curve=with_curve, out=out, progress=tell)


def plan_on(
    ground: PlanGround,
    *,
    with_curve: bool = False,
    out: Path | None = None,
    progress: Progress | None = None,
) -> Watered:
    """Make the water plan of a ranch whose readings are checked.

    Parameters
    ----------
    ground : PlanGround
        From :func:`stressmap.jobs.plan_ground.plan_ground`.
    with_curve : bool
        Whether to plan for other amounts of water too.
    out : Path, optional
        Folder for the plan's files, made ready; by default nothing is written.
    progress : Progress, optional
        Told of stages and steps.

    Returns
    -------
    Watered

    Raises
    ------
    StressmapError
        With the problems and the exit code; where the readings carry no amounts too.
    """
    tell = progress or Silent()
    if ground.no_amounts.value is not None:
        raise SettingsError(ground.no_amounts.value)
    # What fits and plans takes seconds to load: files that cannot be used are refused before.
    from stressmap.core.parallel import cores
    from stressmap.jobs.map_visit import valves_together
    from stressmap.output.view.leaving_tables import leaving_tables
    from stressmap.output.view.trees_behind import trees_used
    from stressmap.water.value_of_water import POINTS, water_value_curve
    from stressmap.water.water_plan import advise

    prepared, jobs = prepared_plan(ground, tell), cores()
    inputs, assessed, surface = ground.inputs, prepared.assessed, prepared.made.surface
    together = valves_together(inputs, surface, jobs=jobs, progress=tell)
    advice = advise(prepared.case, prepared.terms, correlation=together, jobs=jobs, progress=tell)
    trees = trees_used(assessed.readings, "valve")
    curve = None
    if with_curve:
        tell.stage("Planning other amounts", POINTS)
        curve = water_value_curve(
            advice.case, time_limit_s=ground.water.time_limit_s, jobs=jobs, step=tell.step
        )
    if out is not None:
        ranch, tables = inputs.settings.ranch, leaving_tables(None, advice, curve)
        used = inputs.settings.model_copy(update={"water": ground.water})
        error = dataclasses.asdict(assessed.error)
        fit, memory = surface.summary(), prepared.made.as_plain()
        record = run_record.Record(
            inputs.source, used, fit, error, {}, dict(ground.sha256), memory, kept=inputs.record
        )
        page = run_record.plan_page(assessed.visit, record, prepared.notes)
        with staged(out, outputs.files_of("water")) as folder:
            outputs.write(
                outputs.Made(ranch, tables, advice=advice, curve=curve, record=page, trees=trees), folder
            )
    return Watered(
        advice, curve, inputs.settings.ranch, assessed.visit, without_drawing(prepared.notes), trees
    )
