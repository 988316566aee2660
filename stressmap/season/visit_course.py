"""The course of the season, visit by visit: stress of each valve zone, what came and went since, bar-days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats, Ints
from stressmap.core.settings import RankBy
from stressmap.season.zone_courses import Z_90

ZERO = {"below_target": "target_bar", "below_baseline": "baseline_bar"}
"""What a ranked figure is counted from; the tension from 0."""


@dataclass(frozen=True)
class VisitDays:
    """The visits of a season, V of them.

    Parameters
    ----------
    visits : tuple of (date, date)
        First and last day of each.
    day : array of float, shape (V,)
        Their middles, on the scale of days.
    held : tuple of DataFrame
        Of each visit, indexed by block: ``target_bar``, ``baseline_bar``, ``vpd_kpa``, ``limit_bar``.
    """

    visits: tuple[tuple[dt.date, dt.date], ...]
    day: Floats
    held: tuple[pd.DataFrame, ...]

    def of_zones(self, name: str, blocks: Sequence[str]) -> Floats:
        """Give a figure of the blocks at every visit for zones by their block, shape (V, Z)."""
        return np.array([held.loc[list(blocks), name].to_numpy(np.float64) for held in self.held])


def over_target(stress: Floats, day: Floats, visits: VisitDays, blocks: Sequence[str], by: RankBy) -> Floats:
    """Tell how far courses of the ranked figure are over the season's target.

    Parameters
    ----------
    stress : array of float, shape (D, Z)
        The ranked figure [bar].
    day : array of float, shape (D,)
        Its days.
    visits : VisitDays
        Targets and baselines, straight between visits.
    blocks : sequence of str, length Z
        Block of each zone.
    by : str
        The ranked figure.

    Returns
    -------
    array of float, shape (D, Z)
        [bar], negative is wetter than the target; NaN where no target is known.
    """
    if by == "below_target":
        return stress
    away = visits.of_zones("target_bar", blocks)
    if by in ZERO:
        away = away - visits.of_zones(ZERO[by], blocks)
    between = np.column_stack([np.interp(day, visits.day, one) for one in away.T])
    return np.asarray(stress + between)


def bar_days(over: Floats) -> Floats:
    """Add up what courses were over their target, day after day.

    Parameters
    ----------
    over : array of float, shape (D, Z)
        On days in a row [bar].

    Returns
    -------
    array of float, shape (D, Z)
        Since the first day [bar d]; NaN where the target is not known.

    Examples
    --------
    >>> bar_days(np.array([[2.0], [4.0], [-1.0]])).ravel().tolist()
    [0.0, 3.0, 5.0]
    """
    dry = np.where(np.isnan(over), np.nan, np.maximum(over, 0.0))
    steps = (dry[1:] + dry[:-1]) / 2.0
    return np.concatenate([np.zeros((1, over.shape[1])), np.cumsum(steps, axis=0)])


@dataclass(frozen=True)
class AtVisits:
    """What is told of Z zones at V visits.

    Parameters
    ----------
    mean, sd : array of float, shape (V, Z)
        The ranked figure and its standard error [bar].
    sums : array of float, shape (V, Z)
        Bar-days over the target since the first visit.
    readings : array of int, shape (V, Z)
        Used readings.
    eto_since : array of float, shape (V,)
        Reference evapotranspiration since the visit before [mm]; NaN at the first.
    """

    mean: Floats
    sd: Floats
    sums: Floats
    readings: Ints
    eto_since: Floats


@dataclass(frozen=True)
class Came:
    """Irrigations of all zones, by zone and start.

    Parameters
    ----------
    zone : array of int, shape (n,)
        Position of the zone.
    start, end : array of float, shape (n,)
        On the scale of days.
    mm : array of float, shape (n,)
        What ran.
    """

    zone: Ints
    start: Floats
    end: Floats
    mm: Floats

    def last_end(self, day: float, count: int) -> Floats:
        """Give when the last irrigation of each of so many zones ended before a day; NaN for none."""
        found = np.full(count, -np.inf)
        before = self.end <= day
        np.maximum.at(found, self.zone[before], self.end[before])
        return np.where(np.isfinite(found), found, np.nan)

    def between(self, since: float, until: float, count: int) -> Floats:
        """Give what ran between two days in each of so many zones [mm]; a set across an edge in part."""
        whole = np.maximum(self.end - self.start, 1e-9)
        inside = np.clip((np.minimum(self.end, until) - np.maximum(self.start, since)) / whole, 0.0, 1.0)
        return np.asarray(np.bincount(self.zone, weights=inside * self.mm, minlength=count)[:count])


def course_table(
    facts: pd.DataFrame,
    visits: VisitDays,
    found: AtVisits,
    came: Came | None,
    by: RankBy,
) -> pd.DataFrame:
    """Put the course together.

    Parameters
    ----------
    facts : DataFrame, Z rows
        From :func:`stressmap.season.valve_facts.valve_facts`.
    visits : VisitDays
        V visits.
    found : AtVisits
        Of the Z zones.
    came : Came or None
        Irrigations; None without a log.
    by : str
        The ranked figure.

    Returns
    -------
    DataFrame
        V x Z rows, the columns of :data:`stressmap.core.season_schemas.COURSE`, and ``visit_number``.
    """
    count, blocks, parts = len(facts), facts["block"].tolist(), []
    held = {name: visits.of_zones(name, blocks) for name in ("target_bar", "baseline_bar", "vpd_kpa")}
    zero = held[ZERO[by]] if by in ZERO else np.zeros((len(visits.day), count))
    for v, day in enumerate(visits.day):
        mean, se = found.mean[v], found.sd[v]
        since, mm = np.full(count, np.nan), np.full(count, np.nan)
        if came is not None:
            since = day - came.last_end(day, count)
            if v:
                mm = came.between(visits.day[v - 1], day, count)
        parts.append(
            pd.DataFrame(
                {
                    "visit": visits.visits[v][0],
                    **{name: facts[name].to_numpy() for name in ("valve", "block", "crop")},
                    "readings": found.readings[v],
                    "swp_bar": zero[v] - mean,
                    **{name: held[name][v] for name in ("baseline_bar", "target_bar", "vpd_kpa")},
                    "stress_bar": mean,
                    "stress_se_bar": se,
                    "low_bar": mean - Z_90 * se,
                    "high_bar": mean + Z_90 * se,
                    "days_since_water": since,
                    "mm_since": mm,
                    "eto_since_mm": found.eto_since[v],
                    "over_target_bar_days": found.sums[v],
                    "visit_number": v,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)
