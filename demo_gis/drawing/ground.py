"""Land: valve zones cut out of the outlines, the planting grid, and the soil under it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Polygon, box

from drawing.plans import SAND_BAR, SOILS, Block, Part, Ranch

Floats = NDArray[np.float64]
FAR = 1e5
INNER_M = 14.0
"""Crews keep this far from the edge of a valve zone: outer rows are not like the rest [m]."""


@dataclass(frozen=True)
class Frame:
    """Turns the ranch's own metres into longitude and latitude."""

    ranch: Ranch

    def lonlat(self, uv: Floats) -> Floats:
        """Give degrees for points (n, 2) of the frame, to the 1e-7 degree that files hold."""
        turn = math.radians(self.ranch.turn_deg)
        east = self.ranch.origin[0] + uv[:, 0] * math.cos(turn) - uv[:, 1] * math.sin(turn)
        north = self.ranch.origin[1] + uv[:, 0] * math.sin(turn) + uv[:, 1] * math.cos(turn)
        to_degrees = pyproj.Transformer.from_crs(self.ranch.epsg, 4326, always_xy=True)
        return np.round(np.column_stack(to_degrees.transform(east, north)), 7)


def stream(ranch: Ranch, purpose: int) -> np.random.Generator:
    """Give each purpose its own random numbers, so that a change to one leaves the others alone."""
    return np.random.default_rng([ranch.seed, purpose])


def _split(shape: Polygon, shares: list[float], axis: int) -> list[Polygon]:
    """Cut a polygon across an axis into pieces of the given shares of its area."""
    low, high = shape.bounds[axis], shape.bounds[axis + 2]
    edges = [-FAR]
    for share in np.cumsum(shares)[:-1] / sum(shares):
        a, b = low, high
        for _ in range(40):
            middle = (a + b) / 2
            a, b = (middle, b) if _below(shape, middle, axis).area < share * shape.area else (a, middle)
        edges.append(round(a, 1))
    edges.append(FAR)
    bands = [
        box(w, -FAR, e, FAR) if axis == 0 else box(-FAR, w, FAR, e) for w, e in itertools.pairwise(edges)
    ]
    # A cut along an edge of the outline leaves that edge behind as a bare line: only the area counts.
    return [max(shapely.get_parts(shape.intersection(band)), key=shapely.area) for band in bands]


def _below(shape: Polygon, edge: float, axis: int) -> Polygon:
    return shape.intersection(box(-FAR, -FAR, edge, FAR) if axis == 0 else box(-FAR, -FAR, FAR, edge))


def _zones_of(part: Part, rng: np.random.Generator) -> list[Polygon]:
    """Cut one part into its valve zones, tier by tier; no two exactly alike."""
    shape = Polygon(part.outline, [part.hole] if part.hole else [])
    tiers = _split(shape, [float(n) for n in part.tiers], 1)
    return [
        zone
        for tier, count in zip(tiers, part.tiers, strict=True)
        for zone in _split(tier, list(rng.uniform(0.88, 1.12, count)), 0)
    ]


def valve_zones(ranch: Ranch) -> pd.DataFrame:
    """Cut every block; neighbours share every corner, so that zones tile their block exactly."""
    rng = stream(ranch, 1)
    rows = []
    for block in ranch.blocks:
        cut = [zone for part in block.parts for zone in _zones_of(part, rng)]
        rows += [
            {"valve": f"{block.code}{i}", "block": block.name, "shape": zone}
            for i, zone in enumerate(_share_corners(cut), start=1)
        ]
    return pd.DataFrame(rows)


def _share_corners(zones: list[Polygon]) -> list[Polygon]:
    """Put a corner of one zone into the edge of its neighbour too."""
    edges = shapely.union_all([zone.boundary for zone in zones], grid_size=0.001)
    faces = shapely.get_parts(shapely.polygonize([edges]))
    inside = [zone.buffer(-1.0) for zone in zones]
    return [next(f for f in faces if f.contains(core.representative_point())) for core in inside]


def to_degrees(shape: Polygon | MultiPolygon, frame: Frame) -> Polygon | MultiPolygon:
    """Put a shape into degrees, outer rings counter-clockwise, starting at its lowest corner."""
    moved = shapely.transform(shape, frame.lonlat)
    return shapely.orient_polygons(shapely.normalize(moved))


def block_shapes(zones: pd.DataFrame, frame: Frame) -> dict[str, Polygon | MultiPolygon]:
    """Join each block out of its valve zones as the files hold them."""
    merged = {}
    for name, rows in zones.groupby("block", sort=False):
        degrees = [to_degrees(shape, frame) for shape in rows["shape"]]
        merged[str(name)] = shapely.orient_polygons(shapely.normalize(shapely.coverage_union_all(degrees)))
    return merged


def planting(ranch: Ranch, zones: pd.DataFrame) -> pd.DataFrame:
    """Plant every block on its grid: tree id, place in the frame, block and valve zone."""
    planted = [_plant(block, ranch, zones[zones["block"] == block.name]) for block in ranch.blocks]
    return pd.concat(planted, ignore_index=True)


def _plant(block: Block, ranch: Ranch, zones: pd.DataFrame) -> pd.DataFrame:
    crop = ranch.crops[block.crop]
    west, south, east, north = shapely.total_bounds(zones["shape"].to_numpy())
    rows = np.arange(west + crop.row_m / 2, east, crop.row_m)
    steps = np.arange(south + crop.tree_m / 2, north, crop.tree_m)
    row, step = (grid.ravel() for grid in np.meshgrid(np.arange(rows.size), np.arange(steps.size)))
    u, v = rows[row], steps[step]
    field = shapely.union_all(zones["shape"].to_numpy()).buffer(-2.0)
    valve = np.full(u.size, "", dtype=object)
    for name, shape in zip(zones["valve"], zones["shape"], strict=True):
        valve[shapely.contains_xy(shape, u, v)] = name
    trees = pd.DataFrame({"u": u, "v": v, "block": block.name, "valve": valve})
    trees["inner"] = False
    for shape in zones["shape"]:
        trees["inner"] |= shapely.contains_xy(shape.buffer(-INNER_M), u, v)
    trees["tree_id"] = [f"{block.code}-{r + 1:02d}-{t + 1:02d}" for r, t in zip(row, step, strict=True)]
    return trees[shapely.contains_xy(field, u, v) & (trees["valve"] != "")].reset_index(drop=True)


def soil_pattern(ranch: Ranch, trees: pd.DataFrame) -> Floats:
    """Drier (positive) and wetter ground at full season [bar]: two smooth scales and an old sandy channel."""
    rng = stream(ranch, 2)
    uv = trees[["u", "v"]].to_numpy()
    total = np.zeros(len(uv))
    for length_m, sd_bar in SOILS:
        waves = rng.normal(0.0, 1.0 / length_m, (80, 2))
        phase = rng.uniform(0.0, 2 * math.pi, 80)
        total += sd_bar * math.sqrt(2 / 80) * np.cos(uv @ waves.T + phase).sum(axis=1)
    channel = LineString(ranch.sand).segmentize(20.0)
    away = shapely.distance(shapely.points(uv), channel)
    return total + SAND_BAR * np.exp(-((away / 32.0) ** 2))
