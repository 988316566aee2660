"""The season so far, valve by valve: from the files to its tables and page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from stressmap.core.notes import Note, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.settings import Ranch
from stressmap.intake.polygon_repair import without_drawing
from stressmap.jobs.assess_visit import assess_readings, load_inputs, shown
from stressmap.jobs.before_work import handed_in, refuse_early
from stressmap.output import outputs
from stressmap.output.staging import run_record
from stressmap.output.staging.output_folder import make_ready, season_folder, staged
from stressmap.season.season import Season


@dataclass(frozen=True)
class SeasonResult:
    """What :func:`follow_season` made.

    Parameters
    ----------
    season : Season
        So far.
    ranch : Ranch
        Its name, units and languages.
    folder : Path
        Where its files are.
    notes : tuple of Note
        What there is to say of files and season.
    """

    season: Season
    ranch: Ranch
    folder: Path
    notes: tuple[Note, ...]


def follow_season(source: Path, *, out: Path | None = None, progress: Progress | None = None) -> SeasonResult:
    """Work out the season and write its files.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    out : Path, optional
        Folder for the results; default ``outputs/<ranch>/season``.
    progress : Progress, optional
        Told of stages and steps.

    Returns
    -------
    SeasonResult

    Raises
    ------
    StressmapError
        With the problems and the exit code; an earlier result is untouched.
    """
    notes, tell = NoteList(), progress or Silent()
    refuse_early(source, out, "season")
    inputs, orchard = notes.keep(load_inputs(source, tell))
    chosen, ranch = inputs.settings, inputs.settings.ranch
    sha256 = run_record.fingerprints(source, chosen, inputs.record)
    tell.stage("Checking readings")
    assessed = notes.keep(assess_readings(inputs, orchard, None))
    target, files = out or season_folder(ranch.name), outputs.files_of("season")
    if out is None:
        make_ready(target, files, handed_in(source, chosen), ranch=ranch.name)
    # What fits takes seconds to load: files that cannot be used are refused before.
    from stressmap.core.parallel import cores
    from stressmap.jobs.map_visit import fit
    from stressmap.jobs.recall_visits import recall
    from stressmap.jobs.season_so_far import season_of
    from stressmap.output.view.advice import season_tables

    # the last visits are fitted as a map's are, so that both say the same of what is due
    fitted = fit(inputs, assessed, cores(), tell)
    recalled = recall(inputs, fitted.assessed, fitted.surface, tell).value
    season = season_of(inputs, fitted.assessed, shared=recalled, whole=True, progress=tell)
    notes.add(shown(season.notes, chosen))
    season = replace(season, notes=without_drawing(notes))
    record = run_record.Record(source, chosen, {}, {}, {}, sha256, kept=inputs.record)
    page = run_record.season_page(season.visits, record, tuple(notes))
    frames = {"course": season.course, "cycles": season.cycles, "blocks": season.blocks}
    tables = season_tables(season.due, frames, season.alarmed)
    made = outputs.Made(ranch, tables, season=(season, orchard.profiles), record=page)
    with staged(target, files) as folder:
        outputs.write(made, folder, tell)
    return SeasonResult(season, ranch, target, season.notes)
