"""Memory of earlier visits helps, is honest about it, and does no harm where nothing lasts, on drawn seasons.

A quick part of what ``tests/benchmarks/seasons.py`` measures on forty; the bounds are as much wider as four
ranches (about 240 zones, not independent) are less certain.
"""

import numpy as np
import pytest
from helpers.drawn_seasons import SEASONS, Shown, draw_season, show
from threadpoolctl import threadpool_limits

RANCHES = 4


def drawn(name: str, *, log: bool = False) -> list[Shown]:
    with threadpool_limits(1):
        return [show(draw_season(100 + seed, SEASONS[name]), log=log)[0] for seed in range(RANCHES)]


def error(shown: list[Shown], name: str) -> float:
    return float(np.sqrt(np.mean(np.concatenate([one.miss[name] for one in shown]) ** 2)))


def covered(shown: list[Shown], name: str) -> float:
    return float(np.mean(np.concatenate([np.abs(one.miss[name]) < 1.645 * one.se[name] for one in shown])))


@pytest.fixture(scope="module")
def typical() -> list[Shown]:
    return drawn("typical")


def test_zone_means_are_better_with_memory_and_their_intervals_true(typical: list[Shown]) -> None:
    assert error(typical, "memory") < 0.95 * error(typical, "today")
    assert 0.83 <= covered(typical, "memory") <= 0.97
    assert max(one.ratio() for one in typical) < 1.2


def test_the_change_is_better_told_by_both_visits_together(typical: list[Shown]) -> None:
    assert error(typical, "change") < 0.9 * error(typical, "change apart")
    assert covered(typical, "change") >= 0.85


def test_the_log_helps_and_intervals_stay_true(typical: list[Shown]) -> None:
    logged = drawn("typical", log=True)
    assert error(logged, "memory") < 0.95 * error(typical, "memory")
    assert error(logged, "apart") < error(logged, "today")
    assert error(logged, "change") < error(typical, "change")
    assert 0.83 <= covered(logged, "memory") <= 0.97


def test_memory_of_what_does_not_last_does_no_harm() -> None:
    shown = drawn("nothing lasts, one earlier visit")
    assert error(shown, "memory") < 1.05 * error(shown, "today")
    assert max(one.ratio() for one in shown) < 1.2


def test_a_season_is_drawn_the_same_again() -> None:
    once, again = (draw_season(7, SEASONS["one earlier visit"]) for _ in range(2))
    assert np.array_equal(once.series.samples.value, again.series.samples.value)
    trees = [set(once.series.samples.tree[once.series.visit == v].tolist()) for v in range(2)]
    assert 0.4 <= len(trees[0] & trees[1]) / len(trees[1]) <= 0.6
