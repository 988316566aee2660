"""The season target: where a crop should be on a day, along straight lines between points of the season."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from stressmap.core.arrays import Floats
from stressmap.core.units import parse_month_day

Point = tuple[str, float]
"""A day of the year, ``"05-01"``, and a value on it."""

LONGEST_SEASON_DAYS = 300
FIRST_YEAR = 2026
"""A year in which days are counted; no year of it or after it is a leap year."""
AFTER_HARVEST_DAYS = 14
"""What comes after a late harvest has at least so many days before the season's last point."""


def target_bar(days: Any, season: Sequence[Point], *, harvest: str | None = None) -> Floats:
    """Give the season target on days: straight between the points, flat before the first and after the last.

    Points are in the order of the season; where a later one has an earlier date, the season runs over the
    year end (southern hemisphere), and the value falls back to the first point's in the middle of the rest
    of the year. A season inside one calendar year begins anew on 1 January.

    Parameters
    ----------
    days : date, or array, Series or index of dates, n of them
        Local calendar days; of a time only its own clock's date counts. NaT gives NaN.
    season : sequence of (str, float)
        ``("05-01", -6.0)``: day of the year and target [bar].
    harvest : str, optional
        Day of the year that the last point is moved to; points on or after it are passed over.

    Returns
    -------
    array of float, shape (n,)
        Target [bar].

    Raises
    ------
    ValueError
        If the points are not in order or the harvest is before the season's first point.

    Examples
    --------
    >>> season = [("05-01", -6.0), ("08-01", -14.0)]
    >>> target_bar(["2026-03-01", "2026-06-16", "2026-08-20"], season).tolist()
    [-6.0, -10.0, -14.0]
    >>> target_bar(["2026-06-16"], season, harvest="08-31").round(2).tolist()
    [-9.02]
    >>> target_bar(["2026-12-17"], [("11-01", -6.0), ("02-01", -14.0)]).tolist()
    [-10.0]
    """
    return through_season(days, season if harvest is None else with_harvest(season, harvest))


def through_season(days: Any, season: Sequence[Point]) -> Floats:
    """Read a curve given by points of the year on days (targets, crop coefficients).

    Parameters
    ----------
    days : date, or array, Series or index of dates, n of them
        Local calendar days. NaT gives NaN.
    season : sequence of (str, float)
        As for :func:`target_bar`.

    Returns
    -------
    array of float, shape (n,)
        In the unit of the points.

    Raises
    ------
    ValueError
        If there is no point or the points are not in order.

    Examples
    --------
    >>> through_season(["2026-04-10"], [("03-31", 0.45), ("04-20", 0.85)]).round(2).tolist()
    [0.65]
    """
    check_season(season)
    when = calendar_days(days)
    known = ~np.isnat(when)
    result = np.full(len(when), np.nan)
    if not known.any():
        return result
    years = when[known].astype("datetime64[Y]").astype(int) + 1970
    values = np.array([value for _, value in season])
    for year in range(years.min() - 1, years.max() + 1):
        inside = known & (when >= _season_begins(season, year)) & (when < _season_begins(season, year + 1))
        if inside.any():
            nodes = _nodes(season, year).astype(float)
            result[inside] = np.interp(when[inside].astype(float), nodes, values)
    return result


def check_season(season: Sequence[Point]) -> None:
    """Refuse points that are in no order of a season.

    Parameters
    ----------
    season : sequence of (str, float)
        As for :func:`target_bar`.

    Raises
    ------
    ValueError
        If there is none, a day comes twice, or the dates run over the year end more than once.

    Examples
    --------
    >>> check_season([("11-01", -6.0), ("02-01", -14.0)])
    """
    if not season:
        msg = "a season needs at least one point"
        raise ValueError(msg)
    dates = [parse_month_day(day) for day, _ in season]
    if len(set(dates)) < len(dates):
        msg = "a day comes twice among the points of the season"
        raise ValueError(msg)
    falls = sum(later < earlier for earlier, later in pairwise(dates))
    if falls > 1 or (falls == 1 and dates[-1] > dates[0]):
        msg = "the points are not in the order of the season; begin with the first of the season"
        raise ValueError(msg)


