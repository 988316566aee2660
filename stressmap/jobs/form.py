"""The field form for phones, filled with the ranch. Needs nothing that maps or draws."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from stressmap import __version__
from stressmap.agronomy.crops import load_profiles
from stressmap.core import settings
from stressmap.core.notes import Note, NoteList
from stressmap.core.settings import Settings
from stressmap.intake.planned_work import read_round, read_timetable
from stressmap.jobs.assess_visit import read_outlines, shown
from stressmap.jobs.before_work import handed_in
from stressmap.jobs.trees_read import known_trees
from stressmap.output.staging.output_folder import make_ready, slug, staged
from stressmap.output.staging.result_files import MARK, JobFiles
from stressmap.output.web.form_data import FormContent
from stressmap.output.web.form_page import FORM_FILES, form_files

FILES = JobFiles("form", FORM_FILES | {MARK}, FORM_FILES | {MARK})
"""What the job writes: the form, and the mark by which the next form takes its place."""


@dataclass(frozen=True)
class Formed:
    """What :func:`form` made.

    Parameters
    ----------
    settings : Settings
        The ranch's.
    trees, stops, sets : int
        How many the form knows.
    notes : tuple of Note
        What there is to say of the files.
    """

    settings: Settings
    trees: int
    stops: int
    sets: int
    notes: tuple[Note, ...]


def form(source: Path, out: Path, *, round_file: Path | None = None, timetable: Path | None = None) -> Formed:
    """Make the field form of a ranch.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    out : Path
        Folder for the form.
    round_file : Path, optional
        ``round.csv``: whose stops the form leads along.
    timetable : Path, optional
        ``timetable.csv``: whose sets the form asks the times of.

    Returns
    -------
    Formed

    Raises
    ------
    StressmapError
        With the problems and the exit code; an earlier form is untouched.
    """
    chosen, notes = settings.load(source), NoteList()
    plans = [path for path in (round_file, timetable) if path is not None]
    make_ready(out, FILES, (*handed_in(source, chosen), *plans))
    orchard, valves, _ = notes.keep(read_outlines(chosen, load_profiles(chosen.crops, str(source))))
    trees = known_trees(chosen, orchard.blocks, valves)
    stops = None if round_file is None else read_round(round_file)
    sets = None if timetable is None else notes.keep(read_timetable(timetable, chosen.ranch.zone))
    content = FormContent(
        chosen, slug(chosen.ranch.name), orchard.blocks, valves, orchard.profiles, trees, stops, sets
    )
    write_form(content, out)
    known, asked, planned = (0 if table is None else len(table) for table in (trees, stops, sets))
    return Formed(chosen, known, asked, planned, shown(notes, chosen))


def write_form(content: FormContent, out: Path) -> None:
    """Write a form, all of it or nothing.

    Parameters
    ----------
    content : FormContent
        What it is filled with.
    out : Path
        Folder for it; :func:`stressmap.output.staging.output_folder.make_ready` has been asked.

    Raises
    ------
    OutputError
        If it cannot be written; an earlier form is untouched.
    """
    made = form_files(content)
    record = {"job": "form", "files": sorted([*made, MARK]), "versions": {"stressmap": __version__}}
    with staged(out, FILES) as folder:
        for name, data in made.items():
            (folder / name).write_bytes(data)
        (folder / MARK).write_text(json.dumps(record, indent=2) + "\n", encoding="utf-8", newline="\n")
