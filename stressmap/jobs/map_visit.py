"""What a visit came to: the fitted surface, the ranked valve zones, the change, the places to look again."""

from __future__ import annotations

import datetime as dt
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.agronomy.crops import edges_for
from stressmap.agronomy.orchard import Orchard, middle_day
from stressmap.core.errors import Problem, SettingsError, StressmapError
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.units import M2_PER_HA, usual_unit
from stressmap.geostat.borrowed_priors import BorrowedPriors
from stressmap.geostat.memory_mixture import MemorySurface
from stressmap.geostat.methods import count_steps, doubts_of, fit_surface
from stressmap.geostat.options import Priors, SurfaceOptions
from stressmap.geostat.ordinary_kriging import MOST_MAPPED
from stressmap.geostat.surface import Surface, ZonePredictor
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed, Visit, assess_visit
from stressmap.jobs.content_parts import raster_of, risers_of
from stressmap.jobs.doubted_readings import Fitted, set_aside
from stressmap.jobs.recall_visits import RecalledVisits, Remembered
from stressmap.output.view.content import Content
from stressmap.quality.assessment_summary import judged
from stressmap.quality.checks import mark_unlike
from stressmap.quality.visit import visit_before
from stressmap.zoning.change import VisitMeans, compare_visits, irrigated_between, unread_in_log
from stressmap.zoning.grid_cells import lattice
from stressmap.zoning.mapping import (
    MappingTerms,
    RanchLayout,
    Spread,
    map_blocks,
    threads,
    valve_means,
)
from stressmap.zoning.priorities import Edges
from stressmap.zoning.ranking import ZoneMeans, last_irrigated, rank_valves
from stressmap.zoning.reading_arrays import CovariateAt, usable_samples
from stressmap.zoning.value_of_information import WateringDecision, area_threshold, look_again, nearest_trees
from stressmap.zoning.valve_correlation import ValveCorrelation, valve_correlations


def fit(
    inputs: Inputs,
    assessed: Assessed,
    jobs: int,
    progress: Progress | None = None,
    *,
    stage: str = "Fitting",
    lent: BorrowedPriors | None = None,
) -> Fitted:
    """Fit the mapping method to the readings that may be used, without those that all others contradict.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    assessed : Assessed
        From :func:`stressmap.jobs.assess_visit.assess_readings`.
    jobs : int
        Parallel workers.
    progress : Progress, optional
        Told of the stage and of each range tried.
    stage : str
        What the stage is called.
    lent : BorrowedPriors, optional
        Priors that other ranches lend.

    Returns
    -------
    Fitted
    """
    chosen, tell = inputs.settings, progress or Silent()
    samples = usable_samples(assessed.readings, inputs.blocks, inputs.valves, covariate=_covariate(inputs))
    options = SurfaceOptions(
        reading_error_bar=assessed.modelled_error_bar,
        priors=Priors(**chosen.model.model_dump()),
        jobs=jobs,
        lent=lent,
    )
    if chosen.map.method == "ordinary":
        refuse_too_many(len(samples), chosen.source)
    tell.stage(stage, count_steps(samples, chosen.map.method, options))
    terms: dict[str, Any] = {"method": chosen.map.method, "options": options, "step": tell.step}
    first = Fitted(fit_surface(samples, **terms), samples, options, assessed)
    doubts = (
        None
        if "unlike_neighbours" in chosen.reading.keep
        else doubts_of(first.surface, chosen.reading.unlike_z)
    )
    if doubts is None:
        return first
    tell.stage(stage, count_steps(samples, chosen.map.method, options))
    ground = ground_of(inputs)
    return set_aside(
        first,
        doubts,
        chosen,
        lambda kept, of_kept: fit_surface(kept, doubts=of_kept, **terms),
        lambda surface: valve_means(surface, ground, jobs=jobs),
    )