def with_harvest(season: Sequence[Point], harvest: str) -> tuple[Point, ...]:
    """Move the last point of a season to the harvest.

    Parameters
    ----------
    season : sequence of (str, float)
        As for :func:`target_bar`.
    harvest : str
        Day of the year, ``"08-20"``.

    Returns
    -------
    tuple of (str, float)
        The points before the harvest, then the last one on it.

    Raises
    ------
    ValueError
        If the harvest is before the first point.

    Examples
    --------
    >>> with_harvest([("05-01", -6.0), ("07-20", -12.0), ("08-01", -14.0)], "07-15")
    (('05-01', -6.0), ('07-15', -14.0))
    """
    ripe = _after_first_point(season, harvest)
    before = [p for p in season[:-1] if _days_after_first(season, p[0]) < ripe]
    return (*before, (harvest, season[-1][1]))


def moved_to_harvest(season: Sequence[Point], usual: str, harvest: str) -> tuple[Point, ...]:
    """Move a season that was drawn for one harvest to another.

    The first point stays, the usual harvest goes to the other one, what lies between is stretched or pressed
    evenly; what comes after the harvest moves with it, evenly less towards the last point (dormancy), which
    stays. Days stay in order, each once.

    Parameters
    ----------
    season : sequence of (str, float)
        As for :func:`target_bar`: targets, allowances, crop coefficients, beginnings of stages.
    usual, harvest : str
        Days of the year: the harvest that the season is drawn for, and the one it is wanted for.

    Returns
    -------
    tuple of (str, float)
        As many points, with the same values.

    Raises
    ------
    ValueError
        If the harvest is not after the first point, or is no day of the year.

    Examples
    --------
    >>> season = [("04-01", 2.0), ("06-15", 4.0), ("08-25", 8.0), ("09-08", 4.0), ("11-15", 2.0)]
    >>> moved_to_harvest(season, "08-25", "08-15")
    (('04-01', 2.0), ('06-10', 4.0), ('08-15', 8.0), ('08-31', 4.0), ('11-15', 2.0))
    """
    ripe = _after_first_point(season, harvest)
    was = _days_after_first(season, usual)
    days = [_days_after_first(season, day) for day, _ in season]
    if len(season) < 2 or was <= 0 or ripe == was:
        return tuple(season)
    before, after = [0.0, float(was)], [0.0, float(ripe)]
    if days[-1] > was:
        before.append(float(days[-1]))
        after.append(float(max(days[-1], ripe + min(days[-1] - was, AFTER_HARVEST_DAYS))))
    moved = np.interp(days, before, after).round().astype(int)
    order = np.arange(len(moved))
    distinct = np.maximum.accumulate(moved - order) + order
    start = _date(FIRST_YEAR, season[0][0])
    return tuple((_month_day(start + step), value) for step, (_, value) in zip(distinct, season, strict=True))


def _after_first_point(season: Sequence[Point], harvest: str) -> int:
    """Return how many days after a season's first point a harvest is, and refuse one that is not."""
    ripe = _days_after_first(season, harvest)
    if len(season) > 1 and not 0 < ripe <= LONGEST_SEASON_DAYS:
        msg = f"harvest {harvest} is not after the season's first point, {season[0][0]}"
        raise ValueError(msg)
    return ripe


def six_months_on(season: Sequence[Point]) -> tuple[Point, ...]:
    """Move the dates of a season into the other hemisphere.

    Parameters
    ----------
    season : sequence of (str, float)
        As for :func:`target_bar`.

    Returns
    -------
    tuple of (str, float)

    Examples
    --------
    >>> six_months_on([("05-01", -6.0), ("08-31", -14.0)])
    (('11-01', -6.0), ('02-28', -14.0))
    """
    return tuple((month_day_six_months_on(day), value) for day, value in season)


