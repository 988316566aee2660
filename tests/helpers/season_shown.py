"""What the season's days left, drying, peaks and alarms come to against the truth of simulated seasons."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from helpers.drawn_dry_downs import AHEAD, ORDINAL, DryDown, draw_dry_down
from helpers.drawn_seasons import TREES, Season
from stressmap.geostat.memory_mixture import MemorySurface
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.space_time_surface import SpaceTimeSurface
from stressmap.season.days_left import days_left, first_crossing
from stressmap.season.not_relieved import Alarm, WaterFacts, alarms_of
from stressmap.season.read_days import ReadDays
from stressmap.season.visit_course import Came

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

    @classmethod
    def joined(cls, parts: list[DueShown]) -> DueShown:
        names = ("told", "low", "high", "truth", "peak_miss")
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))

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


def show_due(seed: int, how: Season) -> DueShown:
    """Tell days left and the next peak of every zone of a drawn season, and hold them against the truth."""
    drawn = draw_dry_down(seed, how)
    surface, last = surface_of(drawn), int(drawn.visits[-1])
    expected = float(drawn.water.et_mm[-7:].mean())
    felt = drawn.followed(expected)
    day = ORDINAL + last + np.arange(AHEAD + 1.0)
    dry = felt[drawn.lead + last - 1 :][: AHEAD + 1]
    paths = surface.zone_paths(drawn.cells, drawn.cells.valve, drawn.zones, day, dry)
    now = len(drawn.visits) - 1
    truth = drawn.truth[now:]
    allowed = np.full(drawn.zones, truth[0].mean() + ALLOWED_OVER)
    left = days_left(paths.mean, paths.sd(), allowed)
    real = first_crossing(truth, allowed)
    within = lambda days: np.minimum(days, float(AHEAD))  # noqa: E731
    sets = [np.flatnonzero(own > 0) for own in drawn.water.set_mm.T]
    since = np.array([len(drawn.water.et_mm) - (own[-1] if len(own) else 0) for own in sets])
    planned = np.clip(np.round(drawn.gaps - since), 0, AHEAD).astype(int)
    zone = np.arange(drawn.zones)
    miss = paths.mean[planned, zone] - truth[planned, zone]
    fall = truth[7:14].mean(axis=0) - truth[0:1].mean(axis=0)
    told = paths.slope.mean * drawn.soil
    correlation = float(np.corrcoef(told, drawn.slope)[0, 1])
    del fall
    open_zones = real > 0
    parts = (
        within(left.mean),
        within(left.low),
        np.where(np.isinf(left.high), np.inf, left.high),
        within(real),
    )
    return DueShown(*(part[open_zones] for part in parts), miss, correlation)


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
