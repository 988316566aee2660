"""The main job, stage after stage; the only file that knows the order."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol, TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from stressmap import settings as settings_module
from stressmap.agronomy.crops import CropProfile, load_profiles
from stressmap.agronomy.figures import add_figures, block_figures, edges_for, weather_from_readings
from stressmap.agronomy.orchard import settle_crops
from stressmap.errors import DataError, Notes, Problem
from stressmap.field.methods import fit_surface
from stressmap.field.options import FieldOptions
from stressmap.field.surface import Surface
from stressmap.intake.irrigation import read_irrigation
from stressmap.intake.polygons import blocks_as_valves, read_blocks, read_valves
from stressmap.intake.readings import read_readings
from stressmap.intake.weather import read_weather
from stressmap.quality.checks import assess
from stressmap.quality.siting import join_valves
from stressmap.quality.visit import choose_visit, doubtful_last_visit, visit_before
from stressmap.settings import Settings
from stressmap.share import everything
from stressmap.share.content import Content, Raster
from stressmap.share.folder import default_folder, staged
from stressmap.share.starter import Start, write_start
from stressmap.zoning.cells import Lattice, lattice
from stressmap.zoning.change import compare, irrigated_between
from stressmap.zoning.classes import Edges
from stressmap.zoning.mapping import Mapped, Terms, map_blocks, valve_figures
from stressmap.zoning.ranking import Figures, last_irrigated, rank_valves
from stressmap.zoning.samples import usable_samples

Visit = tuple[dt.date, dt.date]
T = TypeVar("T")


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
class Inputs:
    """What the files hold, in one schema, one CRS and one time zone."""

    source: Path
    settings: Settings
    profiles: dict[str, CropProfile]
    blocks: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    readings: pd.DataFrame
    weather: pd.DataFrame | None
    irrigation: pd.DataFrame | None

    @property
    def crs(self) -> CRS:
        """The working CRS."""
        return CRS(self.blocks.crs)


@dataclass(frozen=True)
class Assessed:
    """The readings of a visit with their flags and figures, and what each block is held against."""

    visit: Visit
    readings: gpd.GeoDataFrame
    blocks: pd.DataFrame


@dataclass(frozen=True)
class Result:
    """What a run made, and where it is."""

    content: Content
    folder: Path


def _together(*readers: Callable[[], Any]) -> list[Any]:
    """Call readers of separate files and raise all their problems at once."""
    found: list[Any] = []
    problems: list[Problem] = []
    for reader in readers:
        try:
            found.append(reader())
        except DataError as error:
            problems += error.problems
    if problems:
        raise DataError(problems)
    return found


def load_inputs(source: Path, notes: Notes) -> Inputs:
    """Read ``ranch.toml`` and every file that it names.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    notes : Notes
        Gets what was mended or is missing.

    Returns
    -------
    Inputs

    Raises
    ------
    SettingsError
        If ``ranch.toml`` is wrong.
    DataError
        If an input cannot be used.
    """
    chosen = settings_module.load(source)
    files, zone = chosen.files, chosen.ranch.zone
    profiles = load_profiles(chosen.crops, str(source))

    def optional(path: Path | None, read: Callable[[Path], T]) -> Callable[[], T | None]:
        return lambda: None if path is None else read(path)

    def polygons() -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
        read = read_blocks(files.blocks, chosen.ranch.crs, notes)
        blocks = settle_crops(read, profiles, str(files.blocks), notes)
        if files.valves is None:
            return blocks, blocks_as_valves(blocks)
        valves = read_valves(files.valves, CRS(blocks.crs), notes)
        return blocks, join_valves(valves, blocks, files.valves, notes)

    (blocks, valves), readings, weather, irrigation = _together(
        polygons,
        lambda: read_readings(files.readings, chosen, notes),
        optional(files.weather, lambda path: read_weather(path, zone=zone, notes=notes)),
        optional(files.irrigation, lambda path: read_irrigation(path, zone=zone, notes=notes)),
    )
    return Inputs(source, chosen, profiles, blocks, valves, readings, weather, irrigation)


def assess_readings(inputs: Inputs, on: dt.date | None, notes: Notes) -> Assessed:
    """Choose the visit, check its readings and work out what they mean.

    Parameters
    ----------
    inputs : Inputs
        From :func:`load_inputs`.
    on : date or None
        A day of the visit wanted; None for the settings' or the latest.
    notes : Notes
        Gets what could not be computed.

    Returns
    -------
    Assessed

    Raises
    ------
    DataError
        If no reading of the visit can be used.
    """
    doubt = doubtful_last_visit(inputs.readings) if on is None and inputs.settings.visit.end is None else None
    if doubt:
        notes.say(doubt)
    return _assess_visit(inputs, choose_visit(inputs.readings, inputs.settings.visit, on), notes)


def _assess_visit(inputs: Inputs, visit: Visit, notes: Notes) -> Assessed:
    chosen = inputs.settings
    checked = assess(inputs.readings, inputs.blocks, inputs.valves, chosen, visit, notes, inputs.crs)
    figured = add_figures(checked, inputs.blocks, inputs.weather, inputs.profiles, chosen, notes)
    table = gpd.GeoDataFrame(figured, geometry="geometry", crs=inputs.crs)
    bare = table["used"] & table["stress_bar"].isna()
    if bare.any():
        notes.say(f"{int(bare.sum())} readings are not used: their {chosen.map.rank_by} cannot be computed.")
        table["used"] = table["used"] & ~bare
    if not table["used"].any():
        raise DataError(_nothing_usable(chosen, visit, table))
    weather = weather_from_readings(table[table["used"]]) if inputs.weather is None else inputs.weather
    return Assessed(
        visit, table, block_figures(inputs.blocks, visit, weather, inputs.profiles, chosen, notes)
    )


def _nothing_usable(chosen: Settings, visit: Visit, table: gpd.GeoDataFrame) -> Problem:
    today = table[~table["flags"].map(lambda codes: "outside_visit" in codes)]
    codes = pd.Series([code for flags in today["flags"] for code in flags], dtype=object).value_counts()
    why = ", ".join(f"{code} {count}" for code, count in codes.items()) or "none was taken in it"
    what = f"no reading of the visit {visit[0]} to {visit[1]} can be used ({why})"
    return Problem(
        str(chosen.files.readings), what, "Mend the readings, or name the kinds to keep in [reading] keep"
    )


def fit(inputs: Inputs, assessed: Assessed, jobs: int) -> Surface:
    """Fit the mapping method to the readings that may be used.

    Parameters
    ----------
    inputs : Inputs
        From :func:`load_inputs`.
    assessed : Assessed
        From :func:`assess_readings`.
    jobs : int
        Parallel workers.

    Returns
    -------
    Surface
    """
    samples = usable_samples(assessed.readings, inputs.blocks, inputs.valves)
    return fit_surface(samples, method=inputs.settings.map.method, options=FieldOptions(jobs=jobs))


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
    with watch.of("assess"):
        assessed = assess_readings(inputs, on, notes)
    tell.stage("Fitting", 1)
    with watch.of("fit"):
        surface = fit(inputs, assessed, jobs)
    for note in surface.notes:
        notes.say(note)
    tell.stage("Mapping blocks", len(inputs.blocks))
    with watch.of("map"):
        content = _content(inputs, assessed, surface, notes, tell)
    target = out or default_folder(inputs.settings.ranch.name, assessed.visit[0])
    tell.stage("Writing files", 1)
    with staged(target) as folder:
        with watch.of("write"):
            everything.write(content, folder)
        record = everything.Record(source, inputs.settings, surface.summary(), watch.seconds)
        everything.write_run(content, record, folder / "run.json")
    return Result(content, target)


def _content(inputs: Inputs, assessed: Assessed, surface: Surface, notes: Notes, tell: Progress) -> Content:
    chosen = inputs.settings
    edges: dict[str, Edges] = {
        crop: edges_for(inputs.profiles[crop], chosen.map.rank_by, chosen.map.edges_bar)
        for crop in sorted(inputs.blocks["crop"].unique())
    }
    grid = lattice(inputs.blocks, chosen.map.cell_m)
    terms = Terms(edges, chosen.map.smallest_zone_ha)
    mapped = map_blocks(surface, inputs.blocks, inputs.valves, grid, terms, step=tell.step)
    before = visit_before(inputs.readings, assessed.visit)
    change = None if before is None else _change(inputs, assessed, before, grid, mapped.valves)
    return Content(
        ranch=chosen.ranch,
        visit=assessed.visit,
        rank_by=chosen.map.rank_by,
        edges_bar=edges,
        method=surface.method,
        blocks=_counted(inputs.blocks, assessed.readings, "block"),
        zones=mapped.zones,
        valves=_ranked(inputs, assessed, mapped, edges, change),
        readings=_predicted(assessed.readings, surface),
        raster=Raster(
            crs=inputs.crs.to_string(),
            west=grid.west,
            north=grid.north,
            cell_m=grid.cell_m,
            shape=grid.shape,
            row=mapped.row,
            col=mapped.col,
            stress_bar=mapped.stress_bar,
            stress_se_bar=mapped.stress_se_bar,
        ),
        notes=tuple(notes),
        previous_visit=before[1] if before and change is not None else None,
    )


def _counted(areas: gpd.GeoDataFrame, readings: gpd.GeoDataFrame, by: str) -> gpd.GeoDataFrame:
    """Add how many readings were used in each area."""
    counts = readings[readings["used"]].groupby(by).size()
    return areas.assign(readings=[int(counts.get(name, 0)) for name in areas[by]])


def _change(
    inputs: Inputs, assessed: Assessed, before: Visit, grid: Lattice, now: Figures
) -> pd.DataFrame | None:
    """Compare valve-zone means with the visit before; None where that cannot be mapped."""
    unheard = Notes()
    try:
        earlier = _assess_visit(inputs, before, unheard)
    except DataError:
        return None
    then = valve_figures(fit(inputs, earlier, jobs=1), inputs.blocks, inputs.valves, grid)
    since, until = _local_midnight(inputs, before[1], 1), _local_midnight(inputs, assessed.visit[0], 0)
    ran = irrigated_between(inputs.valves["valve"].tolist(), inputs.irrigation, since, until)
    return compare(then, now).assign(irrigated_between=pd.Series(ran, dtype=object))


def _local_midnight(inputs: Inputs, day: dt.date, later: int) -> pd.Timestamp:
    midnight = pd.Timestamp(day) + pd.Timedelta(days=later)
    return midnight.tz_localize(inputs.settings.ranch.zone, nonexistent="shift_forward", ambiguous=True)


def _ranked(
    inputs: Inputs,
    assessed: Assessed,
    mapped: Mapped,
    edges: dict[str, Edges],
    change: pd.DataFrame | None,
) -> gpd.GeoDataFrame:
    table = _counted(inputs.valves, assessed.readings, "valve")
    measured = set(assessed.readings.loc[assessed.readings["used"], "block"])
    table["measured"] = [block in measured for block in table["block"]]
    until = _local_midnight(inputs, assessed.visit[1], 1)
    table["last_irrigated"] = last_irrigated(table["valve"].tolist(), inputs.irrigation, until)
    if change is not None:
        table = table.assign(**{name: change[name].to_numpy() for name in change.columns})
    chosen = inputs.settings.map
    return rank_valves(
        table,
        assessed.blocks,
        mapped.valves,
        edges,
        chosen.rank_by,
        rank_unmeasured=chosen.rank_unmeasured,
    )


def _predicted(readings: gpd.GeoDataFrame, surface: Surface) -> gpd.GeoDataFrame:
    """Add what every used reading would have been from the others."""
    table = readings.assign(predicted_bar=np.nan, z_score=np.nan)
    predicted, z_score = surface.leave_one_out()
    table.loc[table["used"], "predicted_bar"] = predicted
    table.loc[table["used"], "z_score"] = z_score
    return table


@dataclass(frozen=True)
class Checked:
    """What :func:`check` found.

    Parameters
    ----------
    inputs : Inputs
        As read.
    assessed : Assessed
        The visit's readings with their flags.
    notes : tuple of str
        What was mended or is missing.
    """

    inputs: Inputs
    assessed: Assessed
    notes: tuple[str, ...]


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
        If :func:`run` would stop for it too.
    """
    notes = Notes()
    inputs = load_inputs(source, notes)
    assessed = assess_readings(inputs, None, notes)
    return Checked(inputs, assessed, tuple(notes))


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
