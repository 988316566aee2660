"""Value of information: where one more reading would improve the watering decision most.

Water reaches a share of the ranch: the valve zones whose mean stress is over a threshold. A new reading
shifts a zone's mean by a normal amount whose variance is its reduction of that mean's variance. Its value is
the stress, in bar times hectares, by which the decision is expected to improve: the expected value of sample
information under linear loss (Applied Statistical Decision Theory, Harvard 1961, section 5.4, the unit normal
linear loss integral; from memory). A zone far from the threshold, or with a small standard
error, has little to gain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from stressmap.core.parallel import each
from stressmap.geostat.samples import Places
from stressmap.geostat.surface import Surface
from stressmap.geostat.zone_covariance import ZoneCovariance
from stressmap.zoning.mapping import RanchLayout
from stressmap.zoning.ranking import ZoneMeans

EDGE_M = 15.0
"""Trees nearer to the block's edge stand in the sun of the road and are not asked for (common practice)."""
CANDIDATES_PER_ZONE = 5
"""Candidate places in each valve zone."""
NEAR_M = 12.0
"""A tree measured before and no further than this from a place is named with it (common practice)."""
MOST_ZONES = 80
"""Valve zones considered, in the order of their value of perfect information."""


@dataclass(frozen=True)
class WateringDecision:
    """The watering decision: means, weights and the stress over which zones are watered.

    Parameters
    ----------
    figures : ZoneMeans
        Means and standard errors of k valve zones [bar].
    weight : array of float, shape (k,)
        Hectares times the weight of the block.
    threshold_bar : float
        Zones over it are watered.
    """

    figures: ZoneMeans
    weight: NDArray[np.float64]
    threshold_bar: float


def area_threshold(mean_bar: NDArray[np.float64], area_ha: NDArray[np.float64], share: float) -> float:
    """Find the stress threshold over which a share of the area lies.

    Parameters
    ----------
    mean_bar, area_ha : array of float, shape (k,)
        Of the valve zones.
    share : float
        Of the area, 0 to 1.

    Returns
    -------
    float
        Midway between the last zone that is watered and the first that is not [bar].

    Examples
    --------
    >>> area_threshold(np.array([1.0, 4.0, 2.0, 3.0]), np.ones(4), 0.25)
    3.5
    """
    order = np.argsort(-mean_bar, kind="stable")
    filled = np.cumsum(area_ha[order]) / area_ha.sum()
    last = int(np.argmin(np.abs(filled - share)))
    following = min(last + 1, len(order) - 1)
    return float((mean_bar[order[last]] + mean_bar[order[following]]) / 2)


