"""Change of valve-zone means from one visit to the next, with its significance."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.agronomy.visit_weather import SLOPE_ERROR
from stressmap.core.settings import RankBy
from stressmap.core.unsure_sets import unsure_of
from stressmap.quality.record_spans import QUIET_DAYS
from stressmap.zoning.ranking import Z_90, ZoneMeans

RELIEVED, UNCLEAR, DRIER = "relieved", "no clear change", "drier"


@dataclass(frozen=True)
class VisitMeans:
    """What a visit says of k valve zones.

    Parameters
    ----------
    figures : ZoneMeans
        Zone means of the ranked figure.
    held : DataFrame, k rows
        ``target_bar`` and ``baseline_bar`` of each zone at that visit; NaN where unknown.
    """

    figures: ZoneMeans
    held: pd.DataFrame


def compare_visits(
    before: VisitMeans, now: VisitMeans, rank_by: RankBy = "below_target", *, together: bool = False
) -> pd.DataFrame:
    """Tell the change of valve-zone means between two visits, the weather's part apart from the trees'.

    All figures are as the gauge has them: positive is more tension, or a drier target.

    Parameters
    ----------
    before, now : VisitMeans
        The same k zones at both visits.
    rank_by : str
        The ranked figure.
    together : bool
        Whether both visits were fitted together: the figures of ``before`` are then the change of the ranked
        figure since, with its standard error.

    Returns
    -------
    DataFrame
        k rows: ``gauge_change_bar`` = ``weather_change_bar`` (what the fully watered line moved; NaN where it
        is not known at both visits, when the gauge's change is all taken as the trees') +
        ``trees_change_bar``; ``change_bar`` (that of the trees, positive is drier), ``change_se_bar`` (errors
        of the two visits, taken as independent where not fitted together, and of the slope along which the
        line moved), ``change`` (``relieved`` or ``drier`` where the 90 % interval leaves out zero, otherwise
        ``no clear change``), and ``target_change_bar``.

    Examples
    --------
    >>> mild, hot = (pd.DataFrame({"target_bar": [b - 4.0], "baseline_bar": [b]}) for b in (-6.0, -8.0))
    >>> same = ZoneMeans(np.array([1.0]), np.array([0.3]))
    >>> told = compare_visits(VisitMeans(same, mild), VisitMeans(same, hot))
    >>> told[["gauge_change_bar", "weather_change_bar", "trees_change_bar"]].iloc[0].tolist()
    [2.0, 2.0, 0.0]
    """
    apart = np.hypot(now.figures.se, before.figures.se)
    if together:
        change, apart = before.figures.mean, before.figures.se
        before = VisitMeans(ZoneMeans(now.figures.mean - change, apart), before.held)
    gauge = _potential(before, rank_by) - _potential(now, rank_by)
    weather, target = (
        (before.held[name] - now.held[name]).to_numpy(np.float64) for name in ("baseline_bar", "target_bar")
    )
    trees = gauge - np.nan_to_num(weather)
    se = np.hypot(apart, SLOPE_ERROR * np.nan_to_num(weather))
    word = np.where(trees + Z_90 * se < 0, RELIEVED, np.where(trees - Z_90 * se > 0, DRIER, UNCLEAR))
    return pd.DataFrame(
        {
            "gauge_change_bar": gauge,
            "weather_change_bar": weather,
            "trees_change_bar": trees,
            "change_bar": trees,
            "change_se_bar": se,
            "change": word.astype(object),
            "target_change_bar": target,
        }
    )


def _potential(visit: VisitMeans, rank_by: RankBy) -> NDArray[np.float64]:
    """Return the stem water potential of each zone [bar]."""
    name = {"below_target": "target_bar", "below_baseline": "baseline_bar"}.get(rank_by)
    zero = visit.held[name].to_numpy(np.float64) if name else 0.0
    return np.asarray(zero - visit.figures.mean)


def means_before(valves: pd.DataFrame, rank_by: RankBy = "below_target") -> ZoneMeans:
    """Tell the zone means of the visit before back from those of now and the change.

    Parameters
    ----------
    valves : DataFrame, k rows
        ``stress_bar`` and ``stress_se_bar`` of now, and the columns of :func:`compare_visits`.
    rank_by : str
        The ranked figure.

    Returns
    -------
    ZoneMeans
        Of the ranked figure, as it was counted then; NaN where the change is not known. Where earlier visits
        took part the errors of both hang together, and that of now stands for that of then.

    Examples
    --------
    >>> held = pd.DataFrame({"target_bar": [-12.0], "baseline_bar": [-8.0]})
    >>> then, now = ZoneMeans(np.array([1.0]), np.array([0.3])), ZoneMeans(np.array([3.0]), np.array([0.4]))
    >>> told = compare_visits(VisitMeans(then, held), VisitMeans(now, held))
    >>> means_before(told.assign(stress_bar=now.mean, stress_se_bar=now.se)).mean.tolist()
    [1.0]
    """
    moved = {"below_target": "target_change_bar", "below_baseline": "weather_change_bar"}.get(rank_by)
    zero = valves[moved].to_numpy(np.float64) if moved else 0.0
    mean = valves["stress_bar"].to_numpy(np.float64) + zero - valves["gauge_change_bar"].to_numpy(np.float64)
    slope = SLOPE_ERROR * np.nan_to_num(valves["weather_change_bar"].to_numpy(np.float64))
    now, both = (valves[name].to_numpy(np.float64) for name in ("stress_se_bar", "change_se_bar"))
    apart = both**2 - now**2 - slope**2
    alone = (apart >= 0) & (np.asarray(valves.get("visits_used", 1)) == 1)
    return ZoneMeans(mean, np.where(alone, np.sqrt(np.maximum(apart, 0.0)), now + 0.0 * both))


def irrigated_between(
    valves: list[str], log: pd.DataFrame | None, since: pd.Timestamp, until: pd.Timestamp
) -> list[bool | None]:
    """Look up whether each valve ran between two visits.

    Parameters
    ----------
    valves : list of str
        Valve names.
    log : DataFrame or None
        As ``core.schemas.IRRIGATION``.
    since, until : Timestamp
        End of the earlier and begin of the later visit; a set counts if any of it lies between.

    Returns
    -------
    list
        True for a valve that ran; False where a log that was kept through the time, and has the valve, has
        no entry then; None where that is not known, also as a row of the log that may mean it could not be
        used.
    """
    if log is None or log.empty:
        return [None] * len(valves)
    ran = set(log.loc[(log["start"] < until) & (log["end"] > since), "valve"])
    quiet = pd.Timedelta(days=QUIET_DAYS)
    kept = log["start"].min() <= since + quiet and log["end"].max() >= until - quiet
    known = set(log["valve"]) if kept else set[str]()
    unsure, day = unsure_of(log), dt.timedelta(days=1)
    # a set of the night before may run into the time asked for
    first, last = since.date() - day, (until - pd.Timedelta(1, "us")).date()
    known -= {valve for valve in known if unsure.may_have_run(valve, first, last)}
    return [True if valve in ran else False if valve in known else None for valve in valves]


def unread_in_log(
    valves: list[str], log: pd.DataFrame | None, day: dt.date, before: dt.date | None
) -> frozenset[str]:
    """Give the valves that may have run by rows of the log that could not be used.

    Parameters
    ----------
    valves : list of str
        Valve names.
    log : DataFrame or None
        As ``core.schemas.IRRIGATION``.
    day : date
        Last day of the visit.
    before : date or None
        Last day of the visit before, if there is one.

    Returns
    -------
    frozenset of str
        Those with such a row since their last set or since the visit before, whichever is earlier.
    """
    unsure, found = unsure_of(log), set()
    if log is None or not unsure.days:
        return frozenset()
    for valve in unsure.days.keys() & set(valves):
        ended = [moment.date() for moment in log.loc[log["valve"] == valve, "end"]]
        last = max((one for one in ended if one <= day), default=dt.date.min)
        if unsure.may_have_run(valve, min(last, before or last), day):
            found.add(valve)
    return frozenset(found)
