"""The main job, stage after stage; the only file that knows the order."""

from __future__ import annotations

import dataclasses
import datetime as dt
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stressmap.core.notes import Noted, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.settings import Water
from stressmap.intake.inputs import Inputs
from stressmap.intake.polygon_repair import without_drawing
from stressmap.jobs.assess_visit import Assessed, assess_readings, load_inputs
from stressmap.jobs.before_work import handed_in, refuse_early
from stressmap.jobs.handed_down import NOTHING, HandedDown
from stressmap.jobs.next_round import next_round
from stressmap.jobs.shared_fits import RanchWork
from stressmap.output import outputs
from stressmap.output.staging import run_record
from stressmap.output.staging.output_folder import default_folder, make_ready, staged
from stressmap.output.view.content import Content

if TYPE_CHECKING:
    from stressmap.agronomy.orchard import Orchard
    from stressmap.jobs.doubted_readings import Fitted
    from stressmap.jobs.recall_visits import Remembered
    from stressmap.season.season import Season
    from stressmap.water.read_trees import ReadTrees
    from stressmap.water.water_plan import Advice


SAID_BY_CHECK = frozenset({"unit_of_heading"})
"""What check and the record say, and no paper repeats."""


@dataclass
class Watch:
    """Seconds by stage."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def of(self, name: str) -> Iterator[None]:
        """Time one stage."""
        began = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = round(time.perf_counter() - began, 3)


@dataclass(frozen=True)
class Result:
    """What a run made, and where it is."""

    content: Content
    folder: Path


def run(
    source: Path,
    *,
    out: Path | None = None,
    on: dt.date | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
    handed: HandedDown = NOTHING,
) -> Result:
    """Do the main job: files in, maps and lists out.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    out : Path, optional
        Folder for the results; default ``outputs/<ranch>/<first day of the visit>``.
    on : date, optional
        A day of the visit wanted.
    jobs : int
        Parallel workers.
    progress : Progress, optional
        Told of stages and steps.
    handed : HandedDown
        What a ranch of a district gets from it.

    Returns
    -------
    Result

    Raises
    ------
    StressmapError
        With the problems and the exit code; an earlier result is untouched.
    """
    notes, watch, tell = NoteList(), Watch(), progress or Silent()
    refuse_early(source, out, "run", handed.shared)
    with watch.of("read"):
        inputs, orchard = notes.keep(load_inputs(source, tell, handed.shared))
        sha256 = run_record.fingerprints(source, inputs.settings, inputs.record)
    tell.stage("Checking readings")
    with watch.of("assess"):
        assessed = notes.keep(assess_readings(inputs, orchard, on))
    name, files = inputs.settings.ranch.name, outputs.files_of("run")
    target = out or default_folder(name, assessed.visit[0])
    if out is None:
        make_ready(target, files, handed_in(source, inputs.settings), ranch=name)
    # What fits, plans and draws takes seconds to load: files that cannot be used are refused before.
    from stressmap.geostat.cross_validation import MOST_METHODS, cross_validate
    from stressmap.jobs.borrowed_strength import what_was_borrowed
    from stressmap.jobs.map_visit import content_of
    from stressmap.jobs.season_so_far import taught
    from stressmap.water.ranch_inputs import why_no_amounts
    from stressmap.water.read_trees import ReadTrees

    with watch.of("fit"):
        work, lent = RanchWork.of(handed.fits, inputs, assessed, sha256, handed.borrowed), handed.borrowed
        fitted, found = work.fitted(inputs, assessed, jobs, tell, lent)
        assessed, recalled = fitted.assessed, notes.keep(found)
        lending = notes.keep(what_was_borrowed(fitted.surface, recalled, assessed, lent))
        fitted = dataclasses.replace(fitted, surface=recalled.surface)
        tell.stage("Comparing methods", MOST_METHODS)
        proof = cross_validate(fitted.surface, fitted.samples, fitted.options, step=tell.step)
    notes.add((*fitted.notes, *fitted.surface.notes, *proof.notes))
    with watch.of("map"):
        content = content_of(inputs, assessed, recalled, tell, jobs=jobs, spread=handed.spread)
    with watch.of("season"):
        season = _followed(inputs, assessed, recalled, work, tell)
        content, lending = notes.keep(_with_season(content, season, recalled, lending))
    advice, planned = None, inputs.settings.water
    if planned is not None:
        read = taught(season, ReadTrees.of(assessed.readings, content.previous_visit))
        if notes.keep(why_no_amounts(planned, assessed.visit, read, str(source))) is None:
            with watch.of("water"):
                content, advice = _with_water(content, inputs, assessed, (fitted, read), tell)
    notes.add(content.notes)
    told = tuple(note for note in without_drawing(notes) if note.code not in SAID_BY_CHECK)
    content = dataclasses.replace(content, notes=told, next_round=next_round(inputs.settings, assessed.visit))
    record = run_record.Record(
        source,
        inputs.settings,
        fitted.surface.summary() | {"cross_validation": proof.as_numbers()},
        dataclasses.asdict(assessed.error),
        watch.seconds,
        sha256,
        recalled.as_plain(),
        kept=inputs.record,
        borrowed=lending,
    )
    page = run_record.run_page(dataclasses.replace(content, notes=tuple(notes)), record)
    made = _made(content, advice, page, inputs, orchard)
    del fitted, recalled  # with their solved systems, beside which the files would be written
    with staged(target, files) as folder:
        with watch.of("write"):
            outputs.write(made, folder, tell)
        outputs.write(outputs.Made(made.ranch, record=page | {"timings": watch.seconds}), folder)
    return Result(content, target)


def _followed(
    inputs: Inputs, assessed: Assessed, recalled: Remembered, work: RanchWork, tell: Progress
) -> Season:
    """Follow the season by the fit of all visits that the map has."""
    from stressmap.jobs.season_so_far import season_of

    tell.stage("Following the season", 1)
    season = work.once("season", lambda: season_of(inputs, assessed, shared=recalled))
    tell.step()
    return season


def _with_season(
    content: Content,
    season: Season,
    recalled: Remembered,
    lending: dict[str, Any] | None,
) -> Noted[tuple[Content, dict[str, Any] | None]]:
    """Add when the next water of each valve zone is due, and to what was borrowed that of their soils."""
    from stressmap.jobs.borrowed_soils import with_soils
    from stressmap.output.view.season_line import with_due

    borrowed = with_soils(lending, recalled.drying, season)
    return Noted((with_due(content, season.due, season.today), borrowed.value), borrowed.notes)


def _with_water(
    content: Content, inputs: Inputs, assessed: Assessed, known: tuple[Fitted, ReadTrees], tell: Progress
) -> tuple[Content, Advice]:
    """Plan the water of the ranch and add the plan to what is written."""
    from stressmap.jobs.map_visit import valves_together
    from stressmap.output.view.plan_words import headlines
    from stressmap.output.view.water_words import first_words
    from stressmap.water.ranch_inputs import prepare
    from stressmap.water.water_plan import advise, plan_table, timetable_table

    fitted, read = known
    chosen, jobs = inputs.settings.water or Water(), fitted.options.jobs
    together = valves_together(inputs, fitted.surface, jobs=jobs, progress=tell)
    prepared = prepare(inputs, assessed.orchard, content.valves, assessed.visit, chosen, read)
    case, terms = prepared.value
    advice = advise(case, terms, correlation=together, jobs=jobs, progress=tell)
    planned = dataclasses.replace(
        content,
        water_plan=plan_table(advice),
        timetable=timetable_table(advice),
        water_said=headlines(advice, first_words(content.ranch)),
        notes=(*content.notes, *prepared.notes),
    )
    return planned, advice


def _made(
    content: Content, advice: Advice | None, page: dict[str, Any], inputs: Inputs, orchard: Orchard
) -> outputs.Made:
    """Gather what the files of a run are made from."""
    from stressmap.output.report.page import Background
    from stressmap.output.view.leaving_tables import leaving_tables
    from stressmap.output.view.plan_digest import digest
    from stressmap.output.view.plan_proof import proof
    from stressmap.output.view.plan_words import tell
    from stressmap.output.view.water_words import first_words

    trees, words = content.trees["valve"], first_words(content.ranch)
    told = () if advice is None else (*tell(advice, words, trees, remembered=True), proof(advice, words))
    brief = () if advice is None else digest(advice, words)
    background = Background(page, orchard.courses, inputs.weather, told, brief)
    tables = leaving_tables(content, advice)
    return outputs.Made(content.ranch, tables, content, background, advice, trees=trees)