def expected_gain(distance_bar: ArrayLike, spread_bar: ArrayLike) -> NDArray[np.float64]:
    """Give the expected value of sample information for a two-action decision with linear loss.

    Parameters
    ----------
    distance_bar : array of float
        Mean less the threshold [bar].
    spread_bar : array of float
        Standard deviation by which the mean will move [bar].

    Returns
    -------
    array of float
        Expected loss avoided [bar]; 0 where the mean cannot move.

    Examples
    --------
    >>> expected_gain([0.0, 5.0], [1.0, 1.0]).round(4).tolist()
    [0.3989, 0.0]
    """
    distance, spread = np.abs(np.asarray(distance_bar, dtype=float)), np.asarray(spread_bar, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = distance / spread
        gain = spread * (np.exp(-(u**2) / 2) / np.sqrt(2 * np.pi) - u * ndtr(-u))
    return np.where(spread > 0, np.maximum(gain, 0.0), 0.0)


def look_again(
    surface: Surface, ground: RanchLayout, decision: WateringDecision, count: int = 10, *, jobs: int = 1
) -> gpd.GeoDataFrame:
    """Choose places of greatest expected value of sample information, greedily, one after another.

    Each place is chosen as if readings had been taken at the places chosen before, so that ten places are
    not ten times the same.

    Parameters
    ----------
    surface : Surface
        A fitted method.
    ground : RanchLayout
        The ranch.
    decision : WateringDecision
        The watering decision: means, weights and the stress over which zones are watered.
    count : int
        Places wanted.
    jobs : int
        Blocks worked on at once; the result does not depend on it.

    Returns
    -------
    GeoDataFrame
        Up to ``count`` points in walking order: ``order``, ``block``, ``valve``, ``gain_bar_ha`` (expected),
        ``stress_bar``, ``stress_se_bar`` (of the valve zone), geometry in the working CRS.
    """
    perfect = (
        expected_gain(decision.figures.mean - decision.threshold_bar, decision.figures.se) * decision.weight
    )
    asked = [int(z) for z in np.argsort(-perfect, kind="stable")[:MOST_ZONES] if perfect[z] > 0]
    blocks = sorted({int(b) for b in _block_positions(ground)[asked]})
    made = each(lambda block: _block_state(surface, ground, decision, block, asked), blocks, jobs=jobs)
    states = dict(zip(blocks, made, strict=True))
    chosen: list[tuple[int, NDArray[np.float64], float]] = []
    for _ in range(count):
        open_states = [b for b in states.values() if len(b.candidates) and b.gain.max() > 0]
        if not open_states:
            break
        best = max(open_states, key=lambda b: float(b.gain.max()))
        candidate = int(best.gain.argmax())
        chosen.append(
            (
                int(best.candidates.valve[candidate]),
                best.candidates.xy[candidate],
                float(best.gain[candidate]),
            )
        )
        known = replace(
            best,
            joint=best.joint.conditioned_on(len(best.members) + candidate),
            chosen=(*best.chosen, candidate),
        )
        states[best.block] = replace(known, gain=_gains(known, decision))
    return _table(chosen, ground, decision)


@dataclass(frozen=True)
class _BlockState:
    """One block with its valve zones, its candidate places and the value of a reading at each.

    ``joint`` holds the errors of the valve zones (``members``), then those of the places; ``chosen`` are the
    places already chosen.
    """

    block: int
    joint: ZoneCovariance
    members: NDArray[np.int64]
    candidates: Places
    gain: NDArray[np.float64]
    chosen: tuple[int, ...] = ()


def _block_positions(ground: RanchLayout) -> NDArray[np.int64]:
    position = {name: i for i, name in enumerate(ground.blocks["block"])}
    return np.array([position[name] for name in ground.valves["block"]], dtype=np.int64)


def _block_state(
    surface: Surface, ground: RanchLayout, decision: WateringDecision, block: int, asked: list[int]
) -> _BlockState:
    touched, places_touched = ground.cells(block)
    cells = places_touched.take(np.flatnonzero(touched.inside))
    members = np.unique(cells.valve[cells.valve >= 0])
    zone = np.where(cells.valve >= 0, np.searchsorted(members, cells.valve), -1).astype(np.int64)
    interior = ground.blocks.geometry.iloc[block].buffer(-EDGE_M)
    away = shapely.contains_xy(interior, cells.xy) if not interior.is_empty else np.zeros(len(cells), bool)
    candidates = [
        _space_filling(cells, np.flatnonzero((cells.valve == z) & away)) for z in asked if z in members
    ]
    chosen = np.concatenate([np.array([], dtype=np.int64), *candidates])
    places = cells.followed_by(cells.take(chosen))
    numbers = np.append(zone, len(members) + np.arange(len(chosen)))
    joint = surface.zone_covariance(places, numbers, len(members) + len(chosen))
    state = _BlockState(block, joint, members, cells.take(chosen), np.zeros(len(chosen)))
    return replace(state, gain=_gains(state, decision))


def _space_filling(cells: Places, inner: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pick a space-filling few cells of a zone: its centre, then those furthest from the ones picked."""
    if len(inner) == 0:
        return inner
    xy = cells.xy[inner]
    distance = np.hypot(*(xy - xy.mean(axis=0)).T)
    picked = [int(distance.argmin())]
    nearest = np.hypot(*(xy - xy[picked[0]]).T)
    while len(picked) < min(CANDIDATES_PER_ZONE, len(inner)) and nearest.max() > 0:
        picked.append(int(nearest.argmax()))
        nearest = np.minimum(nearest, np.hypot(*(xy - xy[picked[-1]]).T))
    return inner[picked]


def _gains(state: _BlockState, decision: WateringDecision) -> NDArray[np.float64]:
    """Work out the value of a reading at each place, summed over the valve zones of the block."""
    known, distance = len(state.members), decision.figures.mean[state.members] - decision.threshold_bar
    moved = [state.joint.shift_sd(known + i)[:known] for i in range(len(state.candidates))]
    weight = decision.weight[state.members]
    gain = np.array([float((expected_gain(distance, m) * weight).sum()) for m in moved])
    gain[list(state.chosen)] = 0.0
    return gain


def _table(
    chosen: list[tuple[int, NDArray[np.float64], float]], ground: RanchLayout, decision: WateringDecision
) -> gpd.GeoDataFrame:
    points = np.array([xy for _, xy, _ in chosen]).reshape(-1, 2)
    rows = [chosen[i] for i in short_walk(points)]
    valves = ground.valves.iloc[[valve for valve, _, _ in rows]]
    return gpd.GeoDataFrame(
        {
            "order": np.arange(1, len(rows) + 1),
            "block": valves["block"].to_numpy(),
            "valve": valves["valve"].to_numpy(),
            "gain_bar_ha": [gain for _, _, gain in rows],
            "stress_bar": decision.figures.mean[[valve for valve, _, _ in rows]],
            "stress_se_bar": decision.figures.se[[valve for valve, _, _ in rows]],
        },
        geometry=[shapely.Point(xy) for _, xy, _ in rows],
        crs=ground.blocks.crs,
    )


def nearest_trees(places: gpd.GeoDataFrame, readings: gpd.GeoDataFrame) -> list[str | None]:
    """Name for each place the nearest tree of its valve zone that was ever measured.

    Parameters
    ----------
    places : GeoDataFrame
        k places with ``valve``, in the working CRS.
    readings : GeoDataFrame
        Readings of any visit, used or not, with ``tree_id`` and ``valve``, in the same CRS.

    Returns
    -------
    list of str or None, length k
        None where no tree stands within :data:`NEAR_M`; of trees equally near the first read.
    """
    point = readings.geometry
    named = readings[readings["tree_id"].notna() & point.notna() & ~point.is_empty]
    found: list[str | None] = []
    for valve, candidate in zip(places["valve"], places.geometry, strict=True):
        trees = named[named["valve"] == valve]
        away = trees.distance(candidate).to_numpy()
        near = len(away) > 0 and away.min() <= NEAR_M
        found.append(str(trees["tree_id"].iloc[int(away.argmin())]) if near else None)
    return found


def short_walk(points: NDArray[np.float64]) -> list[int]:
    """Order places so that walking from one to the next is short; the ends are free.

    Parameters
    ----------
    points : array of float, shape (n, 2)
        [m]; meant for a dozen or so.

    Returns
    -------
    list of int
        Nearest neighbour from the westernmost, then pieces turned round as long as that shortens it.

    Examples
    --------
    >>> short_walk(np.array([[0.0, 0.0], [20.0, 0.0], [10.0, 0.0]]))
    [0, 2, 1]
    """
    if len(points) < 3:
        return list(range(len(points)))
    gap = np.hypot(*(points[:, None] - points[None]).T)
    walk = [int(points[:, 0].argmin())]
    while len(walk) < len(points):
        left = [i for i in range(len(points)) if i not in walk]
        walk.append(min(left, key=lambda i: gap[walk[-1], i]))

    def length(order: list[int]) -> float:
        return float(gap[order[:-1], order[1:]].sum())

    better = True
    while better:
        better = False
        for i in range(len(walk)):
            for j in range(i + 2, len(walk) + 1):
                turned = walk[:i] + walk[i:j][::-1] + walk[j:]
                if length(turned) < length(walk) - 1e-9:
                    walk, better = turned, True
    return walk
