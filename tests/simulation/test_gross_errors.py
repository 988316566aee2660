"""Gross errors on simulated ranches: a few of what ``tests/benchmarks/gross_errors.py`` measures on many.

The maps are of the same ranches, so that their differences are far surer than their errors; the bounds are
as much wider as few ranches are less certain.
"""

import pytest
from helpers.spoiled_ranches import METHODS, Outcome, outcomes, rmse
from threadpoolctl import threadpool_limits

PLAIN, OURS, KNOWN = METHODS


def drawn(readings: int, share: float, count: int) -> dict[str, list[Outcome]]:
    with threadpool_limits(1):
        found = [outcomes(readings, share, seed) for seed in range(1000, 1000 + count)]
    return {name: [one[name] for one in found] for name in METHODS}


def covered(found: list[Outcome]) -> float:
    return sum(one.inside for one in found) / sum(one.zones for one in found)


@pytest.mark.parametrize(("readings", "count"), [(44, 4), (110, 4)])
def test_gross_errors_harm_the_map_less_than_when_all_is_believed(readings: int, count: int) -> None:
    found = drawn(readings, 0.10, count)
    assert rmse(found[OURS]) < rmse(found[PLAIN])
    assert rmse(found[KNOWN]) < rmse(found[OURS])
    assert 0.82 <= covered(found[OURS]) <= 0.98


def test_sound_readings_lose_next_to_nothing_by_being_doubted() -> None:
    found = drawn(44, 0.0, 4)
    assert rmse(found[OURS]) < 1.03 * rmse(found[PLAIN])
    assert abs(covered(found[OURS]) - covered(found[PLAIN])) < 0.03