def refuse_too_many(readings: int, where: str) -> None:
    """Refuse ordinary kriging of more readings than fit into memory.

    Parameters
    ----------
    readings : int
        How many may be used.
    where : str
        The ``ranch.toml``, for messages.

    Raises
    ------
    SettingsError
        If they are over :data:`stressmap.geostat.ordinary_kriging.MOST_MAPPED`.
    """
    if readings > MOST_MAPPED:
        what = f"ordinary kriging of {readings} readings would need too much memory ({MOST_MAPPED} at most)"
        remedy = 'Use method = "structured", which has no such limit'
        raise SettingsError(Problem(where, what, remedy, column="map.method"))


def _covariate(inputs: Inputs) -> CovariateAt | None:
    return None if inputs.covariate is None else inputs.covariate.at


def content_of(
    inputs: Inputs,
    assessed: Assessed,
    made: Remembered,
    progress: Progress,
    *,
    jobs: int = 1,
    spread: Spread | None = None,
) -> Content:
    """Map a visit and put together everything that the files of a run are made from.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    assessed : Assessed
        From :func:`stressmap.jobs.assess_visit.assess_readings`.
    made : Remembered
        From :func:`stressmap.jobs.recall_visits.recall`.
    progress : Progress
        Told of each block mapped.
    jobs : int
        Blocks worked on at once.
    spread : callable, optional
        Where blocks are mapped; by default on so many threads here.

    Returns
    -------
    Content
        Its notes are those of the mapping alone.
    """
    chosen, notes, surface = inputs.settings, NoteList(), made.surface
    edges = _edges(inputs, assessed.orchard)
    ground = ground_of(inputs)
    terms = MappingTerms(edges, chosen.map.smallest_zone_ha)
    before = visit_before(inputs.readings, assessed.visit)
    earlier = notes.keep(_earlier(inputs, assessed.orchard, before, progress, alone=made.memory is None))
    progress.stage("Mapping blocks", len(inputs.blocks))
    surfaces = (surface, None if earlier is None else _compared(surface, earlier[1]))
    mapped = map_blocks(surfaces, ground, terms, spread=spread or threads(jobs), step=progress.step)
    means = None if mapped.earlier is None else (mapped.earlier, mapped.valves)
    change = None
    if earlier is not None and means is not None:
        change = _change(inputs, assessed, earlier[0], means, together=made.memory is not None)
    progress.stage("Choosing where to look again")
    again = look_again(surface, ground, decision_of(inputs, mapped.valves), chosen.map.look_again, jobs=jobs)
    again.insert(
        3, "tree_id", pd.Series(nearest_trees(again, assessed.readings), index=again.index, dtype=object)
    )
    blocks = _counted(inputs.blocks, assessed.readings, "block")
    bare = blocks.loc[blocks["readings"] == 0, "block"].tolist()
    if bare:
        notes.say("blocks_not_measured", "caution", blocks=bare)
    return Content(
        ranch=chosen.ranch,
        visit=assessed.visit,
        rank_by=chosen.map.rank_by,
        edges_bar=edges,
        method=surface.method,
        blocks=blocks,
        zones=mapped.zones.assign(measured=~mapped.zones["block"].isin(bare)),
        valves=_ranked(inputs, assessed, mapped.valves, change, made.memory),
        readings=_predicted(assessed.readings, surface, chosen.reading.unlike_z),
        raster=raster_of(inputs, ground.grid, mapped),
        notes=tuple(notes),
        look_again=again,
        previous_visit=earlier[0].visit[1] if earlier and change is not None else None,
        basemap=chosen.map.basemap,
        profiles=assessed.orchard.profiles,
        files=judged(inputs.counts, assessed.readings, chosen.reading),
        risers=risers_of(inputs),
        roads=inputs.roads,
        gauge_unit=usual_unit(inputs.readings["unit"]),
        vpd_kpa=_known(assessed.blocks["vpd_kpa"].iloc[0]),
        usual_vpd_kpa=_known(assessed.orchard.usual.on(np.array([middle_day(assessed.visit)], "M8[D]"))[0]),
        log_unread=unread_in_log(
            inputs.valves["valve"].tolist(),
            inputs.irrigation,
            assessed.visit[1],
            earlier[0].visit[1] if earlier else None,
        ),
        log_ends=None
        if inputs.irrigation is None or inputs.irrigation.empty
        else inputs.irrigation["end"].max().date(),
    )


