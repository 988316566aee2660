"""The surface of a whole ranch, block by block: cells, priority zones and valve-zone means in one pass."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from stressmap.field.surface import Estimate, Places, Surface
from stressmap.units import M2_PER_HA
from stressmap.zoning.cells import BlockCells, Lattice, block_cells
from stressmap.zoning.classes import Edges, priority, probability_over
from stressmap.zoning.polygons import Zone, block_zones
from stressmap.zoning.ranking import LABELS, Figures
from stressmap.zoning.samples import CovariateAt, crop_codes


@dataclass(frozen=True)
class Terms:
    """What decides the zones.

    Parameters
    ----------
    edges : dict
        Edges of each crop [bar].
    smallest_ha : float
        Least size of a priority zone [ha].
    covariate : callable, optional
        Gives a covariate at places.
    """

    edges: dict[str, Edges]
    smallest_ha: float
    covariate: CovariateAt | None = None


@dataclass(frozen=True)
class _Predicted:
    cells: BlockCells
    places: Places
    found: Estimate


@dataclass(frozen=True)
class Ground:
    """The ranch that a surface is laid over.

    Parameters
    ----------
    blocks, valves : GeoDataFrame
        In the working CRS.
    grid : Lattice
        The ranch's lattice.
    covariate : callable, optional
        Gives a covariate at places.
    """

    blocks: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    grid: Lattice
    covariate: CovariateAt | None = None


@dataclass(frozen=True)
class Mapped:
    """The surface and what was made of it.

    Parameters
    ----------
    row, col : array of int, shape (m,)
        Cells inside blocks, place in the lattice.
    stress_bar, stress_se_bar : array of float, shape (m,)
        [bar].
    zones : GeoDataFrame
        Priority zones in the working CRS, with the contract's columns.
    valves : Figures
        Means of the valve zones, in the order of the valves table.
    """

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    stress_bar: NDArray[np.float32]
    stress_se_bar: NDArray[np.float32]
    zones: gpd.GeoDataFrame
    valves: Figures


def map_blocks(
    surface: Surface,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    grid: Lattice,
    terms: Terms,
    *,
    step: Callable[[], None] = lambda: None,
) -> Mapped:
    """Predict every cell, trace the priority zones and average the valve zones.

    Parameters
    ----------
    surface : Surface
        A fitted method.
    blocks, valves : GeoDataFrame
        In the working CRS; each valve zone within its block.
    grid : Lattice
        The ranch's lattice.
    terms : Terms
        Edges and the least size of a zone.
    step : callable
        Called after each block, for a progress bar.

    Returns
    -------
    Mapped
    """
    rows, cols, surfaces, errors, zones = [], [], [], [], []

    def look(block: Any, cells: BlockCells, places: Places) -> None:
        found = surface.at(places)
        zones.extend(_zone_rows(surface, block, _Predicted(cells, places, found), grid, terms))
        kept = cells.inside
        rows.append(cells.row[kept])
        cols.append(cells.col[kept])
        surfaces.append(found.mean[kept].astype(np.float32))
        errors.append(np.sqrt(found.variance[kept]).astype(np.float32))
        step()

    ground = Ground(blocks, valves, grid, terms.covariate)
    figures = _averaged(surface, ground, look)
    return Mapped(
        row=np.concatenate(rows),
        col=np.concatenate(cols),
        stress_bar=np.concatenate(surfaces),
        stress_se_bar=np.concatenate(errors),
        zones=gpd.GeoDataFrame(pd.DataFrame(zones), geometry="geometry", crs=blocks.crs),
        valves=figures,
    )


def valve_figures(
    surface: Surface,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    grid: Lattice,
    *,
    covariate: CovariateAt | None = None,
) -> Figures:
    """Average the valve zones alone, without mapping the cells.

    Parameters
    ----------
    surface : Surface
        A fitted method.
    blocks, valves : GeoDataFrame
        In the working CRS; each valve zone within its block.
    grid : Lattice
        The ranch's lattice.
    covariate : callable, optional
        Gives a covariate at places.

    Returns
    -------
    Figures
        In the order of ``valves``.
    """
    return _averaged(surface, Ground(blocks, valves, grid, covariate), lambda *_: None)


def _averaged(surface: Surface, ground: Ground, look: Callable[[Any, BlockCells, Places], None]) -> Figures:
    """Average the valve zones block by block; ``look`` gets each block's row, cells and places."""
    blocks, valves = ground.blocks, ground.valves
    crops = crop_codes(blocks)
    owner = valves["block"].to_numpy()
    mean, se = np.full(len(valves), np.nan), np.full(len(valves), np.nan)
    each = zip(blocks.itertuples(), block_cells(blocks, valves, ground.grid), strict=True)
    for code, (block, cells) in enumerate(each):
        places = places_of(cells, code, crops[block.crop], ground.covariate)
        mine = np.flatnonzero(owner == block.block)
        means = _valve_means(surface, valves, mine, cells, places)
        mean[mine], se[mine] = means.mean, np.sqrt(means.variance)
        look(block, cells, places)
    return Figures(mean, se)


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
    surface: Surface, valves: gpd.GeoDataFrame, mine: NDArray[np.int64], cells: BlockCells, places: Places
) -> Estimate:
    """Average over the cells of each valve zone; a zone too small to hold a cell gets one at its heart."""
    local = np.full(len(valves) + 1, -1)
    local[mine] = np.arange(len(mine))
    zone = np.where(cells.inside, local[cells.valve], -1)
    bare = [k for k in range(len(mine)) if not (zone == k).any()]
    if bare:
        hearts = valves.geometry.iloc[mine[bare]].representative_point()
        xy = np.column_stack([hearts.x, hearts.y])
        nearest = shapely.STRtree(shapely.points(places.xy)).nearest(shapely.points(xy))
        extra = replace(places.take(nearest), xy=xy, valve=mine[bare].astype(np.int64))
        places = places.followed_by(extra)
        zone = np.concatenate([zone, bare])
    return surface.zone_means(places, zone.astype(np.int64), len(mine))


def _zone_rows(
    surface: Surface, block: Any, predicted: _Predicted, grid: Lattice, terms: Terms
) -> list[dict[str, Any]]:
    edges = terms.edges[block.crop]
    level = priority(predicted.found.mean, edges)
    zones = block_zones(block.geometry, predicted.cells, level, grid, terms.smallest_ha)
    member = np.full(len(predicted.places), -1)
    for number, zone in enumerate(zones):
        member[zone.cells] = number
    means = surface.zone_means(predicted.places, member, len(zones))
    return [
        _zone_row(block.block, zone, means.mean[i], means.variance[i], _trust(zone, predicted.found, edges))
        for i, zone in enumerate(zones)
    ]


def _trust(zone: Zone, found: Estimate, edges: Edges) -> float:
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
