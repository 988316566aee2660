"""What the season's days left, drying, peaks and alarms come to against the truth of simulated seasons."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from helpers.drawn_dry_downs import AHEAD, ORDINAL, DryDown, draw_dry_down
from helpers.drawn_seasons import TREES, Season
from stressmap.geostat.drying_slopes import SLOPE_BAR_MM
from stressmap.geostat.memory_mixture import MemorySurface
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.space_time_surface import SpaceTimeSurface
from stressmap.geostat.zone_paths import ZonePaths
from stressmap.season.days_left import days_left, first_crossing
from stressmap.season.not_relieved import Alarm, WaterFacts, alarms_of
from stressmap.season.read_days import ReadDays
from stressmap.season.visit_course import Came

LEAST_RISE = 0.05
"""A straight line rises by so much at least [bar/d]."""
ALLOWED_OVER = 1.0
"""What is allowed, over the mean of all zones on the last visit [bar]."""


def surface_of(drawn: DryDown) -> MemorySurface:
    """Fit a drawn season as the job does."""
    today = StructuredSurface(drawn.series.samples.take(drawn.series.today), SurfaceOptions())
    return MemorySurface(SpaceTimeSurface(drawn.series, today), today)


@dataclass(frozen=True)
class DueShown:
    """Days left and their truth, intervals, and the peak at the usual turn, of some zones."""

    told: np.ndarray
    low: np.ndarray
    high: np.ndarray
    truth: np.ndarray
    peak_miss: np.ndarray
    correlation: float = np.nan
    others: dict[str, np.ndarray] = field(default_factory=dict)

    @classmethod
    def joined(cls, parts: list[DueShown]) -> DueShown:
        names = ("told", "low", "high", "truth", "peak_miss")
        found = (np.concatenate([getattr(part, name) for part in parts]) for name in names)
        others = {name: np.concatenate([part.others[name] for part in parts]) for name in parts[0].others}
        return cls(*found, others=others)

    def told_by(self, name: str) -> DueShown:
        """Give the days left as told otherwise."""
        none = np.zeros(0)
        return DueShown(self.others[name], none, none, self.truth, none)

    def rmse(self) -> float:
        return float(np.sqrt(np.mean((self.told - self.truth) ** 2)))

    def rmse_within(self) -> float:
        week = self.told <= 7.0
        return float(np.sqrt(np.mean((self.told[week] - self.truth[week]) ** 2)))

    def covered(self) -> float:
        return float(np.mean((self.low <= self.truth + 1e-9) & (self.truth <= self.high + 1e-9)))

    def peak_rmse(self) -> float:
        return float(np.sqrt(np.mean(self.peak_miss**2)))

    def mean_days(self) -> float:
        return float(self.truth.mean())


def show_due(seed: int, how: Season, over: float = ALLOWED_OVER) -> DueShown:
    """Tell days left and the next peak of every zone of a drawn season, and hold them against the truth."""
    drawn = draw_dry_down(seed, how)
    surface = surface_of(drawn)
    paths = surface.zone_paths(drawn.cells, drawn.cells.valve, drawn.zones, *_days_ahead(drawn))
    truth = drawn.truth[len(drawn.visits) - 1 :]
    allowed = np.full(drawn.zones, truth[0].mean() + over)
    left, real = days_left(paths.mean, paths.covariance, allowed), first_crossing(truth, allowed)
    sets = [np.flatnonzero(own > 0) for own in drawn.water.set_mm.T]
    since = np.array([len(drawn.water.et_mm) - (own[-1] if len(own) else 0) for own in sets])
    planned = np.clip(np.round(drawn.gaps - since), 0, AHEAD).astype(int)
    zone = np.arange(drawn.zones)
    miss = paths.mean[planned, zone] - truth[planned, zone]
    correlation = float(np.corrcoef(paths.slope.mean * drawn.soil, drawn.slope)[0, 1])
    open_zones = real > 0
    parts = (_within(left.mean), _within(left.low), left.high, _within(real))
    others = {
        name: _within(told)[open_zones] for name, told in _told_otherwise(drawn, surface, paths, allowed)
    }
    return DueShown(*(part[open_zones] for part in parts), miss, correlation, others)


def _within(days: np.ndarray) -> np.ndarray:
    return np.minimum(days, float(AHEAD))


def _days_ahead(drawn: DryDown) -> tuple[np.ndarray, np.ndarray]:
    """Give the days from the last visit on, and the dryness of zones on them without water."""
    last = int(drawn.visits[-1])
    felt = drawn.followed(float(drawn.water.et_mm[-7:].mean()))
    return ORDINAL + last + np.arange(AHEAD + 1.0), felt[drawn.lead + last - 1 :][: AHEAD + 1]


def _told_otherwise(
    drawn: DryDown, surface: MemorySurface, paths: ZonePaths, allowed: np.ndarray
) -> Iterator[tuple[str, np.ndarray]]:
    """Tell the days left in plainer ways, and with what nobody knows."""
    now, day = drawn.truth[len(drawn.visits) - 1], np.arange(AHEAD + 1.0)[:, None]
    yield "its own readings and last slope", _by_last_slope(drawn, allowed)
    today = surface.today.predict_zones(drawn.cells, drawn.cells.valve, drawn.zones).mean
    used = day * drawn.water.et_mm[-7:].mean() * drawn.soil
    yield "today's map and the soil's mm a bar", first_crossing(today + SLOPE_BAR_MM * used, allowed)
    yield "the true stress today", first_crossing(now + paths.mean - paths.mean[0], allowed)
    yield (
        "the true stress today and true drying",
        first_crossing(now + drawn.stress - drawn.stress[0], allowed),
    )


def _by_last_slope(drawn: DryDown, allowed: np.ndarray) -> np.ndarray:
    """Draw a straight line through the last two visits that read a zone; unread ones go as the ranch does."""
    series, last = drawn.series, drawn.visits[-1]
    valve, value, visit = series.samples.places.valve, series.samples.value, series.visit
    level, rise = np.full(drawn.zones, value[series.today].mean()), np.full(drawn.zones, np.nan)
    for zone in np.unique(valve):
        at = np.unique(visit[valve == zone])[-2:]
        mean = [value[(valve == zone) & (visit == v)].mean() for v in at]
        if len(at) > 1:
            rise[zone] = max((mean[1] - mean[0]) / (drawn.visits[at[1]] - drawn.visits[at[0]]), LEAST_RISE)
        level[zone] = mean[-1] + max(np.nan_to_num(rise[zone]), 0.0) * (last - drawn.visits[at[-1]])
    rise = np.where(np.isnan(rise), np.nanmedian(rise), rise)
    return np.asarray(np.clip((allowed - level) / rise, 0.0, None))


@dataclass(frozen=True)
class FaultsShown:
    """Of faulty zones whether they were found and after how many days; false alarms of sound ones."""

    found: np.ndarray
    days: np.ndarray
    false: int
    sound: int


def alarms_list(drawn: DryDown, visits: int) -> tuple[Alarm, ...]:
    """Give the alarms after so many visits."""
    series = drawn.series
    here = series.visit < visits
    places = series.samples.places
    dryness = series.dryness
    assert dryness is not None
    read = ReadDays(
        places.valve[here], places.block[here], places.crop[here], series.visit[here],
        series.samples.tree[here], series.day[series.visit[here]], series.samples.value[here],
        dryness.at_readings[here],
    )  # fmt: skip
    until = drawn.lead + int(drawn.visits[visits - 1])
    day, zone = np.nonzero(drawn.water.set_mm[:until])
    order = np.lexsort((day, zone))
    first = ORDINAL - drawn.lead
    start = first + day[order].astype(float)
    came = Came(zone[order].astype(np.int64), start, start + 0.5, drawn.water.set_mm[day[order], zone[order]])
    felt = drawn.dryness(drawn.water)
    slope = np.full(drawn.zones, 0.05)
    facts = WaterFacts(
        came, first + 1, drawn.water.et_mm, felt, slope, drawn.soil,
        np.full(drawn.zones, drawn.truth[visits - 1].mean() + 4.0), drawn.block,
    )  # fmt: skip
    return alarms_of(read, facts, lambda one: dt.date.fromordinal(round(one)))


def alarms_at(drawn: DryDown, visits: int) -> set[int]:
    """Give the zones that are alarmed after so many visits."""
    return {zone for alarm in alarms_list(drawn, visits) for zone in alarm.zones}


def faults_shown(seed: int, kind: str, trees: int = TREES) -> FaultsShown:
    """Look for the faults of a drawn season after each of its visits."""
    drawn = draw_dry_down(seed, Season(earlier=9), fault=kind, since=0.4, trees=trees)
    faulty = np.flatnonzero(drawn.faulty)
    first: dict[int, float] = {}
    ever: set[int] = set()
    for visits in range(3, len(drawn.visits) + 1):
        alarmed = alarms_at(drawn, visits)
        ever |= alarmed
        for zone in faulty:
            if zone in alarmed and drawn.visits[visits - 1] > drawn.since:
                first.setdefault(int(zone), drawn.visits[visits - 1] - drawn.since)
    found = np.array([zone in first for zone in faulty])
    now = alarms_at(drawn, len(drawn.visits))
    sound = drawn.zones - len(faulty)
    return FaultsShown(found, np.array(sorted(first.values())), len(now - set(faulty.tolist())), sound)
