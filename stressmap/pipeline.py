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
import numpy as np
import pandas as pd
from pyproj import CRS

from stressmap.agronomy.crops import edges_for, load_profiles
from stressmap.errors import DataError, Notes
from stressmap.field.crossval import compare as compare_methods
from stressmap.field.methods import fit_surface
from stressmap.field.options import FieldOptions, Priors
from stressmap.field.surface import Samples, Surface
from stressmap.intake.polygons import read_blocks, read_valves
from stressmap.quality.checks import mark_unlike
from stressmap.quality.siting import join_valves
from stressmap.quality.visit import visit_before
from stressmap.share import everything
from stressmap.share.content import Content, Raster
from stressmap.share.folder import default_folder, staged
from stressmap.share.starter import Start, write_start
from stressmap.share.water_files import write_plan
from stressmap.survey import Assessed, Inputs, Visit, assess_readings, assess_visit, load_inputs
from stressmap.units import M2_PER_HA
from stressmap.water.advice import plan_table, timetable_table
from stressmap.water.ranch import advise_ranch
from stressmap.zoning.cells import Lattice, lattice
from stressmap.zoning.change import compare as compare_visits
from stressmap.zoning.change import irrigated_between
from stressmap.zoning.classes import Edges
from stressmap.zoning.look_again import Ground, Stakes, cut_of, look_again
from stressmap.zoning.mapping import Terms, map_blocks, valve_figures
from stressmap.zoning.ranking import Figures, last_irrigated, rank_valves
from stressmap.zoning.samples import CovariateAt, usable_samples


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


@dataclass(frozen=True)
class Fitted:
    """A mapping method fitted to a visit, and the readings it was fitted to."""

    surface: Surface
    samples: Samples
    options: FieldOptions


def fit(inputs: Inputs, assessed: Assessed, jobs: int) -> Fitted:
    """Fit the mapping method to the readings that may be used.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.survey.load_inputs`.
    assessed : Assessed
        From :func:`stressmap.survey.assess_readings`.
    jobs : int
        Parallel workers.

    Returns
    -------
    Fitted
    """
    chosen = inputs.settings
    samples = usable_samples(assessed.readings, inputs.blocks, inputs.valves, covariate=_covariate(inputs))
    options = FieldOptions(
        reading_error_bar=assessed.error.reading_error_bar,
        priors=Priors(**chosen.model.model_dump()),
        jobs=jobs,
    )
    return Fitted(fit_surface(samples, method=chosen.map.method, options=options), samples, options)


def _covariate(inputs: Inputs) -> CovariateAt | None:
    return None if inputs.covariate is None else inputs.covariate.at


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
        fitted = fit(inputs, assessed, jobs)
        proof = compare_methods(fitted.surface, fitted.samples, fitted.options)
    for note in (*fitted.surface.notes, *proof.notes):
        notes.say(note)
    tell.stage("Mapping blocks", len(inputs.blocks))
    with watch.of("map"):
        content = _content(inputs, assessed, fitted.surface, notes, tell)
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
    target = out or default_folder(inputs.settings.ranch.name, assessed.visit[0])
    tell.stage("Writing files", 1)
    with staged(target) as folder:
        with watch.of("write"):
            everything.write(content, folder)
            if advice is not None:
                write_plan(advice, inputs.settings.ranch, folder)
        summary = fitted.surface.summary() | {"cross_validation": proof.as_numbers()}
        error = dataclasses.asdict(assessed.error)
        record = everything.Record(source, inputs.settings, summary, error, watch.seconds)
        everything.write_run(content, record, folder / "run.json")
    return Result(content, target)


def _content(inputs: Inputs, assessed: Assessed, surface: Surface, notes: Notes, tell: Progress) -> Content:
    chosen = inputs.settings
    edges = _edges(inputs)
    grid = lattice(inputs.blocks, chosen.map.cell_m)
    terms = Terms(edges, chosen.map.smallest_zone_ha, _covariate(inputs))
    mapped = map_blocks(surface, inputs.blocks, inputs.valves, grid, terms, step=tell.step)
    before = visit_before(inputs.readings, assessed.visit)
    change = None if before is None else _change(inputs, assessed, before, grid, mapped.valves)
    again = look_again(
        surface,
        Ground(inputs.blocks, inputs.valves, grid, _covariate(inputs)),
        _stakes(inputs, mapped.valves),
        chosen.map.look_again,
    )
    return Content(
        ranch=chosen.ranch,
        visit=assessed.visit,
        rank_by=chosen.map.rank_by,
        edges_bar=edges,
        method=surface.method,
        blocks=_counted(inputs.blocks, assessed.readings, "block"),
        zones=mapped.zones,
        valves=_ranked(inputs, assessed, mapped.valves, edges, change),
        readings=_predicted(assessed.readings, surface, chosen.reading.unlike_z),
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
        look_again=again,
        previous_visit=before[1] if before and change is not None else None,
        basemap=chosen.map.basemap,
    )


