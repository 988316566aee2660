"""Decisions on simulated ranches: what watering a quarter of the area relieves, against the best choice."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import geopandas as gpd
import numpy as np
import shapely

from helpers import drawn_ranches
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.ordinary_kriging import OrdinarySurface
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.surface import Surface
from stressmap.zoning.grid_cells import lattice
from stressmap.zoning.mapping import RanchLayout
from stressmap.zoning.priorities import priority, probabilities
from stressmap.zoning.ranking import ZoneMeans
from stressmap.zoning.value_of_information import WateringDecision, area_threshold, look_again

SHARE = 0.25
EDGES = (0.0, 2.0, 4.0)
CELL_M = 25.0
MORE = 10


@dataclass(frozen=True)
class Decided:
    relief: dict[str, float]
    confidence: np.ndarray
    right: np.ndarray


def area_of(ranch: drawn_ranches.Ranch) -> np.ndarray:
    return np.bincount(ranch.zone) * CELL_M**2 / 10_000


def relieved(ranch: drawn_ranches.Ranch, order_by: np.ndarray) -> float:
    """Area times true stress of the valve zones that a quarter of the area reaches, the last one in part."""
    area, truth = area_of(ranch), np.maximum(ranch.zone_truth, 0.0)
    left, got = SHARE * area.sum(), 0.0
    for zone in np.argsort(-order_by, kind="stable"):
        part = min(area[zone], left)
        got += part * truth[zone]
        left -= part
    return got


def predict_zones(surface: Surface, ranch: drawn_ranches.Ranch):
    return surface.predict_zones(ranch.cells, ranch.zone, ranch.zones)


def block_averages(samples: Samples, ranch: drawn_ranches.Ranch) -> np.ndarray:
    mean = np.full(int(ranch.cells.block.max()) + 1, samples.value.mean())
    for block in np.unique(samples.places.block):
        mean[block] = samples.value[samples.places.block == block].mean()
    first = np.array([np.flatnonzero(ranch.zone == z)[0] for z in range(ranch.zones)])
    return mean[ranch.cells.block[first]]


def polygons(ranch: drawn_ranches.Ranch) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    half = CELL_M / 2
    x, y = ranch.cells.xy.T
    boxes = shapely.box(x - half, y - half, x + half, y + half)

    def outlines(code: np.ndarray) -> list:
        return [shapely.union_all(boxes[code == c]) for c in range(int(code.max()) + 1)]

    first = np.array([np.flatnonzero(ranch.zone == z)[0] for z in range(ranch.zones)])
    names = [f"B{b}" for b in range(int(ranch.cells.block.max()) + 1)]
    blocks = gpd.GeoDataFrame(
        {"block": names, "crop": "prune"}, geometry=outlines(ranch.cells.block), crs="EPSG:32610"
    )
    owner = [names[b] for b in ranch.cells.block[first]]
    valves = {"valve": [f"V{z}" for z in range(ranch.zones)], "block": owner}
    return blocks, gpd.GeoDataFrame(valves, geometry=outlines(ranch.zone), crs="EPSG:32610")


def with_more(ranch: drawn_ranches.Ranch, xy: np.ndarray, seed: int) -> Samples:
    """Take further readings, on new trees, at the cells nearest to some places."""
    rng = np.random.default_rng([seed, len(xy)])
    apart = np.hypot(*(ranch.cells.xy[:, None] - xy[None]).transpose(2, 0, 1))
    cell = apart.argmin(axis=0)
    noise = rng.normal(0, np.hypot(drawn_ranches.TREE_SD, drawn_ranches.ERROR_SD), len(xy))
    old, new = ranch.samples, ranch.cells.take(cell)
    tree = np.arange(len(xy)) + old.tree.max() + 1
    value = np.append(old.value, ranch.truth[cell] + noise)
    return Samples(
        old.places.followed_by(Places(xy, new.block, new.valve, new.crop)), value, np.append(old.tree, tree)
    )


def places_to_look(ranch: drawn_ranches.Ranch, surface: Surface, seed: int) -> dict[str, np.ndarray]:
    found, rng = predict_zones(surface, ranch), np.random.default_rng([seed, 7])
    blocks, valves = polygons(ranch)
    area = area_of(ranch)
    stakes = WateringDecision(
        ZoneMeans(found.mean, np.sqrt(found.variance)), area, area_threshold(found.mean, area, SHARE)
    )
    chosen = look_again(surface, RanchLayout(blocks, valves, lattice(blocks, CELL_M)), stakes, MORE)
    doubtful = surface.predict(ranch.cells).variance
    return {
        "ours": np.column_stack([chosen.geometry.x, chosen.geometry.y]),
        "random": ranch.cells.xy[rng.choice(len(ranch.cells), MORE, replace=False)],
        "most doubtful": ranch.cells.xy[spread_out(ranch.cells.xy, doubtful)],
    }


def spread_out(xy: np.ndarray, variance: np.ndarray) -> list[int]:
    """Pick the cells of largest variance, none within 100 m of one picked before."""
    picked: list[int] = []
    for cell in np.argsort(-variance, kind="stable"):
        if all(np.hypot(*(xy[cell] - xy[p])) > 100 for p in picked):
            picked.append(int(cell))
        if len(picked) == MORE:
            break
    return picked


@cache
def drawn(seed: int) -> drawn_ranches.Ranch:
    """Draw the ranch of a seed, once: that takes as long as to map it."""
    return drawn_ranches.draw_ranch(seed, most=8)


def decide(seed: int, *, again: bool = True) -> Decided:
    ranch = drawn(seed)
    surface = fit_surface(ranch.samples, method="structured")
    found = predict_zones(surface, ranch)
    one_crop = ranch.samples
    order = {
        "ours": found.mean,
        "ranch-wide PyKrige": predict_zones(OrdinarySurface(one_crop), ranch).mean,
        "block averages": block_averages(ranch.samples, ranch),
        "kriging with the true parameters": drawn_ranches.true_parameters(ranch)[0],
    }
    if again:
        for name, xy in places_to_look(ranch, surface, seed).items():
            more = fit_surface(with_more(ranch, xy, seed), method="structured")
            order[f"{MORE} more, {name}"] = predict_zones(more, ranch).mean
    best = relieved(ranch, ranch.zone_truth)
    se = np.sqrt(found.variance)
    level = priority(found.mean, EDGES)
    sure = probabilities(found.mean, se, EDGES)[np.arange(len(level)), level - 1]
    relief = {name: relieved(ranch, by) / best for name, by in order.items()}
    return Decided(relief, sure, level == priority(ranch.zone_truth, EDGES))


def table(decisions: list[Decided]) -> str:
    lines = [f"{len(decisions)} ranches; relief as a share of the best possible choice", ""]
    lines += ["| ranked by | mean | standard error |", "| --- | --- | --- |"]
    for name in decisions[0].relief:
        shares = np.array([d.relief[name] for d in decisions])
        error = shares.std(ddof=1) / np.sqrt(len(shares))
        lines.append(f"| {name} | {shares.mean():.3f} | {error:.3f} |")
    lines += ["", "| confidence | valve zones | in their priority |", "| --- | --- | --- |"]
    sure = np.concatenate([d.confidence for d in decisions])
    right = np.concatenate([d.right for d in decisions])
    for low in (0.4, 0.5, 0.6, 0.7, 0.8, 0.9):
        inside = (sure >= low) & (sure < low + 0.1 + 1e-9 * (low == 0.9))
        lines.append(f"| {low:.1f} to {low + 0.1:.1f} | {inside.sum()} | {right[inside].mean():.3f} |")
    return "\n".join(lines)
