"""Drawn ranches on which blocks and valve zones differ in nothing: one smooth surface, and trees."""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist

from helpers.drawn_ranches import ERROR_SD, LEVEL_BAR, TREE_SD, lay_out
from stressmap.geostat.covariance import GAUSSIAN, MATERN32, Correlation
from stressmap.geostat.samples import Places, Samples

SURFACE_SD = 1.6
KINDS: dict[str, tuple[Correlation, float]] = {
    "Matern 3/2, 200 m": (MATERN32, 200.0),
    "Matern 3/2, 500 m": (MATERN32, 500.0),
    "Gaussian, 500 m": (GAUSSIAN, 500.0),
}


def draw_smooth(
    seed: int, kind: str, blocks: int, cell_m: float = 40.0
) -> tuple[Places, np.ndarray, Samples]:
    """Draw cells, the truth of each zone, and readings of 2 to 10 trees a block, one in ten twice."""
    rng = np.random.default_rng([seed, 77])
    correlation, range_m = KINDS[kind]
    cells = lay_out(blocks, cell_m, rng)
    covariance = SURFACE_SD**2 * correlation(cdist(cells.xy, cells.xy), range_m)
    covariance[np.diag_indices(len(cells))] += 1e-6
    truth = LEVEL_BAR + np.linalg.cholesky(covariance) @ rng.normal(size=len(cells))
    of_block = [np.flatnonzero(cells.block == b) for b in range(blocks)]
    trees = np.concatenate([rng.choice(own, int(rng.integers(2, 11)), replace=False) for own in of_block])
    tree = np.concatenate([np.arange(len(trees)), np.flatnonzero(rng.random(len(trees)) < 0.1)])
    at = trees[tree]
    value = truth[at] + rng.normal(0, TREE_SD, len(trees))[tree] + rng.normal(0, ERROR_SD, len(tree))
    zone = np.bincount(cells.valve, weights=truth) / np.bincount(cells.valve)
    return cells, zone, Samples(cells.take(at), value, tree)


def krige_by_truth(cells: Places, samples: Samples, kind: str) -> np.ndarray:
    """Krige zone means with the covariance that the ranch was drawn from."""
    correlation, range_m = KINDS[kind]
    own = SURFACE_SD**2 * correlation(cdist(samples.places.xy, samples.places.xy), range_m)
    own += ERROR_SD**2 * np.eye(len(samples)) + TREE_SD**2 * (samples.tree[:, None] == samples.tree)
    factor = cho_factor(own)
    ones = cho_solve(factor, np.ones(len(samples)))
    level = ones @ samples.value / ones.sum()
    right = SURFACE_SD**2 * correlation(cdist(cells.xy, samples.places.xy), range_m)
    found = level + right @ cho_solve(factor, samples.value - level)
    return np.bincount(cells.valve, weights=found) / np.bincount(cells.valve)