def _known(value: float) -> float | None:
    return round(float(value), 3) if np.isfinite(value) else None


def compared_before(inputs: Inputs, assessed: Assessed) -> dt.date | None:
    """Give the last day of the visit before, which the valves of this one are compared with.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    assessed : Assessed
        From :func:`stressmap.jobs.assess_visit.assess_readings`.

    Returns
    -------
    date or None
        None where there is none.
    """
    before = visit_before(inputs.readings, assessed.visit)
    return None if before is None else before[1]


def ranked_valves(
    inputs: Inputs, assessed: Assessed, made: Remembered, *, jobs: int = 1, with_change: bool = False
) -> gpd.GeoDataFrame:
    """Rank the valve zones of a visit without mapping its cells.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    assessed : Assessed
        From :func:`stressmap.jobs.assess_visit.assess_readings`.
    made : Remembered
        From :func:`stressmap.jobs.recall_visits.recall`.
    jobs : int
        Blocks worked on at once.
    with_change : bool
        Whether to fit the visit before too, and give the change since then.

    Returns
    -------
    GeoDataFrame
        As :func:`stressmap.zoning.ranking.rank_valves` gives it.
    """
    ground, surface = ground_of(inputs), made.surface
    figures = valve_means(surface, ground, jobs=jobs)
    before = visit_before(inputs.readings, assessed.visit) if with_change else None
    earlier = _earlier(inputs, assessed.orchard, before, Silent(), alone=made.memory is None).value
    other = None if earlier is None else _compared(surface, earlier[1])
    if earlier is None or other is None:
        return _ranked(inputs, assessed, figures, None, made.memory)
    means = (valve_means(other, ground, jobs=jobs), figures)
    change = _change(inputs, assessed, earlier[0], means, together=made.memory is not None)
    return _ranked(inputs, assessed, figures, change, made.memory)


def valves_together(
    inputs: Inputs, surface: Surface, *, jobs: int = 1, progress: Progress | None = None
) -> ValveCorrelation:
    """Tell how the errors of the valve zones' means hang together.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    surface : Surface
        From :func:`fit`.
    jobs : int
        Blocks worked on at once.
    progress : Progress, optional
        Told of each block.

    Returns
    -------
    ValveCorrelation
        Of all valves; see :func:`stressmap.zoning.valve_correlation.valve_correlations`.
    """
    tell = progress or Silent()
    tell.stage("Comparing valve zones", len(inputs.blocks))
    found = valve_correlations(surface, ground_of(inputs), jobs=jobs, step=tell.step)
    return ValveCorrelation(tuple(inputs.valves["valve"]), found)


def ground_of(inputs: Inputs) -> RanchLayout:
    """Lay the lattice over the ranch.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.

    Returns
    -------
    RanchLayout
    """
    grid = lattice(inputs.blocks, inputs.settings.map.cell_m, inputs.settings.source)
    return RanchLayout(inputs.blocks, inputs.valves, grid, _covariate(inputs))


def _edges(inputs: Inputs, orchard: Orchard) -> dict[str, Edges]:
    chosen = inputs.settings.map
    return {
        crop: edges_for(profile, chosen.rank_by, chosen.edges_bar, inputs.settings.source)
        for crop, profile in orchard.profiles.items()
    }


def _counted(areas: gpd.GeoDataFrame, readings: gpd.GeoDataFrame, by: str) -> gpd.GeoDataFrame:
    """Add how many readings were used in each area."""
    counts = readings[readings["used"]].groupby(by).size()
    return areas.assign(readings=[int(counts.get(name, 0)) for name in areas[by]])


