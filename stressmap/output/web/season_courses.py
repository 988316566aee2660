"""Courses of blocks, as pictures and tables of the season show them: means of valve zones, day by day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats, Ints
from stressmap.season.season import Season

Z_90 = 1.6448536269514722
MARGIN_DAYS = 4
MEANS = ("zero_bar", "swp_bar", "low_bar", "high_bar", "baseline_bar", "target_bar", "mm_since")


@dataclass(frozen=True)
class BlockCourse:
    """One block through the season.

    Parameters
    ----------
    block, crop : str
        Names.
    day : array of float, shape (V,)
        Middle of each visit, an ordinal.
    table : DataFrame, V rows
        ``visit``, ``readings``, ``swp_bar``, ``low_bar``, ``high_bar`` (of the potential), ``baseline_bar``,
        ``target_bar``, ``zero_bar`` (where the ranked figure is 0), ``since_low``, ``since_high``,
        ``mm_since``: means of the block's valve zones by area.
    daily_day, daily_bar, daily_low, daily_high : array of float, shape (D,)
        The same day by day, potential with the range where 90 % lies; no day where none is known.
    trees : tuple of (array, array)
        Days and potentials of each tree that is read again.
    """

    block: str
    crop: str
    day: Floats
    table: pd.DataFrame
    daily_day: Floats
    daily_bar: Floats
    daily_low: Floats
    daily_high: Floats
    trees: tuple[tuple[Floats, Floats], ...]

    @property
    def swp_bar(self) -> Floats:
        """Potential at the visits [bar]."""
        return self.table["swp_bar"].to_numpy(np.float64)

    @property
    def target_bar(self) -> Floats:
        """Target at the visits [bar]."""
        return self.table["target_bar"].to_numpy(np.float64)

    @property
    def baseline_bar(self) -> Floats:
        """What a fully watered tree shows at the visits [bar]."""
        return self.table["baseline_bar"].to_numpy(np.float64)


@dataclass(frozen=True)
class Sets:
    """Irrigations of a block or crop by day.

    Parameters
    ----------
    day, mm : array of float, shape (n,)
        Ordinals, and the mean depth over the valve zones [mm].
    span : tuple of float
        First and last day of the picture.
    """

    day: Floats
    mm: Floats
    span: tuple[float, float]


def block_courses(season: Season) -> list[BlockCourse]:
    """Give the course of every block, in the order of the course's table.

    Parameters
    ----------
    season : Season
        So far.

    Returns
    -------
    list of BlockCourse
    """
    area = dict(zip(season.due["valve"], season.due["area_ha"].astype(float), strict=True))
    day = np.array([(one.toordinal() + other.toordinal()) / 2 for one, other in season.visits])
    tables, daily, trees = _by_visit(season.course, area), _Daily.of(season, area), _trees_again(season)
    valves = season.course.groupby("block", sort=False)["valve"].unique()
    crops = season.course.groupby("block", sort=False)["crop"].first()
    return [
        BlockCourse(
            str(block), str(crops[block]), day, table, *daily.course(valves[block], day, table),
            trees=trees.get(str(block), ()),
        )
        for block, table in tables.items()
    ]  # fmt: skip


def _by_visit(course: pd.DataFrame, area: Mapping[str, float]) -> dict[Any, pd.DataFrame]:
    """Average the valve zones of each block at each visit, by area: all blocks at once."""
    weight = np.asarray(course["valve"].map(area).fillna(1.0), dtype=np.float64)
    zero = course["swp_bar"] + course["stress_bar"]
    shown = course.assign(zero_bar=zero, low_bar=zero - course["high_bar"], high_bar=zero - course["low_bar"])
    block, names = pd.factorize(course["block"])
    visit, numbers = pd.factorize(course["visit_number"], sort=True)
    key, first, group = np.unique(block * len(numbers) + visit, return_index=True, return_inverse=True)
    since = course["days_since_water"].to_numpy(np.float64)
    low, high = np.full(len(key), np.nan), np.full(len(key), np.nan)
    np.fmin.at(low, group, since)
    np.fmax.at(high, group, since)
    read = np.bincount(group, weights=course["readings"].to_numpy(np.float64)).astype(np.int64)
    table = pd.DataFrame(
        {
            "visit_number": numbers[key % len(numbers)],
            "visit": course["visit"].to_numpy()[first],
            "readings": read,
            "since_low": low,
            "since_high": high,
            **{name: _means(shown[name].to_numpy(np.float64), weight, group) for name in MEANS},
        }
    )
    ends = np.searchsorted(key, np.arange(len(names) + 1) * len(numbers))
    return {name: table.iloc[ends[k] : ends[k + 1]].reset_index(drop=True) for k, name in enumerate(names)}


def _means(value: Floats, weight: Floats, group: Ints) -> Floats:
    """Average by weight within groups, passing over what is not known; NaN where nothing is."""
    known = np.isfinite(value)
    total = np.bincount(group, weights=np.where(known, value, 0.0) * weight)
    by = np.bincount(group, weights=known * weight)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(total / by)


@dataclass(frozen=True)
class _Daily:
    """Ranked figures of all valve zones day by day, and what turns those of a block into a potential."""

    day: Floats
    mean: Floats
    sd: Floats
    place: dict[str, int]
    weight: Floats

    @classmethod
    def of(cls, season: Season, area: Mapping[str, float]) -> _Daily:
        """Take the days of a season up to today."""
        days, until = season.days, season.days.today + 1
        return cls(
            days.first.toordinal() + np.arange(until, dtype=np.float64),
            days.mean[:until],
            days.sd[:until],
            {name: place for place, name in enumerate(days.valves)},
            np.array([area.get(name, 1.0) for name in days.valves]),
        )

    def course(
        self, valves: Iterable[str], visits: Floats, table: pd.DataFrame
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Turn the ranked figure of each day into a potential, along the line from which it is counted."""
        own = sorted(self.place[name] for name in valves if name in self.place)
        zero = table["zero_bar"].to_numpy(np.float64)
        known = np.isfinite(zero)
        if not own or not known.any():
            none = np.zeros(0)
            return none, none, none, none
        inside = (self.day >= visits[0]) & (self.day <= visits[-1] + 1)
        mean, sd = (
            np.average(part[inside][:, own], axis=1, weights=self.weight[own])
            for part in (self.mean, self.sd)
        )
        line = np.interp(self.day[inside], visits[known], zero[known])
        return self.day[inside], line - mean, line - mean - Z_90 * sd, line - mean + Z_90 * sd


