"""Courses of blocks, as pictures and tables of the season show them: means of valve zones, day by day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.season.season import Season

Z_90 = 1.6448536269514722
MARGIN_DAYS = 4


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
    trees = _trees_again(season)
    courses = []
    for block, rows in season.course.groupby("block", sort=False):
        weight = rows["valve"].map(area).fillna(1.0).to_numpy(np.float64)
        table = _visits(rows, weight)
        daily = _daily(season, list(rows["valve"].unique()), area, (day, table))
        courses.append(
            BlockCourse(
                str(block), str(rows["crop"].iloc[0]), day, table, *daily, trees=trees.get(str(block), ())
            )
        )
    return courses


def _visits(rows: pd.DataFrame, weight: Floats) -> pd.DataFrame:
    """Average the valve zones of a block at each visit, by area."""
    zero = rows["swp_bar"] + rows["stress_bar"]
    low, high = zero - rows["high_bar"], zero - rows["low_bar"]
    shown = rows.assign(zero_bar=zero, low_bar=low, high_bar=high, weight=weight)
    means = ("zero_bar", "swp_bar", "low_bar", "high_bar", "baseline_bar", "target_bar", "mm_since")
    found = []
    for number, own in shown.groupby("visit_number", sort=True):
        by = own["weight"].to_numpy(np.float64)
        found.append(
            {
                "visit_number": number,
                "visit": own["visit"].iloc[0],
                "readings": int(own["readings"].sum()),
                "since_low": own["days_since_water"].astype(float).min(),
                "since_high": own["days_since_water"].astype(float).max(),
                **{name: _mean(own[name].to_numpy(np.float64), by) for name in means},
            }
        )
    return pd.DataFrame(found)


def _mean(value: Floats, weight: Floats) -> float:
    known = np.isfinite(value)
    return float(np.average(value[known], weights=weight[known])) if known.any() else float("nan")


def _daily(
    season: Season, valves: list[str], area: dict[str, float], visits: tuple[Floats, pd.DataFrame]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Turn the ranked figure of each day into a potential, along the line from which it is counted."""
    days, (at, table) = season.days, visits
    own = [place for place, name in enumerate(days.valves) if name in set(valves)]
    zero = table["zero_bar"].to_numpy(np.float64)
    known = np.isfinite(zero)
    if not own or not known.any():
        none = np.zeros(0)
        return none, none, none, none
    day = days.first.toordinal() + np.arange(days.today + 1, dtype=np.float64)
    inside = (day >= at[0]) & (day <= at[-1] + 1)
    weight = np.array([area.get(days.valves[place], 1.0) for place in own])
    mean, sd = (
        np.average(part[: days.today + 1][inside][:, own], axis=1, weights=weight)
        for part in (days.mean, days.sd)
    )
    line = np.interp(day[inside], at[known], zero[known])
    return day[inside], line - mean, line - mean - Z_90 * sd, line - mean + Z_90 * sd


def _trees_again(season: Season) -> dict[str, tuple[tuple[Floats, Floats], ...]]:
    """Give the courses of trees that were read at two visits or more, by block."""
    found: dict[str, tuple[tuple[Floats, Floats], ...]] = {}
    if season.trees.empty:
        return found
    again = season.trees[season.trees["read_again"].astype(bool)]
    for (block, _), rows in again.groupby(["block", "tree"], sort=True):
        by_day = rows.groupby("day")["swp_bar"].mean()
        line = (by_day.index.to_numpy(np.float64), by_day.to_numpy(np.float64))
        found[str(block)] = (*found.get(str(block), ()), line)
    return found


def sets_of(season: Season, blocks: list[str]) -> Sets:
    """Give what ran in some blocks by day, the mean over their valve zones.

    Parameters
    ----------
    season : Season
        So far.
    blocks : list of str
        Their names.

    Returns
    -------
    Sets
    """
    first, last = season.visits[0][0].toordinal(), season.today.toordinal()
    span = (float(first - MARGIN_DAYS), float(max(last, first + 1) + 1))
    zones = season.due["block"].isin(blocks).sum()
    cycles = season.cycles
    if cycles.empty or not zones:
        return Sets(np.zeros(0), np.zeros(0), span)
    own = cycles[cycles["block"].isin(blocks)]
    day = np.array([_ordinal(start) for start in own["start"]], dtype=np.float64)
    by_day = own["mm"].astype(float).groupby(day).sum() / float(zones)
    at = by_day.index.to_numpy(np.float64)
    inside = (at >= span[0]) & (at <= span[1])
    return Sets(at[inside], np.asarray(by_day.to_numpy()[inside], dtype=np.float64), span)


def _ordinal(moment: dt.date) -> int:
    return (moment.date() if isinstance(moment, dt.datetime) else moment).toordinal()