def decision_of(inputs: Inputs, figures: ZoneMeans) -> WateringDecision:
    """Say what hangs on each valve zone when water reaches the share of the ranch that the settings name.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    figures : ZoneMeans
        Of the valve zones.

    Returns
    -------
    WateringDecision
    """
    area = inputs.valves.geometry.area.to_numpy() / M2_PER_HA
    weight = inputs.blocks.set_index("block")["weight"][inputs.valves["block"]].to_numpy()
    return WateringDecision(
        figures, area * weight, area_threshold(figures.mean, area, inputs.settings.map.water_share)
    )


def _earlier(
    inputs: Inputs, orchard: Orchard, visit: Visit | None, progress: Progress, *, alone: bool
) -> Noted[tuple[Assessed, Surface | None] | None]:
    """Assess an earlier visit and fit it alone, if asked; None, and a note, where that cannot be done."""
    if visit is None:
        return Noted(None)
    try:
        assessed = assess_visit(inputs, orchard, visit).value
    except StressmapError as error:
        why = error.problems[0].what
        return Noted(None, (Note.of("no_comparison", "caution", day=visit[0], error=why),))
    if not alone:
        return Noted((assessed, None))
    fitted = fit(inputs, assessed, 1, progress, stage="Fitting the visit before")
    return Noted((fitted.assessed, fitted.surface))


def _compared(surface: Surface, before: Surface | None) -> ZonePredictor | None:
    """Give what answers for the visit before, or, with memory, for the change since."""
    return surface.since_before() if isinstance(surface, MemorySurface) else before


def _change(
    inputs: Inputs,
    assessed: Assessed,
    earlier: Assessed,
    means: tuple[ZoneMeans, ZoneMeans],
    *,
    together: bool,
) -> pd.DataFrame:
    """Compare valve-zone means with those of the visit before, or, fitted together, take their change."""
    since, until = _local_midnight(inputs, earlier.visit[1], 1), _local_midnight(inputs, assessed.visit[0], 0)
    ran = irrigated_between(inputs.valves["valve"].tolist(), inputs.irrigation, since, until)
    before, now = (
        VisitMeans(figures, visit.blocks.loc[inputs.valves["block"]].reset_index(drop=True))
        for figures, visit in zip(means, (earlier, assessed), strict=True)
    )
    told = compare_visits(before, now, inputs.settings.map.rank_by, together=together)
    return told.assign(irrigated_between=pd.Series(ran, dtype=object))


def _local_midnight(inputs: Inputs, day: dt.date, later: int) -> pd.Timestamp:
    midnight = pd.Timestamp(day) + pd.Timedelta(days=later)
    return midnight.tz_localize(inputs.settings.ranch.zone, nonexistent="shift_forward", ambiguous=True)


def _ranked(
    inputs: Inputs,
    assessed: Assessed,
    figures: ZoneMeans,
    change: pd.DataFrame | None,
    memory: RecalledVisits | None,
) -> gpd.GeoDataFrame:
    table = _counted(inputs.valves, assessed.readings, "valve")
    table["visits_used"] = 1 if memory is None else memory.visits_used(table["block"])
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
        _edges(inputs, assessed.orchard),
        chosen.rank_by,
        rank_unmeasured=chosen.rank_unmeasured,
    )


def _predicted(readings: gpd.GeoDataFrame, surface: Surface, unlike_z: float) -> gpd.GeoDataFrame:
    """Add what every used reading would have been from the others, and mark those far from it."""
    full = {"weight": readings["used"].astype(float), "predicted_bar": np.nan, "z_score": np.nan}
    table = readings.assign(**{name: value for name, value in full.items() if name not in readings})
    predicted, z_score = surface.leave_one_out()
    table.loc[table["used"], "predicted_bar"] = predicted
    table.loc[table["used"], "z_score"] = z_score
    flags = mark_unlike(table["flags"].tolist(), table["z_score"].to_numpy(), unlike_z)
    return table.assign(flags=pd.Series(flags, index=table.index, dtype=object))
