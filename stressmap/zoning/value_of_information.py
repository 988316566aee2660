"""Where one more reading would change most what is watered.

Water reaches a share of the ranch: the valve zones whose mean stress is over a cut. A new reading moves a
zone's mean by a normal amount whose variance is what it takes off the variance of that mean. Its worth is the
stress, in bar times hectares, by which the choice is expected to get better: the expected value of sample
information under linear loss (Applied Statistical Decision Theory, Harvard 1961, section 5.4, the unit normal
linear loss integral; from memory). A zone far from the cut, or well known, has little to gain, however large
its variance.
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
from stressmap.zoning.mapping import Ground
from stressmap.zoning.ranking import Figures

EDGE_M = 15.0
"""Trees nearer to the block's edge stand in the sun of the road and are not asked for (common practice)."""
SPOTS = 5
"""Places tried in each valve zone."""
NEAR_M = 12.0
"""A tree measured before and no further than this from a place is named with it (common practice)."""
MOST_ZONES = 80
"""Valve zones looked into, those with most to gain from certainty first."""


@dataclass(frozen=True)
class Stakes:
    """What hangs on each valve zone.

    Parameters
    ----------
    figures : Figures
        Means and standard errors of k valve zones [bar].
    worth : array of float, shape (k,)
        Hectares times the weight of the block.
    cut_bar : float
        Zones over it are watered.
    """

    figures: Figures
    worth: NDArray[np.float64]
    cut_bar: float


def cut_of(mean_bar: NDArray[np.float64], area_ha: NDArray[np.float64], share: float) -> float:
    """Find the stress over which a share of the area lies.

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
    >>> cut_of(np.array([1.0, 4.0, 2.0, 3.0]), np.ones(4), 0.25)
    3.5
    """
    order = np.argsort(-mean_bar, kind="stable")
    filled = np.cumsum(area_ha[order]) / area_ha.sum()
    last = int(np.argmin(np.abs(filled - share)))
    following = min(last + 1, len(order) - 1)
    return float((mean_bar[order[last]] + mean_bar[order[following]]) / 2)


def expected_gain(distance_bar: ArrayLike, spread_bar: ArrayLike) -> NDArray[np.float64]:
    """Give what knowing more is worth for a yes-or-no choice with linear loss.

    Parameters
    ----------
    distance_bar : array of float
        Mean less the cut [bar].
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
    surface: Surface, ground: Ground, stakes: Stakes, count: int = 10, *, jobs: int = 1
) -> gpd.GeoDataFrame:
    """Choose the places where another reading would change most what is watered, one after another.

    Each place is chosen as if the readings chosen before had been taken, so that ten places are not ten times
    the same.

    Parameters
    ----------
    surface : Surface
        A fitted method.
    ground : Ground
        The ranch.
    stakes : Stakes
        What hangs on each valve zone.
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
    certain = expected_gain(stakes.figures.mean - stakes.cut_bar, stakes.figures.se) * stakes.worth
    asked = [int(z) for z in np.argsort(-certain, kind="stable")[:MOST_ZONES] if certain[z] > 0]
    blocks = sorted({int(b) for b in _block_positions(ground)[asked]})
    made = each(lambda block: _board(surface, ground, stakes, block, asked), blocks, jobs=jobs)
    boards = dict(zip(blocks, made, strict=True))
    chosen: list[tuple[int, NDArray[np.float64], float]] = []
    for _ in range(count):
        open_boards = [b for b in boards.values() if len(b.spots) and b.gain.max() > 0]
        if not open_boards:
            break
        best = max(open_boards, key=lambda b: float(b.gain.max()))
        spot = int(best.gain.argmax())
        chosen.append((int(best.spots.valve[spot]), best.spots.xy[spot], float(best.gain[spot])))
        known = replace(
            best, joint=best.joint.conditioned_on(len(best.members) + spot), taken=(*best.taken, spot)
        )
        boards[best.block] = replace(known, gain=_gains(known, stakes))
    return _table(chosen, ground, stakes)


@dataclass(frozen=True)
class _Board:
    """One block with its valve zones, its candidate places and what a reading at each is worth.

    ``joint`` holds the errors of the valve zones (``members``), then those of the places; ``taken`` are the
    places already chosen.
    """

    block: int
    joint: ZoneCovariance
    members: NDArray[np.int64]
    spots: Places
    gain: NDArray[np.float64]
    taken: tuple[int, ...] = ()


def _block_positions(ground: Ground) -> NDArray[np.int64]:
    position = {name: i for i, name in enumerate(ground.blocks["block"])}
    return np.array([position[name] for name in ground.valves["block"]], dtype=np.int64)


def _board(surface: Surface, ground: Ground, stakes: Stakes, block: int, asked: list[int]) -> _Board:
    touched, places_touched = ground.cells(block)
    cells = places_touched.take(np.flatnonzero(touched.inside))
    members = np.unique(cells.valve[cells.valve >= 0])
    zone = np.where(cells.valve >= 0, np.searchsorted(members, cells.valve), -1).astype(np.int64)
    interior = ground.blocks.geometry.iloc[block].buffer(-EDGE_M)
    away = shapely.contains_xy(interior, cells.xy) if not interior.is_empty else np.zeros(len(cells), bool)
    spots = [_spread(cells, np.flatnonzero((cells.valve == z) & away)) for z in asked if z in members]
    chosen = np.concatenate([np.array([], dtype=np.int64), *spots])
    places = cells.followed_by(cells.take(chosen))
    numbers = np.append(zone, len(members) + np.arange(len(chosen)))
    joint = surface.zone_covariance(places, numbers, len(members) + len(chosen))
    board = _Board(block, joint, members, cells.take(chosen), np.zeros(len(chosen)))
    return replace(board, gain=_gains(board, stakes))


def _spread(cells: Places, inner: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pick a few cells of a zone: its middle, then those furthest from the ones picked."""
    if len(inner) == 0:
        return inner
    xy = cells.xy[inner]
    distance = np.hypot(*(xy - xy.mean(axis=0)).T)
    picked = [int(distance.argmin())]
    nearest = np.hypot(*(xy - xy[picked[0]]).T)
    while len(picked) < min(SPOTS, len(inner)) and nearest.max() > 0:
        picked.append(int(nearest.argmax()))
        nearest = np.minimum(nearest, np.hypot(*(xy - xy[picked[-1]]).T))
    return inner[picked]


def _gains(board: _Board, stakes: Stakes) -> NDArray[np.float64]:
    """Work out what a reading at each place is worth to all valve zones of the block."""
    known, distance = len(board.members), stakes.figures.mean[board.members] - stakes.cut_bar
    moved = [board.joint.shift_sd(known + i)[:known] for i in range(len(board.spots))]
    worth = stakes.worth[board.members]
    gain = np.array([float((expected_gain(distance, m) * worth).sum()) for m in moved])
    gain[list(board.taken)] = 0.0
    return gain


def _table(
    chosen: list[tuple[int, NDArray[np.float64], float]], ground: Ground, stakes: Stakes
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
            "stress_bar": stakes.figures.mean[[valve for valve, _, _ in rows]],
            "stress_se_bar": stakes.figures.se[[valve for valve, _, _ in rows]],
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
    for valve, spot in zip(places["valve"], places.geometry, strict=True):
        trees = named[named["valve"] == valve]
        away = trees.distance(spot).to_numpy()
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