def _trees_again(season: Season) -> dict[str, tuple[tuple[Floats, Floats], ...]]:
    """Give the courses of trees that were read at two visits or more, by block."""
    again = season.trees[season.trees["read_again"].astype(bool)] if len(season.trees) else season.trees
    if again.empty:
        return {}
    means = again.groupby(["block", "tree", "day"], sort=True)["swp_bar"].mean().reset_index()
    begins = np.flatnonzero((means[["block", "tree"]].shift() != means[["block", "tree"]]).any(axis=1))
    day, swp = means["day"].to_numpy(np.float64), means["swp_bar"].to_numpy(np.float64)
    found: dict[str, list[tuple[Floats, Floats]]] = {}
    for start, end in zip(begins, [*begins[1:], len(means)], strict=True):
        found.setdefault(str(means["block"].iloc[start]), []).append((day[start:end], swp[start:end]))
    return {block: tuple(lines) for block, lines in found.items()}


@dataclass(frozen=True)
class RanSets:
    """What ran on a ranch by day, added up by block.

    Parameters
    ----------
    mm : Series
        Depth summed over the valve zones of a block [mm], by block and day, an ordinal.
    zones : Series
        Valve zones of each block.
    span : tuple of float
        First and last day of the picture.
    """

    mm: pd.Series[float]
    zones: pd.Series[int]
    span: tuple[float, float]

    @classmethod
    def of(cls, season: Season) -> RanSets:
        """Add the irrigations of a season up."""
        first, last = season.visits[0][0].toordinal(), season.today.toordinal()
        span = (float(first - MARGIN_DAYS), float(max(last, first + 1) + 1))
        day = pd.Series([start.toordinal() for start in season.cycles["start"]], dtype=np.int64)
        table = pd.DataFrame(
            {"block": season.cycles["block"].to_numpy(), "day": day, "mm": season.cycles["mm"].to_numpy()}
        )
        table = table[(table["day"] >= span[0]) & (table["day"] <= span[1])].astype({"mm": np.float64})
        return cls(table.groupby(["block", "day"])["mm"].sum(), season.due["block"].value_counts(), span)

    def within(self, blocks: list[str]) -> Sets:
        """Give what ran in some blocks by day, the mean over their valve zones."""
        zones = self.zones.reindex(blocks).sum()
        own = self.mm[self.mm.index.isin(blocks, level="block")]
        if own.empty or not zones:
            return Sets(np.zeros(0), np.zeros(0), self.span)
        by_day = own.groupby(level="day").sum() / float(zones)
        return Sets(
            by_day.index.to_numpy(np.float64), np.asarray(by_day.to_numpy(), dtype=np.float64), self.span
        )
