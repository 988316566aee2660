"""What no map can beat: gross errors judged with the truth about everything else.

The covariance that the ranch was drawn from, the share of gross errors and their law are known; only which
readings are wrong, and by how much, is not. Every reading's error is drawn from its law given all others, in
turns (Gibbs sampling), and the map averaged over the draws.
"""

from __future__ import annotations

import numpy as np

from helpers.drawn_ranches import (
    BLOCK_SD,
    ERROR_SD,
    SHORT_VALVE_BAR,
    SHORT_VALVE_SHARE,
    TREE_SD,
    VALVE_SD,
    Ranch,
    draw_ranch,
)
from helpers.spoiled_ranches import BLOCKS, CELL_M, LEAST_BAR, MOST_BAR, spoil
from stressmap.geostat.samples import Places, Samples

SIZES = np.arange(LEAST_BAR, MOST_BAR + 0.1, 0.5)
STATES = np.concatenate([[0.0], SIZES, -SIZES])
TURNS, WARM_UP = 300, 60


def zone_weights(ranch: Ranch, samples: Samples) -> tuple[np.ndarray, np.ndarray]:
    """Give the projection of the true covariance, and the weights of readings in zone means."""
    valve = VALVE_SD**2 + SHORT_VALVE_BAR**2 * SHORT_VALVE_SHARE * (1 - SHORT_VALVE_SHARE)

    def shared(a: Places, b: Places) -> np.ndarray:
        return (
            ranch.soil.covariance(a.xy, b.xy)
            + BLOCK_SD**2 * (a.block[:, None] == b.block)
            + valve * (a.valve[:, None] == b.valve)
        )

    n = len(samples)
    noise = ERROR_SD**2 * np.eye(n) + TREE_SD**2 * (samples.tree[:, None] == samples.tree)
    inverse = np.linalg.inv(shared(samples.places, samples.places) + noise)
    ones = inverse.sum(axis=1)
    projection = inverse - np.outer(ones, ones) / ones.sum()
    right = np.zeros((ranch.zones, n))
    np.add.at(right, ranch.zone, shared(ranch.cells, samples.places))
    right /= np.bincount(ranch.zone)[:, None]
    return projection, right @ projection + ones / ones.sum()


def mean_errors(projection: np.ndarray, value: np.ndarray, share: float, seed: int) -> np.ndarray:
    """Give the expected gross error of each reading, given all readings."""
    rng, n = np.random.default_rng([seed, 3]), len(value)
    prior = np.full(len(STATES), np.log(share / (len(STATES) - 1)))
    prior[0] = np.log1p(-share)
    error, total = np.zeros(n), np.zeros(n)
    alpha, diagonal = projection @ value, np.diag(projection)
    for turn in range(TURNS):
        for i in rng.permutation(n):
            residual = alpha[i] / diagonal[i] + error[i]
            log_chance = prior - 0.5 * (residual - STATES) ** 2 * diagonal[i]
            new = STATES[np.argmax(log_chance + rng.gumbel(size=len(STATES)))]
            alpha -= projection[:, i] * (new - error[i])
            error[i] = new
        total += error if turn >= WARM_UP else 0.0
    return total / (TURNS - WARM_UP)


def squares(readings: int, share: float, seed: int) -> tuple[float, float, float]:
    """Sum the zones' squared misses: all in full, errors judged, and the wrong ones known and left out."""
    ranch = draw_ranch(seed, blocks=BLOCKS[readings], cell_m=CELL_M)
    samples, bad = spoil(ranch.samples, share, seed)
    projection, weights = zone_weights(ranch, samples)
    judged = samples.value - mean_errors(projection, samples.value, share, seed)
    sound = zone_weights(ranch, samples.take(~bad))[1] @ samples.value[~bad]
    maps = weights @ samples.value, weights @ judged, sound
    return tuple(float(((one - ranch.zone_truth) ** 2).sum()) for one in maps)
