"""When the next water of each valve zone is due, how often it should come, what the usual turn leads to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.arrays import Bools, Floats
from stressmap.geostat.samples import Estimate
from stressmap.season.calendar_days import HORIZON_DAYS, date_of
from stressmap.season.days_left import DaysLeft, at_days, days_left
from stressmap.season.irrigation_cycles import RECOVERY_DAYS
from stressmap.season.zone_courses import Z_90

SOON_DAYS = 3


@dataclass(frozen=True)
class Ahead:
    """Courses without water from today on, by day 0, 1 and so on.

    Parameters
    ----------
    mean : array of float, shape (H, Z)
        With the evapotranspiration that is expected [bar].
    covariance : array of float, shape (H, H, Z)
        Of the errors of a zone between days [bar²].
    hot : array of float, shape (H, Z)
        In a week as hot as the hottest of late [bar].
    """

    mean: Floats
    covariance: Floats
    hot: Floats

    def sd(self) -> Floats:
        """Return the standard deviation of each mean, shape (H, Z) [bar]."""
        variance = np.diagonal(self.covariance, axis1=0, axis2=1).T
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))


@dataclass(frozen=True)
class Turns:
    """How each of Z zones is watered.

    Parameters
    ----------
    since : array of float, shape (Z,)
        Days since the last irrigation; NaN where none is known.
    usual : array of float, shape (Z,)
        Usual days from one to the next; NaN where not known.
    passed : DaysLeft
        Days from the last irrigation to the day on which stress passed what is allowed, where it did; from
        :func:`passed_after`.
    """

    since: Floats
    usual: Floats
    passed: DaysLeft


def passed_after(mean: Floats, sd: Floats, since: Floats, allowed: Floats) -> DaysLeft:
    """Tell how long after their last irrigation zones passed what is allowed.

    Parameters
    ----------
    mean, sd : array of float, shape (D, Z)
        Day by day up to today [bar].
    since : array of float, shape (Z,)
        Days since the last irrigation.
    allowed : array of float, shape (Z,)
        [bar].

    Returns
    -------
    DaysLeft
        NaN where no irrigation is known since the first day, and where zones were past already when they had
        recovered from it: no interval helps there.

    Examples
    --------
    >>> path = np.arange(11.0)[:, None]
    >>> passed_after(path, 0 * path, np.array([8.0]), np.array([6.0])).mean.tolist()
    [4.0]
    """
    days = mean.shape[0]
    begins = days - 1 - np.ceil(np.nan_to_num(since, nan=days) - RECOVERY_DAYS).astype(np.int64)
    known = np.isfinite(since) & (begins >= 0)
    row = np.arange(days)[:, None]
    until = np.clip(begins, 0, days - 1)

    def crossed(bound: float) -> Floats:
        path = np.where(row < until, -np.inf, mean + bound * sd)
        past = path >= allowed
        first = past.argmax(axis=0)
        found = since - (days - 1 - first)
        return np.where(known & past.any(axis=0) & (first > until), found, np.nan)

    return DaysLeft(crossed(0.0), crossed(Z_90), crossed(-Z_90))


def usual_interval(zone: np.ndarray, start: Floats, block: np.ndarray) -> Floats:
    """Give the usual days from one irrigation to the next.

    Parameters
    ----------
    zone : array of int, shape (n,)
        Of the irrigations.
    start : array of float, shape (n,)
        When they began, rising within a zone.
    block : array of int, shape (Z,)
        Block of each zone.

    Returns
    -------
    array of float, shape (Z,)
        The median of the zone, else that of its block, else NaN.

    Examples
    --------
    >>> usual_interval(np.array([0, 0, 0]), np.array([1.0, 8.0, 16.0]), np.array([0, 0, 1])).tolist()
    [7.5, 7.5, nan]
    """
    same = np.diff(zone) == 0
    gaps = pd.Series(np.diff(start)[same])
    own = gaps.groupby(zone[1:][same]).median()
    found = own.reindex(range(len(block))).to_numpy(np.float64)
    of_block = gaps.groupby(block[zone[1:][same]]).median().reindex(block).to_numpy(np.float64)
    return np.where(np.isnan(found), of_block, found)


def due_table(
    facts: pd.DataFrame, ahead: Ahead, drying: Estimate, turns: Turns, today: int, next_visit: int
) -> pd.DataFrame:
    """Tell when each zone is due.

    Parameters
    ----------
    facts : DataFrame, Z rows
        ``valve``, ``block``, ``crop``, ``pump``, ``area_ha``, ``allowed_bar``.
    ahead : Ahead
        From today on.
    drying : Estimate
        How much each zone's stress rises in a day without water [bar/d].
    turns : Turns
        How they are watered.
    today, next_visit : int
        Ordinals.

    Returns
    -------
    DataFrame, Z rows
        The first to be due first: the columns of :data:`stressmap.core.season_schemas.DUE` without words, and
        ``zone``, ``pump``, ``area_ha``, ``stress_low_bar``, ``stress_high_bar``, ``due_early``, ``due_late``
        (dates, None past the horizon), ``days_since_water``, ``interval_low_days``, ``interval_high_days``,
        ``peak_low_bar``, ``peak_high_bar``, ``days_left_hot``, ``before_next_visit`` (``yes``, ``maybe``,
        ``no``) and ``known``.
    """
    allowed = facts["allowed_bar"].to_numpy(np.float64)
    left = days_left(ahead.mean, ahead.covariance, allowed)
    hot = days_left(ahead.hot, ahead.covariance, allowed).mean
    spread = Z_90 * np.sqrt(drying.variance)
    peak = _peak(ahead, turns)
    now, sd = ahead.mean[0], Z_90 * ahead.sd()[0]
    table = facts[["valve", "block", "crop", "pump", "area_ha", "allowed_bar"]].assign(
        zone=np.arange(len(facts)),
        known=np.isfinite(left.mean) | np.isinf(left.mean),
        stress_bar=now,
        stress_low_bar=now - sd,
        stress_high_bar=now + sd,
        drying_bar_per_day=drying.mean,
        drying_low=np.maximum(drying.mean - spread, 0.0),
        drying_high=drying.mean + spread,
        **_days(left, turns, today),
        days_left_hot=_finite(hot),
        interval_days=turns.usual,
        days_since_water=turns.since,
        peak_bar=peak[0],
        peak_low_bar=peak[0] - peak[1],
        peak_high_bar=peak[0] + peak[1],
        before_next_visit=_before(left, next_visit - today),
    )
    return _in_order(table, left)


def _days(left: DaysLeft, turns: Turns, today: int) -> dict[str, Any]:
    """Give days left, dates and intervals, each with its range; what is past the horizon is left empty."""
    found: dict[str, Any] = {}
    for name, days in (("", left.mean), ("_low", left.low), ("_high", left.high)):
        found[f"days_left{name}"] = _finite(days)
        advised = f"interval{name}_days" if name else "interval_advised_days"
        gone = {"": turns.passed.mean, "_low": turns.passed.low, "_high": turns.passed.high}[name]
        found[advised] = _finite(np.where(days > 0.0, turns.since + days, gone))
    # past already, with bad luck, when it had recovered: no later than that is the soonest
    at_once = np.isnan(found["interval_low_days"]) & (left.low <= 0.0)
    soonest = np.where(
        np.isfinite(found["interval_advised_days"]), np.minimum(turns.since, RECOVERY_DAYS), np.nan
    )
    found["interval_low_days"] = np.where(at_once, soonest, found["interval_low_days"])
    for name, days in (("due", left.mean), ("due_early", left.low), ("due_late", left.high)):
        dates = [date_of(today + one) if np.isfinite(one) else None for one in _whole(days)]
        found[name] = pd.Series(dates, dtype=object)
    return found


def _whole(days: Floats) -> Floats:
    """Give the whole days to a date."""
    return np.floor(days + 1e-6)


def _finite(days: Floats) -> Floats:
    return np.where(np.isfinite(days), days, np.nan)


def _peak(ahead: Ahead, turns: Turns) -> tuple[Floats, Floats]:
    """Give stress just before the next irrigation of the usual turn, and half of its 90 % interval."""
    planned = np.clip(turns.usual - turns.since, 0.0, float(HORIZON_DAYS))
    return at_days(ahead.mean, planned), Z_90 * at_days(ahead.sd(), planned)


def _before(left: DaysLeft, days: int) -> list[str]:
    surely, perhaps = left.mean <= days, left.low <= days
    return ["yes" if a else "maybe" if b else "no" for a, b in zip(surely, perhaps, strict=True)]


def _in_order(table: pd.DataFrame, left: DaysLeft) -> pd.DataFrame:
    """Order by the day, of those of one day the one furthest past first; what is not known last."""
    days = np.where(np.isnan(left.mean), 1e9, np.minimum(left.mean, 1e6))
    low = np.where(np.isnan(left.low), 1e9, np.minimum(left.low, 1e6))
    over = (table["allowed_bar"] - table["stress_bar"]).fillna(0.0).to_numpy()
    order = np.lexsort((over, low, days))
    return table.iloc[order].reset_index(drop=True)


def due_calendar(due: pd.DataFrame) -> pd.DataFrame:
    """List what is due within the horizon by day and pump.

    Parameters
    ----------
    due : DataFrame
        From :func:`due_table`.

    Returns
    -------
    DataFrame
        ``day``, ``pump``, ``valve``, ``block``, ``due_early``, ``due_late``, ``area_ha``; by day and pump.
    """
    listed = due[due["due"].notna()].rename(columns={"due": "day"})
    columns = ["day", "pump", "valve", "block", "due_early", "due_late", "area_ha"]
    return listed[columns].sort_values(["day", "pump", "valve"], kind="stable").reset_index(drop=True)


def counts_of(due: pd.DataFrame, until: int) -> dict[str, int]:
    """Count the zones by when they are due.

    Parameters
    ----------
    due : DataFrame, n rows
        From :func:`due_table`.
    until : int
        Days to the next visit.

    Returns
    -------
    dict of str to int
        ``overdue``: surely past what is allowed; ``now``: due now, though not surely; ``soon``: on one of the
        :data:`SOON_DAYS` dates after today; ``before``: all of them that are due up to the next visit.
    """
    left, day = due["days_left"].to_numpy(np.float64), _whole(due["days_left"].to_numpy(np.float64))
    surely, unsure = past_today(due)
    return {
        "overdue": int(surely.sum()),
        "now": int(unsure.sum()),
        "soon": int(((day > 0) & (day <= SOON_DAYS)).sum()),
        "before": int((left <= until).sum()),
    }


def past_today(due: pd.DataFrame) -> tuple[Bools, Bools]:
    """Tell which zones surely pass what is allowed by today's date, and which do though not surely.

    Parameters
    ----------
    due : DataFrame, n rows
        From :func:`due_table`.

    Returns
    -------
    tuple of array of bool, shape (n,)

    Examples
    --------
    >>> due = pd.DataFrame({"days_left": [0.0, 0.0, 0.4, 3.6], "days_left_high": [0.0, 2.0, 0.9, 8.0]})
    >>> [mask.tolist() for mask in past_today(due)]
    [[True, False, True, False], [False, True, False, False]]
    """
    left, late = (_whole(due[name].to_numpy(np.float64)) for name in ("days_left", "days_left_high"))
    past, surely = np.asarray(left <= 0.0), np.asarray(late <= 0.0)
    return past & surely, past & ~surely
