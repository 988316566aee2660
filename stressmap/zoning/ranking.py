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
from stressmap.zoning.urgency import limit_of, urgency

Z_90 = 1.6448536269514722
"""Standard errors on each side of a normal 90 % interval."""

LABELS: dict[int, tuple[str, str]] = {
    1: ("water first", "regar primero"),
    2: ("water next", "regar enseguida"),
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
    """Zone means of the ranked figure, or their urgency, with their standard errors.

    Parameters
    ----------
    mean, se : array of float, shape (k,)
        Zone mean of the ranked figure and its standard error [bar], or the zone's urgency and its [no unit].
    """

    mean: NDArray[np.float64]
    se: NDArray[np.float64]


def classify(
    figures: ZoneMeans,
    crops: list[str],
    edges: dict[str, Edges],
    limit_bar: NDArray[np.float64] | None = None,
) -> pd.DataFrame:
    """Class zone means by their crop's edges.

    Parameters
    ----------
    figures : ZoneMeans
        Of k zones.
    crops : list of str, length k
        Crop of each zone.
    edges : dict
        Edges of each crop [bar].
    limit_bar : array of float, shape (k,), optional
        Where on the ranked figure the crop is harmed [bar]; NaN, or None, where that is not known.

    Returns
    -------
    DataFrame
        k rows: ``stress_bar``, ``stress_se_bar``, ``low_bar``, ``high_bar`` (90 % interval), ``priority``,
        ``label_en``, ``label_es``, ``p_first`` (probability that the mean is over the highest edge),
        ``confidence`` (that it belongs to its priority), ``urgency``, ``urgency_se`` and ``past_limit``
        (whether the mean is more likely than not past the limit).
    """
    count = len(figures.mean)
    level, odds = np.zeros(count, dtype=np.int64), np.zeros((count, 4))
    limit = np.full(count, np.nan) if limit_bar is None else limit_bar
    place, place_se, past = np.zeros(count), np.zeros(count), np.zeros(count, dtype=bool)
    for crop in sorted(set(crops)):
        mine = np.array([c == crop for c in crops])
        level[mine] = priority(figures.mean[mine], edges[crop])
        odds[mine] = probabilities(figures.mean[mine], figures.se[mine], edges[crop])
        place[mine], place_se[mine] = _on_scale(
            figures.mean[mine], figures.se[mine], edges[crop], limit[mine]
        )
        past[mine] = figures.mean[mine] > limit_of(edges[crop], limit[mine])
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
            "urgency": place,
            "urgency_se": place_se,
            "past_limit": past,
        }
    )


def _on_scale(
    mean: NDArray[np.float64], se: NDArray[np.float64], edges: Edges, limit: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the place of zone means on the crop's scale, and its standard error by the slope about them."""
    half = np.maximum(se, 1e-6)
    low, high = (urgency(mean + side * half, edges, limit) for side in (-1.0, 1.0))
    return urgency(mean, edges, limit), se * (high - low) / (2.0 * half)


def rank_valves(
    valves: gpd.GeoDataFrame,
    blocks: pd.DataFrame,
    figures: ZoneMeans,
    edges: dict[str, Edges],
    rank_by: RankBy,
    *,
    rank_unmeasured: bool = True,
) -> gpd.GeoDataFrame:
    """Put the valve zones in order, the most urgent first; equals stay in the order of their names.

    Parameters
    ----------
    valves : GeoDataFrame
        k valve zones with ``valve``, ``block``, ``readings`` (count used), ``measured`` (whether a reading
        was used in the block), ``last_irrigated`` and, where it is not one, ``visits_used``.
    blocks : DataFrame
        Indexed by block: ``crop``, ``target_bar``, ``baseline_bar`` and, where known, ``allowance_bar`` and
        ``limit_bar`` (below the fully watered line).
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
    held = blocks.reindex(columns=sorted({*blocks.columns, "allowance_bar", "limit_bar"}))
    own = held.loc[valves["block"]].reset_index(drop=True)
    table = valves.reset_index(drop=True)
    classified = classify(figures, own["crop"].tolist(), edges, limit_on_figure(own, rank_by))
    zero = {"below_target": own["target_bar"], "below_baseline": own["baseline_bar"]}.get(rank_by, 0.0)
    table = table.assign(
        **{c: classified[c] for c in classified.columns},
        crop=own["crop"],
        target_bar=own["target_bar"],
        baseline_bar=own["baseline_bar"],
        allowance_bar=own["allowance_bar"],
        visits_used=table.get("visits_used", 1),
        area_ha=table.geometry.area / M2_PER_HA,
        swp_bar=zero - classified["stress_bar"],
    )
    table["ranked"] = table["measured"] | rank_unmeasured
    order, rises = ["ranked", "priority", "urgency", "valve"], [False, True, False, True]
    table = table.sort_values(order, ascending=rises, ignore_index=True)
    last = int(table["ranked"].sum())
    table["rank"] = pd.array([i + 1 if i < last else None for i in range(len(table))], dtype="Int64")
    ranked = table.iloc[:last]
    ordered = ZoneMeans(ranked["urgency"].to_numpy(), ranked["urgency_se"].to_numpy())
    table["tied_group"] = np.append(tied_groups(ordered), np.zeros(len(table) - last, dtype=np.int64))
    table["tied_ranks"] = [*tied_ranks(ordered), *[""] * (len(table) - last)]
    changes = [name for name in CHANGE_COLUMNS if name in table]
    ranked = gpd.GeoDataFrame(table[[*COLUMNS, *changes, "geometry"]], crs=valves.crs)
    return hold(ranked, RANKED_VALVES)


def limit_on_figure(held: pd.DataFrame, rank_by: RankBy) -> NDArray[np.float64]:
    """Give the crop's limit on the ranked figure.

    Parameters
    ----------
    held : DataFrame, k rows
        ``target_bar``, ``baseline_bar`` and ``limit_bar``, how far below the fully watered line the crop is
        harmed; NaN where unknown.
    rank_by : str
        The ranked figure.

    Returns
    -------
    array of float, shape (k,)
        [bar]; NaN where it is not known.

    Examples
    --------
    >>> held = pd.DataFrame({"target_bar": [-12.0], "baseline_bar": [-7.0], "limit_bar": [10.0]})
    >>> [limit_on_figure(held, name).item() for name in ("below_target", "below_baseline", "tension")]
    [5.0, 10.0, 17.0]
    """
    harmed_at = held["baseline_bar"] - held["limit_bar"]
    zero = {"below_target": held["target_bar"], "below_baseline": held["baseline_bar"]}.get(rank_by, 0.0)
    return np.asarray(zero - harmed_at, dtype=np.float64)


def tied_groups(ordered: ZoneMeans) -> NDArray[np.int64]:
    """Group the valves whose order cannot be told apart.

    A group begins at the most urgent valve not yet in one and takes in the valves after it as long as the
    probability that one of them is truly more urgent than the first of the group is over :data:`TIED_OVER`.
    So groups stay short enough to read; the last of one group and the first of the next may be as close
    (:func:`tied_ranks` tells of every pair). Errors of different valves are taken as independent.

    Parameters
    ----------
    ordered : ZoneMeans
        Of k valves, the driest or the most urgent first; ranks come from their urgency.

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
        Of k valves, the driest or the most urgent first; ranks come from their urgency.

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
