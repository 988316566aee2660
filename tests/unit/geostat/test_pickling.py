"""A fitted surface can be kept or sent: what is loaded answers as what was pickled, bit by bit."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from stressmap.geostat.covariance import CORRELATIONS
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.surface import Surface

READINGS, CELLS, ZONES = 120, 3000, 12
MOST_BYTES = 150_000
"""Bound on a pickled surface of a demonstration's size: the readings and the weighted sets of parameters."""


def places(count: int, seed: int) -> Places:
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 900, (count, 2))
    block = (xy[:, 0] // 300 + 3 * (xy[:, 1] // 300)).astype(np.int64)
    return Places(xy, block, 2 * block + (xy[:, 0] % 300 > 150), block % 2, xy[:, 0] / 100)


def readings(count: int = READINGS, *, leaves: int = 1) -> Samples:
    """Readings with a step from block to block; each tree is read as often as there are ``leaves``."""
    rng = np.random.default_rng(5)
    trees = places(count // leaves, 6)
    level = rng.normal(4, 1.5, 9)[trees.block] + 0.3 * trees.xy[:, 1] / 100
    tree = np.repeat(np.arange(len(trees)), leaves)
    return Samples(trees.take(tree), level[tree] + rng.normal(0, 0.8, len(tree)), tree)


CASES = {
    "structured": (readings(), "structured"),
    "structured in several systems": (readings(400), "structured"),
    "ordinary": (readings(), "ordinary"),
    "ordinary with repeat leaves": (readings(leaves=2), "ordinary"),
    "block average": (readings(4), "structured"),
}


def answers(surface: Surface) -> list[bytes]:
    cells = places(CELLS, 7)
    zone = np.arange(CELLS) % ZONES
    few = places(60, 8)
    return [
        *(getattr(surface.predict(cells), name).tobytes() for name in ("mean", "variance")),
        *(
            getattr(surface.predict_zones(cells, zone, ZONES), name).tobytes()
            for name in ("mean", "variance")
        ),
        *(figures.tobytes() for figures in (*surface.leave_one_out(), *surface.leave_block_out())),
        surface.zone_covariance(few, np.arange(60) % ZONES, ZONES).covariance.tobytes(),
    ]


@pytest.mark.parametrize(("samples", "method"), CASES.values(), ids=CASES)
@pytest.mark.parametrize("used", [False, True], ids=["fresh", "used"])
def test_a_pickled_surface_answers_the_same(samples: Samples, method: str, *, used: bool) -> None:
    surface = fit_surface(samples, method=method)
    before = answers(surface) if used else []
    pickled = pickle.dumps(surface)
    loaded = pickle.loads(pickled)
    assert answers(loaded) == (before or answers(surface))
    assert loaded.summary() == surface.summary()
    assert (loaded.method, loaded.notes) == (surface.method, surface.notes)
    assert len(pickled) < MOST_BYTES, f"{len(pickled)} bytes"


@pytest.mark.parametrize("name", CORRELATIONS)
def test_every_correlation_pickles(name: str) -> None:
    correlation = CORRELATIONS[name]
    loaded = pickle.loads(pickle.dumps(correlation))
    distance = np.linspace(0.0, 500.0, 11)
    assert loaded(distance, 120.0).tobytes() == correlation(distance, 120.0).tobytes()
