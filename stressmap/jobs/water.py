"""The water plan alone, for trying amounts: from the files to the plan, without the maps."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from stressmap.core.errors import SettingsError
from stressmap.core.notes import Note, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.settings import Ranch, Water
from stressmap.intake.polygon_repair import without_drawing
from stressmap.jobs.assess_visit import Visit, assess_readings, load_inputs
from stressmap.jobs.before_work import refuse_early
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
    notes, tell = NoteList(), progress or Silent()
    refuse_early(source, out, "water")
    inputs, orchard = notes.keep(load_inputs(source, tell))
    sha256 = run_record.fingerprints(source, inputs.settings, inputs.record)
    tell.stage("Checking readings")
    assessed = notes.keep(assess_readings(inputs, orchard, on))
    # What fits and plans takes seconds to load: files that cannot be used are refused before.
    from stressmap.core.parallel import cores
    from stressmap.jobs.map_visit import compared_before, fit, ranked_valves, valves_together
    from stressmap.jobs.recall_visits import recall
    from stressmap.jobs.season_so_far import season_of, taught
    from stressmap.output.view.leaving_tables import leaving_tables
    from stressmap.output.view.trees_behind import trees_used
    from stressmap.water.ranch_inputs import prepare, why_no_amounts
    from stressmap.water.read_trees import ReadTrees
    from stressmap.water.value_of_water import POINTS, water_value_curve
    from stressmap.water.water_plan import advise

    chosen, jobs = (inputs.settings.water or Water()).model_copy(update=dict(asked or {})), cores()
    read = ReadTrees.of(assessed.readings, compared_before(inputs, assessed))
    if (trouble := why_no_amounts(chosen, assessed.visit, read, str(inputs.source)).value) is not None:
        raise SettingsError(trouble)
    fitted = fit(inputs, assessed, jobs, tell)
    assessed = fitted.assessed
    notes.add(fitted.notes)
    made = notes.keep(recall(inputs, assessed, fitted.surface, tell))
    surface = made.surface
    notes.add(surface.notes)
    read = ReadTrees.of(assessed.readings, read.before)
    tell.stage("Following the season", 1)
    read = taught(season_of(inputs, assessed, shared=made), read)
    tell.step()
    valves = ranked_valves(inputs, assessed, made, jobs=jobs, with_change=True)
    together = valves_together(inputs, surface, jobs=jobs, progress=tell)
    case, terms = notes.keep(prepare(inputs, orchard, valves, assessed.visit, chosen, read))
    advice = advise(case, terms, correlation=together, jobs=jobs, progress=tell)
    trees = trees_used(assessed.readings, "valve")
    curve = None
    if with_curve:
        tell.stage("Planning other amounts", POINTS)
        curve = water_value_curve(advice.case, time_limit_s=chosen.time_limit_s, jobs=jobs, step=tell.step)
    if out is not None:
        ranch, tables = inputs.settings.ranch, leaving_tables(None, advice, curve)
        used = inputs.settings.model_copy(update={"water": chosen})
        error = dataclasses.asdict(assessed.error)
        record = run_record.Record(
            source, used, surface.summary(), error, {}, sha256, made.as_plain(), kept=inputs.record
        )
        page = run_record.plan_page(assessed.visit, record, tuple(notes))
        with staged(out, outputs.files_of("water")) as folder:
            outputs.write(
                outputs.Made(ranch, tables, advice=advice, curve=curve, record=page, trees=trees), folder
            )
    return Watered(advice, curve, inputs.settings.ranch, assessed.visit, without_drawing(notes), trees)
