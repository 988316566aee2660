"""Mapping of a ranch, block by block: cells, priority zones and valve-zone means in one pass."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from stressmap.core.parallel import each
from stressmap.core.units import M2_PER_HA
from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.surface import Surface, ZonePredictor
from stressmap.zoning.grid_cells import BlockCells, Lattice, cells_within
from stressmap.zoning.priorities import Edges, priority, probability_over
from stressmap.zoning.priority_zones import Zone, block_zones
from stressmap.zoning.ranking import LABELS, ZoneMeans
from stressmap.zoning.reading_arrays import CovariateAt, crop_codes


@dataclass(frozen=True)
class RanchLayout:
    """Blocks, valve zones and grid of a ranch.

    Parameters
    ----------
    blocks, valves : GeoDataFrame
        In the working CRS; each valve zone within its block.
    grid : Lattice
        The ranch's lattice.
    covariate : callable, optional
        Gives a covariate at places.
    """

    blocks: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    grid: Lattice
    covariate: CovariateAt | None = None

    def cells(self, block: int) -> tuple[BlockCells, Places]:
        """Give the cells of one block, by its position, and as places."""
        crop = crop_codes(self.blocks)[self.blocks["crop"].iloc[block]]
        zones = [(self._outlines[i], int(i) + 1) for i in self.valves_of(block)]
        cells = cells_within(self.blocks.geometry.iloc[block], zones, self.grid)
        return cells, places_of(cells, block, crop, self.covariate)

    def valves_of(self, block: int) -> NDArray[np.int64]:
        """Give the positions of the valve zones of one block."""
        return self._valves_by_block[block]

    @cached_property
    def _outlines(self) -> NDArray[np.object_]:
        return np.asarray(self.valves.geometry.to_numpy())

    @cached_property
    def _valves_by_block(self) -> list[NDArray[np.int64]]:
        of_block = self.valves.groupby("block").indices
        return [of_block.get(name, np.zeros(0, dtype=np.int64)) for name in self.blocks["block"]]


@dataclass(frozen=True)
class MappingTerms:
    """Priority edges and the least zone size.

    Parameters
    ----------
    edges : dict
        Edges of each crop [bar].
    smallest_ha : float
        Least size of a priority zone [ha].
    """

    edges: dict[str, Edges]
    smallest_ha: float


@dataclass(frozen=True)
class _Predicted:
    block: int
    cells: BlockCells
    places: Places
    found: Estimate


@dataclass(frozen=True)
class Mapped:
    """The mapped surface, its priority zones and valve-zone means.

    Parameters
    ----------
    row, col : array of int, shape (m,)
        Cells inside blocks, place in the lattice.
    stress_bar, stress_se_bar : array of float, shape (m,)
        [bar].
    zones : GeoDataFrame
        Priority zones in the working CRS, as :data:`stressmap.core.schemas.PRIORITY_ZONES`.
    valves : ZoneMeans
        Means of the valve zones, in the order of the valves table.
    earlier : ZoneMeans or None
        The same at the visit before.
    """

    row: NDArray[np.int32]
    col: NDArray[np.int32]
    stress_bar: NDArray[np.float32]
    stress_se_bar: NDArray[np.float32]
    zones: gpd.GeoDataFrame
    valves: ZoneMeans
    earlier: ZoneMeans | None = None


@dataclass(frozen=True)
class BlockMap:
    """What :class:`Mapped` holds, of one block; zones and figures of its valve zones one by one."""

    row: NDArray[np.int32]
    col: NDArray[np.int32]
    stress_bar: NDArray[np.float32]
    stress_se_bar: NDArray[np.float32]
    zones: list[dict[str, Any]]
    means: list[Estimate]


@dataclass(frozen=True)
class BlockMapping:
    """All that mapping a block takes: called with the position of one. It pickles, so that it can travel.

    Parameters
    ----------
    now : Surface
        The fitted method.
    asked : tuple of Surface
        Methods of which valve zones are averaged, that one first.
    ground : RanchLayout
        The ranch.
    terms : MappingTerms
        Edges and the least size of a zone.
    """

    now: Surface
    asked: tuple[ZonePredictor, ...]
    ground: RanchLayout
    terms: MappingTerms

    def __call__(self, block: int) -> BlockMap:
        """Map one block."""
        return _map_block(self.now, self.asked, self.ground, self.terms, block)


Spread = Callable[[BlockMapping, int, Callable[[], None]], list[BlockMap]]
"""Does a mapping for so many blocks, wherever; tells of each; gives them in order."""


def threads(jobs: int) -> Spread:
    """Give what maps blocks on threads of this process.

    Parameters
    ----------
    jobs : int
        Blocks worked on at once; the result does not depend on it.

    Returns
    -------
    callable
    """

    def spread(work: BlockMapping, count: int, step: Callable[[], None]) -> list[BlockMap]:
        return each(work, range(count), jobs=jobs, step=step)

    return spread


def map_blocks(
    surfaces: tuple[Surface, ZonePredictor | None],
    ground: RanchLayout,
    terms: MappingTerms,
    *,
    spread: Spread | None = None,
    step: Callable[[], None] = lambda: None,
) -> Mapped:
    """Predict every cell, trace the priority zones and average the valve zones, block by block.

    Parameters
    ----------
    surfaces : tuple of Surface
        A fitted method, and that of the visit before or of the change since, of which only valve zones are
        averaged; or None.
    ground : RanchLayout
        The ranch.
    terms : MappingTerms
        Edges and the least size of a zone.
    spread : callable, optional
        Where blocks are worked on, by default here; the result does not depend on it.
    step : callable
        Called after each block, for a progress bar.

    Returns
    -------
    Mapped
    """
    now, earlier = surfaces
    asked: tuple[ZonePredictor, ...] = (now,) if earlier is None else (now, earlier)
    found = (spread or threads(1))(BlockMapping(now, asked, ground, terms), len(ground.blocks), step)
    figures = [_gathered(ground, [part.means[i] for part in found]) for i in range(len(asked))]
    zones = pd.DataFrame([row for part in found for row in part.zones])
    return Mapped(
        row=np.concatenate([part.row for part in found]),
        col=np.concatenate([part.col for part in found]),
        stress_bar=np.concatenate([part.stress_bar for part in found]),
        stress_se_bar=np.concatenate([part.stress_se_bar for part in found]),
        zones=gpd.GeoDataFrame(zones, geometry="geometry", crs=ground.blocks.crs),
        valves=figures[0],
        earlier=None if earlier is None else figures[1],
    )


def _map_block(
    now: Surface, asked: tuple[ZonePredictor, ...], ground: RanchLayout, terms: MappingTerms, block: int
) -> BlockMap:
    cells, places = ground.cells(block)
    found = now.predict(places)
    kept = cells.inside
    return BlockMap(
        row=cells.row[kept].astype(np.int32),
        col=cells.col[kept].astype(np.int32),
        stress_bar=found.mean[kept].astype(np.float32),
        stress_se_bar=np.sqrt(found.variance[kept]).astype(np.float32),
        zones=_zone_rows(now, ground, _Predicted(block, cells, places, found), terms),
        means=_valve_means(asked, ground, block, cells, places),
    )


def valve_means(surface: ZonePredictor, ground: RanchLayout, *, jobs: int = 1) -> ZoneMeans:
    """Average the valve zones alone, without mapping the cells.

    Parameters
    ----------
    surface : Surface
        A fitted method.
    ground : RanchLayout
        The ranch.
    jobs : int
        Blocks worked on at once.

    Returns
    -------
    ZoneMeans
        In the order of the valves.
    """

    def work(block: int) -> Estimate:
        return _valve_means((surface,), ground, block, *ground.cells(block))[0]

    return _gathered(ground, each(work, range(len(ground.blocks)), jobs=jobs))


def _gathered(ground: RanchLayout, means: list[Estimate]) -> ZoneMeans:
    mean, se = np.full(len(ground.valves), np.nan), np.full(len(ground.valves), np.nan)
    for block, own in enumerate(means):
        mine = ground.valves_of(block)
        mean[mine], se[mine] = own.mean, np.sqrt(own.variance)
    return ZoneMeans(mean, se)


def places_of(cells: BlockCells, block: int, crop: int, covariate: CovariateAt | None) -> Places:
    """Take the cells of a block as places.

    Parameters
    ----------
    cells : BlockCells
        m of them.
    block, crop : int
        Codes.
    covariate : callable or None
        Gives a covariate at places.

    Returns
    -------
    Places
        m of them.
    """
    count = len(cells.xy)
    return Places(
        xy=cells.xy,
        block=np.full(count, block, dtype=np.int64),
        valve=cells.valve,
        crop=np.full(count, crop, dtype=np.int64),
        covariate=None if covariate is None else covariate(cells.xy),
    )


def _valve_means(
    asked: tuple[ZonePredictor, ...], ground: RanchLayout, block: int, cells: BlockCells, places: Places
) -> list[Estimate]:
    """Average over the cells of each valve zone."""
    places, zone = zone_cells(ground, block, cells, places)
    return [one.predict_zones(places, zone, len(ground.valves_of(block))) for one in asked]


def zone_cells(
    ground: RanchLayout, block: int, cells: BlockCells, places: Places
) -> tuple[Places, NDArray[np.int64]]:
    """Tell in which valve zone of a block each of its cells is; a zone too small for a cell gets one.

    Parameters
    ----------
    ground : RanchLayout
        The ranch.
    block : int
        Position of the block.
    cells, places : BlockCells, Places
        Its cells.

    Returns
    -------
    tuple of (Places, array of int)
        The places, one more at the inner point of each zone without a cell; the zone of each, counted within
        the block, -1 for none.
    """
    mine = ground.valves_of(block)
    local = np.full(len(ground.valves) + 1, -1)
    local[mine] = np.arange(len(mine))
    zone = np.where(cells.inside, local[cells.valve], -1)
    bare = np.setdiff1d(np.arange(len(mine)), zone)
    if len(bare):
        inner_points = ground.valves.geometry.iloc[mine[bare]].representative_point()
        xy = np.column_stack([inner_points.x, inner_points.y])
        nearest = shapely.STRtree(shapely.points(places.xy)).nearest(shapely.points(xy))
        extra = replace(places.take(nearest), xy=xy, valve=mine[bare].astype(np.int64))
        places = places.followed_by(extra)
        zone = np.concatenate([zone, bare])
    return places, zone.astype(np.int64)


def _zone_rows(
    surface: Surface, ground: RanchLayout, predicted: _Predicted, terms: MappingTerms
) -> list[dict[str, Any]]:
    block = ground.blocks.iloc[predicted.block]
    edges = terms.edges[block["crop"]]
    level = priority(predicted.found.mean, edges)
    zones = block_zones(block.geometry, predicted.cells, level, ground.grid, terms.smallest_ha)
    member = np.full(len(predicted.places), -1)
    for number, zone in enumerate(zones):
        member[zone.cells] = number
    means = surface.predict_zones(predicted.places, member, len(zones))
    return [
        _zone_row(
            block["block"],
            zone,
            means.mean[i],
            means.variance[i],
            _class_probability(zone, predicted.found, edges),
        )
        for i, zone in enumerate(zones)
    ]


def _class_probability(zone: Zone, found: Estimate, edges: Edges) -> float:
    """Give the mean probability that the zone's cells are in its class or drier."""
    if zone.priority == 4:
        return 1.0
    mean, se = found.mean[zone.cells], np.sqrt(found.variance[zone.cells])
    return float(probability_over(mean, se, edges[3 - zone.priority]).mean())


def _zone_row(block: str, zone: Zone, mean: float, variance: float, confidence: float) -> dict[str, Any]:
    return {
        "block": block,
        "priority": zone.priority,
        "label_en": LABELS[zone.priority][0],
        "label_es": LABELS[zone.priority][1],
        "area_ha": zone.outline.area / M2_PER_HA,
        "stress_bar": float(mean),
        "stress_se_bar": float(np.sqrt(variance)),
        "confidence": confidence,
        "geometry": zone.outline,
    }
