"""Intervals that are true and errors that are small, on simulated ranches that the model did not draw.

A quick part of what ``tests/benchmarks/calibration.py`` measures on sixty; the bounds are as much wider as
six ranches (about 500 zones, 90 of them without a reading, not independent) are less certain.
"""

import numpy as np
import pytest
from helpers.drawn_ranches import Tally, draw_ranch, tally
from threadpoolctl import threadpool_limits


@pytest.fixture(scope="module")
def results() -> dict[str, Tally]:
    with threadpool_limits(1):
        return tally(range(100, 106), cell_m=30.0)


def test_intervals_of_zone_means_cover_what_they_say(results: dict[str, Tally]) -> None:
    assert 0.84 <= results["structured"].covered("inside_90") <= 0.96
    assert 0.40 <= results["structured"].covered("inside_50") <= 0.60
    assert 0.70 <= results["structured"].covered("inside_unmeasured") <= 0.98


def test_zone_means_are_better_than_the_plainer_methods(results: dict[str, Tally]) -> None:
    rmse = {name: one.rmse for name, one in results.items()}
    assert rmse["structured"] < 0.85 * rmse["ordinary"]
    assert rmse["structured"] < 0.90 * rmse["block averages"]
    assert rmse["structured"] < 1.08 * rmse["true parameters"]


def test_a_ranch_is_drawn_the_same_again() -> None:
    once, again = draw_ranch(7, blocks=6, cell_m=60.0), draw_ranch(7, blocks=6, cell_m=60.0)
    assert np.array_equal(once.samples.value, again.samples.value)
    counts = np.bincount(once.samples.places.block)
    assert len(counts) == 6
    assert counts.min() >= 2
