"""What every water plan of a ranch begins with: its readings, whether they carry amounts, and its needs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from stressmap.agronomy.orchard import Orchard
from stressmap.core.errors import Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.progress import Progress
from stressmap.core.settings import Water
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed, assess_readings, load_inputs
from stressmap.jobs.handed_down import NOTHING, HandedDown
from stressmap.output.staging import run_record

if TYPE_CHECKING:
    from stressmap.jobs.recall_visits import Remembered
    from stressmap.water.formulation import PlanInputs
    from stressmap.water.read_trees import ReadTrees
    from stressmap.water.water_plan import PlanTerms


@dataclass(frozen=True)
class PlanGround:
    """A ranch whose readings are checked, before anything is fitted.

    Parameters
    ----------
    inputs : Inputs
        What its files hold.
    orchard : Orchard
        Its blocks' crops.
    assessed : Assessed
        The readings of the visit.
    water : Water
        ``[water]``, with what was asked for in its place.
    read : ReadTrees
        When and on how many trees each valve zone was read.
    no_amounts : Noted of Problem or None
        Why the readings carry no amounts, where that is so.
    sha256 : mapping of str to str
        Fingerprints of the files.
    notes : tuple of Note
        What there was to say.
    handed : HandedDown
        What a ranch of a district gets from it.
    """

    inputs: Inputs
    orchard: Orchard
    assessed: Assessed
    water: Water
    read: ReadTrees
    no_amounts: Noted[Problem | None]
    sha256: Mapping[str, str]
    notes: tuple[Note, ...]
    handed: HandedDown = NOTHING


@dataclass(frozen=True)
class PreparedPlan:
    """A ranch whose needs are worked out, before water is allocated.

    Parameters
    ----------
    case : PlanInputs
        Needs, limits and hours.
    terms : PlanTerms
        Dates, settings and evapotranspiration.
    assessed : Assessed
        The readings as the fit left them.
    made : Remembered
        The fitted surface.
    notes : tuple of Note
        What there was to say, that of :class:`PlanGround` first.
    """

    case: PlanInputs
    terms: PlanTerms
    assessed: Assessed
    made: Remembered
    notes: tuple[Note, ...]


def plan_ground(
    source: Path,
    asked: Mapping[str, object] | None,
    progress: Progress,
    *,
    on: dt.date | None = None,
    handed: HandedDown = NOTHING,
) -> PlanGround:
    """Read a ranch's files and check its readings.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    asked : mapping, optional
        What stands in for keys of ``[water]``.
    progress : Progress
        Told of stages.
    on : date, optional
        A day of the visit wanted.
    handed : HandedDown
        What a ranch of a district gets from it.

    Returns
    -------
    PlanGround

    Raises
    ------
    StressmapError
        With the problems and the exit code.
    """
    notes = NoteList()
    inputs, orchard = notes.keep(load_inputs(source, progress, handed.shared))
    sha256 = run_record.fingerprints(source, inputs.settings, inputs.record)
    progress.stage("Checking readings")
    assessed = notes.keep(assess_readings(inputs, orchard, on))
    # What fits and plans takes seconds to load: files that cannot be used are refused before.
    from stressmap.jobs.map_visit import compared_before
    from stressmap.water.ranch_inputs import why_no_amounts
    from stressmap.water.read_trees import ReadTrees

    water = (inputs.settings.water or Water()).model_copy(update=dict(asked or {}))
    read = ReadTrees.of(assessed.readings, compared_before(inputs, assessed))
    trouble = why_no_amounts(water, assessed.visit, read, str(inputs.source))
    return PlanGround(inputs, orchard, assessed, water, read, trouble, sha256, tuple(notes), handed)


def prepared_plan(ground: PlanGround, progress: Progress) -> PreparedPlan:
    """Fit, rank and follow the season as far as a plan needs it, and work out what each valve needs.

    Parameters
    ----------
    ground : PlanGround
        From :func:`plan_ground`, its readings carrying amounts.
    progress : Progress
        Told of stages and steps.

    Returns
    -------
    PreparedPlan

    Raises
    ------
    StressmapError
        With the problems and the exit code.
    """
    from stressmap.core.parallel import cores
    from stressmap.jobs.map_visit import ranked_valves
    from stressmap.jobs.season_so_far import season_of, taught
    from stressmap.jobs.shared_fits import RanchWork
    from stressmap.water.ranch_inputs import prepare

    inputs, notes, jobs = ground.inputs, NoteList(ground.notes), cores()
    lent = ground.handed.borrowed
    work = RanchWork.of(ground.handed.fits, inputs, ground.assessed, ground.sha256, lent)
    fitted, recalled = work.fitted(inputs, ground.assessed, jobs, progress, lent)
    notes.add(fitted.notes)
    made = notes.keep(recalled)
    notes.add(made.surface.notes)
    progress.stage("Following the season", 1)
    season = work.once("season", lambda: season_of(inputs, fitted.assessed, shared=made))
    read = taught(season, _read_again(ground, fitted.assessed))
    progress.step()
    valves = work.once(
        "valves", lambda: ranked_valves(inputs, fitted.assessed, made, jobs=jobs, with_change=True)
    )
    visit = fitted.assessed.visit
    case, terms = notes.keep(prepare(inputs, ground.orchard, valves, visit, ground.water, read))
    return PreparedPlan(case, terms, fitted.assessed, made, tuple(notes))


def _read_again(ground: PlanGround, assessed: Assessed) -> ReadTrees:
    """Count the trees read once more, without the readings that the fit left aside."""
    from stressmap.water.read_trees import ReadTrees

    return ReadTrees.of(assessed.readings, ground.read.before)