def month_day_six_months_on(day: str) -> str:
    """Move a day of the year by half a year.

    Parameters
    ----------
    day : str
        ``"05-01"``.

    Returns
    -------
    str

    Examples
    --------
    >>> month_day_six_months_on("10-15")
    '04-15'
    """
    month, number = parse_month_day(day)
    moved = (month + 5) % 12 + 1
    last = 28 if moved == 2 else 30 if moved in (4, 6, 9, 11) else 31
    return f"{moved:02d}-{min(number, last):02d}"


def young_tree_target_bar(target: ArrayLike, driest_bar: float) -> Floats:
    """Keep the target of young trees from going drier than they may.

    Parameters
    ----------
    target : float or array of float
        Season target [bar].
    driest_bar : float
        Driest target for young trees [bar].

    Returns
    -------
    array of float
        [bar].

    Examples
    --------
    >>> young_tree_target_bar([-6.0, -14.0], -10.0).tolist()
    [-6.0, -10.0]
    """
    return np.asarray(np.maximum(np.asarray(target, dtype=np.float64), driest_bar))


def planted_within(planted: ArrayLike, days: NDArray[np.datetime64], years: int) -> NDArray[np.bool_]:
    """Tell what was planted under so many years before its day.

    Parameters
    ----------
    planted : array of float, shape (n,)
        Year; NaN is never young.
    days : array of datetime64[D], shape (n,)
        NaT is never young.
    years : int
        How many years count as young.

    Returns
    -------
    array of bool, shape (n,)

    Examples
    --------
    >>> planted_within([2024.0, 2010.0, np.nan], calendar_days(["2026-07-14"] * 3), 4).tolist()
    [True, False, False]
    """
    year = np.where(np.isnat(days), np.nan, days.astype("datetime64[Y]").astype(int) + 1970.0)
    return np.asarray(year - np.asarray(planted, dtype=np.float64) < years)


def calendar_days(days: Any) -> NDArray[np.datetime64]:
    """Turn dates or times into calendar days of their own clock.

    Parameters
    ----------
    days : date, or array, Series or index of dates, n of them
        Timezone-aware times keep the date that their own clock shows.

    Returns
    -------
    array of datetime64[D], shape (n,)

    Examples
    --------
    >>> calendar_days(pd.DatetimeIndex(["2026-07-14 23:30"], tz="America/Los_Angeles")).astype(str).tolist()
    ['2026-07-14']
    """
    many = days if np.ndim(days) else [days]
    index = pd.DatetimeIndex(pd.to_datetime(many))
    if index.tz is not None:
        index = index.tz_localize(None)
    return index.to_numpy().astype("datetime64[D]")


def _date(year: int, month_day: str) -> np.datetime64:
    month, day = parse_month_day(month_day)
    return np.datetime64(f"{year:04d}-{month:02d}-01", "D") + np.timedelta64(day - 1, "D")


def _nodes(season: Sequence[Point], year: int) -> NDArray[np.datetime64]:
    """Return the dates of the points of the season that begins in ``year``."""
    first = parse_month_day(season[0][0])
    return np.array([_date(year + (parse_month_day(day) < first), day) for day, _ in season])


def _season_begins(season: Sequence[Point], year: int) -> np.datetime64:
    """Return the day on which the season of ``year`` takes over from the one before."""
    if _nodes(season, year)[-1] < np.datetime64(f"{year + 1:04d}-01-01", "D"):
        return np.datetime64(f"{year:04d}-01-01", "D")
    last, first = _nodes(season, year - 1)[-1], _nodes(season, year)[0]
    return np.datetime64(last + (first - last) // 2, "D")


def _days_after_first(season: Sequence[Point], month_day: str) -> int:
    first = season[0][0]
    year = FIRST_YEAR + (parse_month_day(month_day) < parse_month_day(first))
    return int((_date(year, month_day) - _date(FIRST_YEAR, first)).astype(int))


def _month_day(date: np.datetime64) -> str:
    return str(date)[5:10]