def _edges(inputs: Inputs) -> dict[str, Edges]:
    chosen = inputs.settings.map
    return {
        crop: edges_for(inputs.profiles[crop], chosen.rank_by, chosen.edges_bar)
        for crop in sorted(inputs.blocks["crop"].unique())
    }


def ranked_valves(inputs: Inputs, assessed: Assessed, surface: Surface) -> gpd.GeoDataFrame:
    """Rank the valve zones of a visit without mapping the blocks.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.survey.load_inputs`.
    assessed : Assessed
        From :func:`stressmap.survey.assess_readings`.
    surface : Surface
        The fitted method.

    Returns
    -------
    GeoDataFrame
        In rank order, with the columns of ``valves.csv`` that need no earlier visit.
    """
    grid = lattice(inputs.blocks, inputs.settings.map.cell_m)
    figures = valve_figures(surface, inputs.blocks, inputs.valves, grid, covariate=_covariate(inputs))
    return _ranked(inputs, assessed, figures, _edges(inputs), None)


def _counted(areas: gpd.GeoDataFrame, readings: gpd.GeoDataFrame, by: str) -> gpd.GeoDataFrame:
    """Add how many readings were used in each area."""
    counts = readings[readings["used"]].groupby(by).size()
    return areas.assign(readings=[int(counts.get(name, 0)) for name in areas[by]])


def _stakes(inputs: Inputs, figures: Figures) -> Stakes:
    """Say what hangs on each valve zone when water reaches the share of the ranch that the settings name."""
    area = inputs.valves.geometry.area.to_numpy() / M2_PER_HA
    weight = inputs.blocks.set_index("block")["weight"][inputs.valves["block"]].to_numpy()
    return Stakes(figures, area * weight, cut_of(figures.mean, area, inputs.settings.map.water_share))


def _change(
    inputs: Inputs, assessed: Assessed, before: Visit, grid: Lattice, now: Figures
) -> pd.DataFrame | None:
    """Compare valve-zone means with the visit before; None where that cannot be mapped."""
    unheard = Notes()
    try:
        earlier = assess_visit(inputs, before, unheard)
    except DataError:
        return None
    surface = fit(inputs, earlier, jobs=1).surface
    then = valve_figures(surface, inputs.blocks, inputs.valves, grid, covariate=_covariate(inputs))
    since, until = _local_midnight(inputs, before[1], 1), _local_midnight(inputs, assessed.visit[0], 0)
    ran = irrigated_between(inputs.valves["valve"].tolist(), inputs.irrigation, since, until)
    return compare_visits(then, now).assign(irrigated_between=pd.Series(ran, dtype=object))


def _local_midnight(inputs: Inputs, day: dt.date, later: int) -> pd.Timestamp:
    midnight = pd.Timestamp(day) + pd.Timedelta(days=later)
    return midnight.tz_localize(inputs.settings.ranch.zone, nonexistent="shift_forward", ambiguous=True)


def _ranked(
    inputs: Inputs,
    assessed: Assessed,
    figures: Figures,
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
        figures,
        edges,
        chosen.rank_by,
        rank_unmeasured=chosen.rank_unmeasured,
    )


def _predicted(readings: gpd.GeoDataFrame, surface: Surface, unlike_z: float) -> gpd.GeoDataFrame:
    """Add what every used reading would have been from the others, and mark those far from it."""
    table = readings.assign(predicted_bar=np.nan, z_score=np.nan)
    predicted, z_score = surface.leave_one_out()
    table.loc[table["used"], "predicted_bar"] = predicted
    table.loc[table["used"], "z_score"] = z_score
    flags = mark_unlike(table["flags"].tolist(), table["z_score"].to_numpy(), unlike_z)
    return table.assign(flags=pd.Series(flags, index=table.index, dtype=object))


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
