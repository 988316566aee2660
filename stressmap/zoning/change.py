"""Change of valve-zone means from one visit to the next, with its significance."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stressmap.zoning.ranking import Z_90, ZoneMeans

RELIEVED, UNCLEAR, DRIER = "relieved", "no clear change", "drier"


def compare_visits(before: ZoneMeans, now: ZoneMeans) -> pd.DataFrame:
    """Give the change of valve-zone means from one visit to the next.

    Parameters
    ----------
    before, now : ZoneMeans
        The same k zones at both visits.

    Returns
    -------
    DataFrame
        k rows: ``change_bar`` (positive is drier), ``change_se_bar`` (errors of the two visits taken as
        independent, so rather too wide than too narrow) and ``change``: ``relieved`` or ``drier`` where the
        90 % interval leaves out zero, otherwise ``no clear change``.

    Examples
    --------
    >>> now, before = ZoneMeans(np.array([1.0]), np.array([0.3])), ZoneMeans(np.array([3.0]), np.array([0.4]))
    >>> compare_visits(before, now)["change"].tolist()
    ['relieved']
    """
    change = now.mean - before.mean
    se = np.hypot(now.se, before.se)
    word = np.where(change + Z_90 * se < 0, RELIEVED, np.where(change - Z_90 * se > 0, DRIER, UNCLEAR))
    return pd.DataFrame({"change_bar": change, "change_se_bar": se, "change": word.astype(object)})


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
        True or False for each valve, None without a log.
    """
    if log is None:
        return [None] * len(valves)
    ran = set(log.loc[(log["start"] < until) & (log["end"] > since), "valve"])
    return [valve in ran for valve in valves]
