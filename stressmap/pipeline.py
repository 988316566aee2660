"""The main job, stage after stage; the only file that knows the order."""

from __future__ import annotations

import dataclasses
import datetime as dt
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import geopandas as gpd
from pyproj import CRS

from stressmap.agronomy.crops import load_profiles
from stressmap.errors import DataError, Notes
from stressmap.field.crossval import compare as compare_methods
from stressmap.findings import content_of, fit
from stressmap.intake.polygons import read_blocks, read_valves
from stressmap.quality.siting import join_valves
from stressmap.quality.summary import mend_table
from stressmap.share import everything
from stressmap.share.content import Content
from stressmap.share.folder import default_folder, make_ready, staged
from stressmap.share.mend_list import write_mend_list
from stressmap.share.report import Background, write_report
from stressmap.share.starter import Start, write_start
from stressmap.share.water_files import write_plan
from stressmap.share.water_words import first_words
from stressmap.share.water_words import tell as tell_plan
from stressmap.survey import Inputs, NothingUsableError, Visit, assess_readings, load_inputs
from stressmap.water.advice import plan_table, timetable_table
from stressmap.water.ranch import advise_ranch


class Progress(Protocol):
    """What a run tells whoever waits for it."""

    def stage(self, name: str, steps: int) -> None:
        """Begin a stage of so many steps."""

    def step(self) -> None:
        """Finish one step of it."""


class Silent:
    """A progress that says nothing."""

    def stage(self, name: str, steps: int) -> None:
        """Say nothing."""

    def step(self) -> None:
        """Say nothing."""


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

    Returns
    -------
    Result

    Raises
    ------
    StressmapError
        With the problems and the exit code; an earlier result is untouched.
    """
    notes, watch, tell = Notes(), Watch(), progress or Silent()
    tell.stage("Reading files", 1)
    with watch.of("read"):
        inputs = load_inputs(source, notes)
        sha256 = everything.fingerprints(source, inputs.settings)
    with watch.of("assess"):
        assessed = assess_readings(inputs, on, notes)
    target = out or default_folder(inputs.settings.ranch.name, assessed.visit[0])
    make_ready(target)
    tell.stage("Fitting", 1)
    with watch.of("fit"):
        fitted = fit(inputs, assessed, jobs)
        proof = compare_methods(fitted.surface, fitted.samples, fitted.options)
    for note in (*fitted.surface.notes, *proof.notes):
        notes.say(note)
    tell.stage("Mapping blocks", len(inputs.blocks))
    with watch.of("map"):
        content = content_of(inputs, assessed, fitted.surface, notes, jobs=jobs, step=tell.step)
    advice = None
    if inputs.settings.water is not None:
        tell.stage("Planning water", 1)
        with watch.of("water"):
            advice = advise_ranch(inputs, content.valves, assessed.visit, {}, notes)
            content = dataclasses.replace(
                content,
                water_plan=plan_table(advice),
                timetable=timetable_table(advice),
                notes=tuple(notes),
            )
    tell.stage("Writing files", 1)
    with staged(target) as folder:
        with watch.of("write"):
            everything.write(content, folder)
            if advice is not None:
                write_plan(advice, inputs.settings.ranch, folder)
            summary = fitted.surface.summary() | {"cross_validation": proof.as_numbers()}
            error = dataclasses.asdict(assessed.error)
            record = everything.Record(source, inputs.settings, summary, error, watch.seconds, sha256)
            page = everything.run_page(content, record)
            told = () if advice is None else tell_plan(advice, first_words(inputs.settings.ranch))
            background = Background(page, _seasons(inputs), inputs.weather, told)
            write_report(content, background, folder / "report.html")
        everything.write_run(page | {"timings": watch.seconds}, folder)
    return Result(content, target)


def _seasons(inputs: Inputs) -> dict[str, tuple[tuple[str, float], ...]]:
    """Gather the season targets of the crops on the ranch."""
    crops = sorted(inputs.blocks["crop"].unique())
    targets = {crop: inputs.profiles[crop].season_target for crop in crops}
    return {crop: tuple(points) for crop, points in targets.items() if points}


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
    notes : tuple of str
        What was mended or is missing.
    stop : DataError or None
        What would stop a run all the same: no reading may be used.
    """

    inputs: Inputs
    visit: Visit
    readings: gpd.GeoDataFrame
    notes: tuple[str, ...]
    stop: DataError | None = None


def check(source: Path) -> Checked:
    """Read and check the inputs and write nothing.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.

    Returns
    -------
    Checked

    Raises
    ------
    StressmapError
        If a file or setting cannot be used.
    """
    notes = Notes()
    inputs = load_inputs(source, notes)
    try:
        assessed = assess_readings(inputs, None, notes)
    except NothingUsableError as stop:
        return Checked(inputs, stop.visit, stop.readings, tuple(notes), stop)
    return Checked(inputs, assessed.visit, assessed.readings, tuple(notes))


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
    files = checked.inputs.settings.files
    inputs = (files.readings, files.blocks, files.valves, files.weather, files.irrigation)
    table = mend_table(checked.readings)
    return write_mend_list(table, out, (checked.inputs.source, *(path for path in inputs if path)))


def start(folder: Path, blocks_file: Path, valves_file: Path | None) -> Start:
    """Make a new ranch folder.

    Parameters
    ----------
    folder : Path
        Where; made if it does not exist.
    blocks_file : Path
        The blocks.
    valves_file : Path or None
        The valve zones.

    Returns
    -------
    Start
        What was filled in.

    Raises
    ------
    StressmapError
        If the polygons cannot be used or the folder cannot be written.
    """
    notes = Notes()
    blocks = read_blocks(blocks_file, None, notes)
    valves = 0
    if valves_file is not None:
        read = read_valves(valves_file, CRS(blocks.crs), notes)
        valves = len(join_valves(read, blocks, valves_file, notes))
    filled = Start(blocks_file, blocks, valves_file, valves, tuple(sorted(load_profiles({}, "ranch.toml"))))
    write_start(folder, filled)
    return filled
