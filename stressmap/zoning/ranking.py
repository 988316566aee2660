"""Ranking of valve zones by mean stress, with class probabilities and ties that cannot be told apart."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.schemas import RANKED_VALVES, columns_of, hold
from stressmap.core.settings import RankBy
from stressmap.core.units import M2_PER_HA
from stressmap.zoning.priorities import Edges, priority, probabilities, probability_over

Z_90 = 1.6448536269514722
"""Standard errors on each side of a normal 90 % interval."""

LABELS: dict[int, tuple[str, str]] = {
    1: ("water first", "regar primero"),
    2: ("water next", "regar después"),
    3: ("watch", "vigilar"),
    4: ("can wait", "puede esperar"),
}
"""The words for a priority (``docs/contract.md``), English and Spanish."""

COLUMNS = columns_of(RANKED_VALVES)
"""The columns of the valve table in their order, then whether any reading was used in its block, and
the group of valves whose order cannot be told, and all ranks that a valve cannot be told apart from."""

CHANGE_COLUMNS = columns_of(RANKED_VALVES, required=False)
"""Columns that a valve table has beside these when the visit before was mapped too."""

TIED_OVER = 0.3
"""Probability that two valves stand in the wrong order, over which they count as tied."""


@dataclass(frozen=True)
class ZoneMeans:
    """Zone means of the ranked figure with their standard errors.

    Parameters
    ----------
    mean, se : array of float, shape (k,)
        Zone mean of the ranked figure and its standard error [bar].
    """

    mean: NDArray[np.float64]
    se: NDArray[np.float64]


def classify(figures: ZoneMeans, crops: list[str], edges: dict[str, Edges]) -> pd.DataFrame:
    """Classify zone means by their crop's edges.

    Parameters
    ----------
    figures : ZoneMeans
        Of k zones.
    crops : list of str, length k
        Crop of each zone.
    edges : dict
        Edges of each crop [bar].

    Returns
    -------
    DataFrame
        k rows: ``stress_bar``, ``stress_se_bar``, ``low_bar``, ``high_bar`` (90 % interval), ``priority``,
        ``label_en``, ``label_es``, ``p_first`` (probability that the mean is over the highest edge) and
        ``confidence`` (that it belongs to its priority).
    """
    count = len(figures.mean)
    level, odds = np.zeros(count, dtype=np.int64), np.zeros((count, 4))
    for crop in sorted(set(crops)):
        mine = np.array([c == crop for c in crops])
        level[mine] = priority(figures.mean[mine], edges[crop])
        odds[mine] = probabilities(figures.mean[mine], figures.se[mine], edges[crop])
    return pd.DataFrame(
        {
            "stress_bar": figures.mean,
            "stress_se_bar": figures.se,
            "low_bar": figures.mean - Z_90 * figures.se,
            "high_bar": figures.mean + Z_90 * figures.se,
            "priority": level,
            "label_en": [LABELS[p][0] for p in level.tolist()],
            "label_es": [LABELS[p][1] for p in level.tolist()],
            "p_first": odds[:, 0],
            "confidence": odds[np.arange(count), level - 1],
        }
    )


def rank_valves(
    valves: gpd.GeoDataFrame,
    blocks: pd.DataFrame,
    figures: ZoneMeans,
    edges: dict[str, Edges],
    rank_by: RankBy,
    *,
    rank_unmeasured: bool = True,
) -> gpd.GeoDataFrame:
    """Put the valve zones in order, the driest first; equals stay in the order of their names.

    Parameters
    ----------
    valves : GeoDataFrame
        k valve zones with ``valve``, ``block``, ``readings`` (count used), ``measured`` (whether a reading
        was used in the block) and ``last_irrigated``.
    blocks : DataFrame
        Indexed by block: ``crop``, ``target_bar``, ``baseline_bar``.
    figures : ZoneMeans
        Zone means, in the order of ``valves``.
    edges : dict
        Edges of each crop [bar].
    rank_by : str
        Which figure was mapped; the stem water potential is told back from it.
    rank_unmeasured : bool
        Whether valve zones of blocks without a reading get a rank; if not they come last.

    Returns
    -------
    GeoDataFrame
        In rank order, with the columns of :data:`COLUMNS` and ``geometry``; ``rank`` is missing where a zone
        gets none.
    """
    own = blocks.loc[valves["block"]].reset_index(drop=True)
    table = valves.reset_index(drop=True)
    classified = classify(figures, own["crop"].tolist(), edges)
    zero = {"below_target": own["target_bar"], "below_baseline": own["baseline_bar"]}.get(rank_by, 0.0)
    table = table.assign(
        **{c: classified[c] for c in classified.columns},
        crop=own["crop"],
        target_bar=own["target_bar"],
        baseline_bar=own["baseline_bar"],
        area_ha=table.geometry.area / M2_PER_HA,
        swp_bar=zero - classified["stress_bar"],
    )
    table["ranked"] = table["measured"] | rank_unmeasured
    order, rises = ["ranked", "stress_bar", "valve"], [False, False, True]
    table = table.sort_values(order, ascending=rises, ignore_index=True)
    last = int(table["ranked"].sum())
    table["rank"] = pd.array([i + 1 if i < last else None for i in range(len(table))], dtype="Int64")
    ranked = table.iloc[:last]
    ordered = ZoneMeans(ranked["stress_bar"].to_numpy(), ranked["stress_se_bar"].to_numpy())
    table["tied_group"] = np.append(tied_groups(ordered), np.zeros(len(table) - last, dtype=np.int64))
    table["tied_ranks"] = [*tied_ranks(ordered), *[""] * (len(table) - last)]
    changes = [name for name in CHANGE_COLUMNS if name in table]
    ranked = gpd.GeoDataFrame(table[[*COLUMNS, *changes, "geometry"]], crs=valves.crs)
    return hold(ranked, RANKED_VALVES)


def tied_groups(ordered: ZoneMeans) -> NDArray[np.int64]:
    """Group the valves whose order cannot be told apart.

    A group begins at the driest valve not yet in one and takes in the valves after it as long as the
    probability that one of them is truly drier than the first of the group is over :data:`TIED_OVER`. So
    groups stay short enough to read; the last of one group and the first of the next may be as close
    (:func:`tied_ranks` tells of every pair). Errors of different valves are taken as independent.

    Parameters
    ----------
    ordered : ZoneMeans
        Of k valves, the driest first.

    Returns
    -------
    array of int, shape (k,)
        Group numbers from 1; 0 for a valve that is tied with no other.

    Examples
    --------
    >>> tied_groups(ZoneMeans(np.array([5.0, 4.9, 1.0]), np.array([1.0, 1.0, 1.0])))
    array([1, 1, 0])
    """
    first, starts = 0, np.zeros(len(ordered.mean), dtype=np.int64)
    for i in range(1, len(ordered.mean)):
        if not _swappable(ordered, first, np.array([i]))[0]:
            first = i
        starts[i] = first
    groups: NDArray[np.int64] = np.zeros(len(starts), dtype=np.int64)
    together = [start for start in np.unique(starts) if (starts == start).sum() > 1]
    for number, start in enumerate(together, start=1):
        groups[starts == start] = number
    return groups


def tied_ranks(ordered: ZoneMeans) -> list[str]:
    """Tell for each valve the ranks that it cannot be told apart from, its own included.

    Parameters
    ----------
    ordered : ZoneMeans
        Of k valves, the driest first.

    Returns
    -------
    list of str
        ``"2-9"``: the first and last rank whose order against this valve has odds of a swap over
        :data:`TIED_OVER`; empty where there is none.

    Examples
    --------
    >>> tied_ranks(ZoneMeans(np.array([5.0, 4.9, 1.0]), np.array([1.0, 1.0, 1.0])))
    ['1-2', '1-2', '']
    """
    everyone = np.arange(len(ordered.mean))
    spans = []
    for i in range(len(ordered.mean)):
        tied = everyone[_swappable(ordered, i, everyone)]
        spans.append(f"{tied.min() + 1}-{tied.max() + 1}" if len(tied) > 1 else "")
    return spans


def _swappable(ordered: ZoneMeans, one: int, others: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell of which others it is open whether they stand on the right side of one."""
    apart = np.abs(ordered.mean[others] - ordered.mean[one])
    odds = probability_over(-apart, np.hypot(ordered.se[others], ordered.se[one]), 0.0)
    return np.asarray((odds > TIED_OVER) | (apart == 0.0))


def last_irrigated(valves: list[str], log: pd.DataFrame | None, until: pd.Timestamp) -> list[object]:
    """Look up when each valve's last set ended.

    Parameters
    ----------
    valves : list of str
        Valve names.
    log : DataFrame or None
        As ``core.schemas.IRRIGATION``.
    until : Timestamp
        Sets that began later are not looked at.

    Returns
    -------
    list
        A Timestamp or None for each valve.
    """
    if log is None or log.empty:
        return [None] * len(valves)
    ended = log[log["start"] <= until].groupby("valve")["end"].max()
    return [ended.get(v) for v in valves]
