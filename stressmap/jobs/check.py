"""The check of a ranch's files before the main job. Needs nothing that maps or draws."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd

from stressmap.core import settings
from stressmap.core.errors import DataError
from stressmap.core.notes import Note, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import NothingUsableError, Visit, assess_readings, load_inputs
from stressmap.jobs.before_work import handed_in
from stressmap.output.gis.mend_list import mend_target, write_mend_list
from stressmap.output.text.words import Words
from stressmap.quality.assessment_summary import judged, mend_table
from stressmap.quality.chosen_trees import question


@dataclass(frozen=True)
class Checked:
    """What :func:`check` found.

    Parameters
    ----------
    inputs : Inputs
        As read.
    visit : tuple of date
        First and last day.
    readings : GeoDataFrame
        All readings with their flags.
    notes : tuple of Note
        What was mended or is missing.
    stop : DataError or None
        What would stop a run all the same: no reading may be used.
    """

    inputs: Inputs
    visit: Visit
    readings: gpd.GeoDataFrame
    notes: tuple[Note, ...]
    stop: DataError | None = None


def check(source: Path, progress: Progress | None = None, *, out: Path | None = None) -> Checked:
    """Read and check the inputs and write nothing.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    progress : Progress, optional
        Told of stages and steps.
    out : Path, optional
        Where a list of the doubtful readings shall be written then; refused here if it cannot be.

    Returns
    -------
    Checked

    Raises
    ------
    StressmapError
        If a file or setting cannot be used, or something at ``out`` would be lost.
    """
    notes, tell = NoteList(), progress or Silent()
    if out is not None:
        mend_target(out, handed_in(source, settings.load(source)))
    inputs, orchard = notes.keep(load_inputs(source, tell))
    tell.stage("Checking readings")
    try:
        assessed = notes.keep(assess_readings(inputs, orchard, None))
    except NothingUsableError as stop:
        notes.add(stop.notes)
        return Checked(_judged(inputs, stop.readings), stop.visit, stop.readings, tuple(notes), stop)
    notes.add(question(inputs.settings.reading, planned_share=_planned_share(inputs, assessed.visit)))
    return Checked(_judged(inputs, assessed.readings), assessed.visit, assessed.readings, tuple(notes))


def _planned_share(inputs: Inputs, visit: Visit) -> float:
    """Tell which share of a visit's readings are stops of a round."""
    days = inputs.readings["time"].dropna().dt.date
    count = int(((days >= visit[0]) & (days <= visit[1])).sum())
    if inputs.record is None or not count:
        return 0.0
    return inputs.record.stops_on(visit, inputs.settings.ranch.zone) / count


def _judged(inputs: Inputs, readings: gpd.GeoDataFrame) -> Inputs:
    """Count the readings that were left out, which nothing could tell before they were checked."""
    return replace(inputs, counts=judged(inputs.counts, readings, inputs.settings.reading))


def list_to_mend(checked: Checked, out: Path) -> Path:
    """Write the doubtful readings of a check as a small table to mend by hand.

    Parameters
    ----------
    checked : Checked
        From :func:`check`.
    out : Path
        A ``.csv`` file, or a folder.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    target = mend_target(out, handed_in(checked.inputs.source, checked.inputs.settings))
    words = Words(checked.inputs.settings.ranch.languages[0])
    inputs = checked.inputs
    table = mend_table(checked.readings)
    write_mend_list(table, words, target, [one for one in inputs.counts if one.kind != "readings"])
    return target
