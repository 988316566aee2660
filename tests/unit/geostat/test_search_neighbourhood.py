"""Which readings are worked on together, on rows of readings whose neighbours can be counted by hand."""

from __future__ import annotations

import numpy as np
import pytest

from stressmap.geostat.search_neighbourhood import kriging_neighbourhood, likelihood_groups


def row_of(own: int, step_m: float = 10.0, others: int = 300) -> tuple[np.ndarray, np.ndarray]:
    """Readings along a line: the block's own at 0, -step, ...; others of many blocks at step, 2 step, ..."""
    east = np.concatenate([-step_m * np.arange(own), step_m * np.arange(1, others + 1)])
    block = np.concatenate([np.zeros(own, int), 1 + np.arange(others)])
    return np.column_stack([east, np.zeros(len(east))]), block


def chosen(own: int, reach_m: float, step_m: float = 10.0) -> np.ndarray:
    xy, block = row_of(own, step_m)
    return kriging_neighbourhood(xy, block, np.array([0]), np.zeros(2), reach_m=reach_m)


@pytest.mark.parametrize(("reach_m", "neighbours"), [(0.0, 0), (9.0, 0), (10.0, 1), (35.0, 3), (400.0, 40)])
def test_neighbours_come_in_up_to_the_reach_and_not_beyond(reach_m: float, neighbours: int) -> None:
    """One reading of its own at 0, others every ten metres: so many lie within the reach."""
    assert chosen(1, reach_m).tolist() == list(range(1 + neighbours))


def test_the_reach_counts_from_the_rim_of_the_blocks_own_readings() -> None:
    """Own readings from -80 to 0 m: the rim lies 40 m from their middle, at 0; 25 m on are two more."""
    assert chosen(9, 25.0).tolist() == list(range(9 + 2))


def test_a_system_is_filled_up_to_sixty_four_and_no_further() -> None:
    assert chosen(1, 1e9).tolist() == list(range(64))
    assert chosen(63, 1e9).tolist() == list(range(64))
    assert chosen(64, 1e9).tolist() == list(range(64))


def test_a_block_with_more_keeps_its_own_two_hundred_and_fifty_six_nearest() -> None:
    xy, block = row_of(400)
    index = kriging_neighbourhood(xy, block, np.array([0]), np.array([-2000.0, 0.0]), reach_m=1e9)
    assert len(index) == 256
    assert set(block[index]) == {0}
    assert np.abs(xy[index, 0] + 2000.0).max() == 1280.0


def test_a_small_ranch_is_one_system_whatever_the_reach() -> None:
    xy, block = row_of(1, others=255)
    assert len(kriging_neighbourhood(xy, block, np.array([0]), np.zeros(2), reach_m=0.0)) == 256
    xy, block = row_of(1, others=256)
    assert len(kriging_neighbourhood(xy, block, np.array([0]), np.zeros(2), reach_m=0.0)) == 1


def test_a_place_without_a_reading_of_its_own_looks_from_its_middle() -> None:
    xy, block = row_of(1)
    index = kriging_neighbourhood(xy, block, np.array([999]), np.array([1505.0, 0.0]), reach_m=16.0)
    assert xy[index, 0].tolist() == [1490.0, 1500.0, 1510.0, 1520.0]


@pytest.mark.parametrize("most", [10, 37, 256])
def test_parts_of_the_likelihood_hold_every_reading_once_and_whole_blocks(most: int) -> None:
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 1000, (300, 2))
    block = (xy[:, 0] // 200 + 5 * (xy[:, 1] // 200)).astype(int)
    parts = likelihood_groups(xy, block, most)
    assert sorted(np.concatenate(parts).tolist()) == list(range(300))
    assert max(map(len, parts)) <= most
    sizes = np.bincount(block)
    for part in parts:
        for code in np.unique(block[part]):
            assert (block[part] == code).sum() == sizes[code] or sizes[code] > most


def test_a_ranch_is_cut_across_its_longer_side() -> None:
    xy = np.column_stack([np.arange(8.0) % 2, 10.0 * (np.arange(8) // 2)])
    parts = likelihood_groups(xy, np.arange(8), 4)
    assert [sorted(p.tolist()) for p in parts] == [[0, 1, 2, 3], [4, 5, 6, 7]]
