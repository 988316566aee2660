"""All visits of a season fitted together, some weeks at a time, and the courses of valve zones through it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.linalg import LinAlgError

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.drying_slopes import USUAL_SLOPES, Dryness, SlopePriors
from stressmap.geostat.memory_mixture import MemorySurface, one_visit
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import Priors, SurfaceOptions
from stressmap.geostat.samples import Estimate, Places, Samples
from stressmap.geostat.space_time_surface import SpaceTimeSurface
from stressmap.geostat.visit_series import VisitSeries
from stressmap.geostat.zone_paths import PathSurface
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed
from stressmap.jobs.recall_visits import assessed_before, dryness_of_readings
from stressmap.quality.visit import visits_before
from stressmap.season.calendar_days import HORIZON_DAYS
from stressmap.season.ranch_dryness import RanchWater
from stressmap.season.zone_courses import ZoneCourses, zone_courses
from stressmap.zoning.grid_cells import BlockCells, lattice
from stressmap.zoning.mapping import RanchLayout
from stressmap.zoning.reading_arrays import usable_samples

WINDOW, SHARED = 10, 2
"""Visits fitted together, and how many of them with those before: ten are enough to tell what lasts."""
NEW_SEASON_DAYS = 120
"""After so many days without a visit another season begins: a judgement, no source."""
CELLS_A_ZONE = 40
COARSEST_M = 40.0
"""Valve zones are averaged over about so many cells, none coarser than this."""


@dataclass(frozen=True)
class SeasonReadings:
    """The used readings of a season's visits.

    Parameters
    ----------
    visits : tuple of Assessed
        V visits, in order.
    table : GeoDataFrame
        Used readings, n rows, those of the first visit first.
    samples : Samples
        They as arrays; a tree has one code at all visits.
    visit : array of int, shape (n,)
        Of each.
    day : array of float, shape (V,)
        Middle of each visit.
    dryness : Dryness or None
        Felt at the readings and at the visits; None without log and weather.
    """

    visits: tuple[Assessed, ...]
    table: gpd.GeoDataFrame
    samples: Samples
    visit: Ints
    day: Floats
    dryness: Dryness | None

    def series(self, first: int, until: int) -> VisitSeries:
        """Give some visits in a row as a series."""
        index = np.flatnonzero((self.visit >= first) & (self.visit < until))
        dryness = self.dryness
        if dryness is not None:
            dryness = replace(dryness.take(index), of_valves=dryness.of_valves[first:until])
        return VisitSeries.of(
            self.samples.take(index), self.visit[index] - first, self.day[first:until], dryness
        )


def season_visits(inputs: Inputs, assessed: Assessed, known: Sequence[Assessed] = ()) -> tuple[Assessed, ...]:
    """Check the readings of all visits of the season up to one.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    assessed : Assessed
        The last visit.
    known : sequence of Assessed, optional
        Earlier visits that were checked already.

    Returns
    -------
    tuple of Assessed
        In order; visits without a usable reading are left out.
    """
    found, checked = [assessed], {one.visit: one for one in known}
    for visit in reversed(visits_before(inputs.readings, assessed.visit)):
        if (found[0].visit[0] - visit[1]).days > NEW_SEASON_DAYS:
            break
        one = checked.get(visit) or assessed_before(inputs, assessed, visit)
        if one is not None:
            found.insert(0, one)
    return tuple(found)


def middles(visits: Sequence[Assessed]) -> Floats:
    """Give the middle days of visits, shape (V,), on the scale of days."""
    return np.array([(one.visit[0].toordinal() + one.visit[1].toordinal()) / 2 for one in visits])


def season_readings(
    inputs: Inputs,
    visits: tuple[Assessed, ...],
    water: RanchWater | None,
    slopes: SlopePriors = USUAL_SLOPES,
) -> SeasonReadings:
    """Take the usable readings of a season's visits together.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    visits : tuple of Assessed
        From :func:`season_visits`.
    water : RanchWater or None
        Weather and sets.
    slopes : SlopePriors, optional
        What is believed of slopes with dryness.

    Returns
    -------
    SeasonReadings
    """
    tables = [one.readings[one.readings["used"]] for one in visits]
    together = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=inputs.crs)
    raster = inputs.covariate
    samples = usable_samples(
        together, inputs.blocks, inputs.valves, covariate=None if raster is None else raster.at
    )
    number, day = np.repeat(np.arange(len(tables)), [len(table) for table in tables]), middles(visits)
    dryness = None
    if water is not None:
        read_on = np.array([float(time.date().toordinal()) for time in together["time"]])
        dryness = dryness_of_readings(water, samples.places.valve, read_on, day, slopes)
    return SeasonReadings(visits, together, samples, number, day, dryness)


@dataclass(frozen=True)
class SeasonPaths:
    """Stress of Z valve zones through a season of V visits and three weeks on.

    Parameters
    ----------
    first, today : int
        Day of position 0, and the day from which on no water is counted on.
    mean, sd : array of float, shape (D, Z)
        Day after day [bar].
    at_visits : tuple of array of float, shape (V, Z)
        Mean and standard deviation at the middle of each visit [bar].
    hot : array of float, shape (H, Z)
        From today on, in a hot week [bar].
    ahead : array of float, shape (H, H, Z)
        Covariance of the errors of a zone between the days from today on [bar²].
    slope : Estimate
        Of each zone on dryness [bar/mm].
    pair_sd : array of float, shape (P,)
        Standard deviations of the differences asked for [bar]; NaN where no window holds both days.
    """

    first: int
    today: int
    mean: Floats
    sd: Floats
    at_visits: tuple[Floats, Floats]
    hot: Floats
    ahead: Floats
    slope: Estimate
    pair_sd: Floats


def windows(count: int, last: int = WINDOW) -> list[tuple[int, int]]:
    """Cut visits into runs that are fitted together.

    Parameters
    ----------
    count : int
        Visits.
    last : int, optional
        So many at most in the last run.

    Returns
    -------
    list of (int, int)
        First and the one after the last, in order; two visits are shared with the run before.

    Examples
    --------
    >>> windows(3), windows(20), windows(12, 9)
    ([(0, 3)], [(0, 4), (2, 12), (10, 20)], [(0, 5), (3, 12)])
    """
    found = [(max(0, count - last), count)]
    while found[0][0] > 0:
        until = found[0][0] + SHARED
        found.insert(0, (max(0, until - WINDOW), until))
    return found


@dataclass(frozen=True)
class FittedLast:
    """The fit of the last visits that a map was made with.

    Parameters
    ----------
    surface : PathSurface
        Fitted to them together.
    visits : int
        How many.
    alone : bool
        Whether only what follows from them is wanted: what is due, not the course before.
    """

    surface: PathSurface
    visits: int
    alone: bool


def path_surface(inputs: Inputs, series: VisitSeries, *, last: bool) -> PathSurface:
    """Fit visits together; the last ones mixed with the last alone, which may no longer be what it was.

    Parameters
    ----------
    inputs : Inputs
        Priors.
    series : VisitSeries
        One visit or more.
    last : bool
        Whether the courses go on from the last of them.

    Returns
    -------
    PathSurface
    """
    options = SurfaceOptions(priors=Priors(**inputs.settings.model.model_dump()))
    today = StructuredSurface(series.samples.take(series.today), options)
    if len(series) < 2:
        return one_visit(series, today)
    try:
        together = SpaceTimeSurface(series, today)
        return MemorySurface(together, today) if last else together
    except LinAlgError:
        return one_visit(series, today)


@dataclass(frozen=True)
class KeptLayout(RanchLayout):
    """Blocks, valve zones and lattice of a ranch, whose cells are worked out once for all windows.

    Parameters
    ----------
    kept : dict
        Cells of each block that was asked for.
    """

    kept: dict[int, tuple[BlockCells, Places]] = field(default_factory=dict, compare=False, repr=False)

    def cells(self, block: int) -> tuple[BlockCells, Places]:
        """Give the cells of one block, by its position, and as places."""
        if block not in self.kept:
            self.kept[block] = super().cells(block)
        return self.kept[block]


def coarse_layout(inputs: Inputs) -> RanchLayout:
    """Lay a lattice over the ranch that is fine enough to average valve zones.

    Parameters
    ----------
    inputs : Inputs
        Blocks and valves.

    Returns
    -------
    RanchLayout
    """
    chosen = inputs.settings
    usual = float(np.sqrt(np.median(inputs.valves.geometry.area) / CELLS_A_ZONE))
    cell_m = min(max(chosen.map.cell_m, usual), max(COARSEST_M, chosen.map.cell_m))
    grid = lattice(inputs.blocks, round(cell_m, 1), chosen.source)
    covariate = None if inputs.covariate is None else inputs.covariate.at
    return KeptLayout(inputs.blocks, inputs.valves, grid, covariate)


@dataclass(frozen=True)
class DrynessDays:
    """Dryness of Z zones day after day, up to the horizon.

    Parameters
    ----------
    first : int
        Day of position 0.
    felt : array of float, shape (D, Z)
        In the morning of each day [mm]; zeros without log and weather.
    hot : array of float, shape (H, Z)
        From today on in a hot week.
    known : bool
        Whether log and weather tell it.
    """

    first: int
    felt: Floats
    hot: Floats
    known: bool

    def on(self, days: Floats) -> Floats:
        """Read it on days, straight between them, shape (len(days), Z)."""
        at = np.clip(days - self.first, 0, len(self.felt) - 1)
        low = np.minimum(at.astype(np.int64), max(len(self.felt) - 2, 0))
        part = (at - low)[:, None]
        return np.asarray(
            (1 - part) * self.felt[low] + part * self.felt[np.minimum(low + 1, len(self.felt) - 1)]
        )


def season_paths(
    inputs: Inputs,
    readings: SeasonReadings,
    dryness: DrynessDays,
    span: tuple[int, int],
    pairs: Ints,
    *,
    fitted_last: FittedLast | None = None,
) -> SeasonPaths:
    """Work out the courses of all valve zones through a season.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    readings : SeasonReadings
        Of V visits.
    dryness : DrynessDays
        From the first visit, or before, to the horizon.
    span : tuple of int
        The first day and today.
    pairs : array of int, shape (P, 3)
        Zone and two days, counted from the first, whose difference is wanted.
    fitted_last : FittedLast, optional
        The last visits, where they were fitted together already.

    Returns
    -------
    SeasonPaths
        NaN before those of ``fitted_last``, where only they are wanted.
    """
    first, today = span
    layout, count = coarse_layout(inputs), len(inputs.valves)
    length = today - first + HORIZON_DAYS + 1
    mean, sd = np.full((length, count), np.nan), np.full((length, count), np.nan)
    at_visits = np.full((2, len(readings.day), count), np.nan)
    pair_sd = np.full(len(pairs), np.nan)
    end = len(readings.day)
    cut = windows(end, WINDOW if fitted_last is None else fitted_last.visits)
    for a, b in cut[-1:] if fitted_last is not None and fitted_last.alone else cut:
        surface = fitted_last.surface if b == end and fitted_last is not None else None
        fitted = surface or path_surface(inputs, readings.series(a, b), last=b == end)
        begins = int(np.floor(readings.day[a])) - first
        until = length if b == end else int(np.floor(readings.day[b - 1])) - first + 1
        inside = ((pairs[:, 1:] >= begins) & (pairs[:, 1:] < until)).all(axis=1)
        asked = pairs[inside] - np.array([0, begins, begins])
        days = first + np.arange(begins, until, dtype=float)
        ahead = today + np.arange(HORIZON_DAYS + 1.0) if b == end else np.zeros(0)
        every = np.concatenate([days, readings.day[a:b], ahead])
        felt = np.concatenate([dryness.on(every[: len(every) - len(ahead)]), dryness.hot[: len(ahead)]])
        on = slice(today - first - begins, len(days)) if b == end else None
        found = zone_courses(fitted, layout, every, felt, asked, together=on)
        # the earlier window sees visits on both sides of the first one that is shared
        own = begins if a == 0 else int(np.floor(readings.day[a + 1])) - first
        mean[own:until], sd[own:until] = (
            part[own - begins : until - begins] for part in (found.mean, found.sd)
        )
        n = until - begins
        kept = slice(0 if a == 0 else 1, b - a)
        at_visits[:, a:b][:, kept] = np.stack([found.mean, found.sd])[:, n : n + b - a][:, kept]
        pair_sd[inside] = found.pair_sd
        hot, slope = found.mean[n + b - a :], found.slope
    on_ahead = found.covariance
    assert on_ahead is not None
    return SeasonPaths(first, today, mean, sd, (at_visits[0], at_visits[1]), hot, on_ahead, slope, pair_sd)


def dried_without_log(paths: SeasonPaths, et_mm: tuple[Floats, Floats], soil: Floats) -> SeasonPaths:
    """Let zones dry from today on by the evapotranspiration alone, where no log took part in the fit.

    Parameters
    ----------
    paths : SeasonPaths
        Flat from today on.
    et_mm : tuple of array of float, shape (H,)
        Used up since today on each of the days ahead, as expected and in a hot week [mm].
    soil : array of float, shape (Z,)
        The measure of their soil.

    Returns
    -------
    SeasonPaths
        What is believed of a zone's slope beforehand stands for what no log told.
    """
    at = paths.today - paths.first
    used, hot = (mm[:, None] * soil[None, :] for mm in et_mm)
    mean, sd = paths.mean.copy(), paths.sd.copy()
    mean[at:] += used * paths.slope.mean
    sd[at:] = np.sqrt(sd[at:] ** 2 + used**2 * paths.slope.variance)
    together = paths.ahead + used[:, None] * used[None, :] * paths.slope.variance
    return replace(paths, mean=mean, sd=sd, hot=paths.hot + hot * paths.slope.mean, ahead=together)


def differences(paths: SeasonPaths, pairs: Ints) -> ZoneCourses:
    """Give the courses with the differences that were asked for.

    Parameters
    ----------
    paths : SeasonPaths
        Through the season.
    pairs : array of int, shape (P, 3)
        As they were asked for.

    Returns
    -------
    ZoneCourses
    """
    day = paths.first + np.arange(len(paths.mean), dtype=float)
    return ZoneCourses(day, paths.mean, paths.sd, paths.slope, pairs, paths.pair_sd)
