"""Which ratios a unit explains, at their edges, and whom a reading is held against."""

from __future__ import annotations

import numpy as np
import pytest

from stressmap.quality.unit_suspect import unit_doubts


def found(bars: list[float], xy: np.ndarray | None = None, block: list[int] | None = None) -> list[int]:
    n = len(bars)
    xy = np.column_stack([np.arange(n) * 8.0, np.zeros(n)]) if xy is None else xy
    codes = np.zeros(n, dtype=np.int64) if block is None else np.array(block)
    return np.flatnonzero(unit_doubts(np.array(bars), xy, codes)[0]).tolist()


@pytest.mark.parametrize(
    ("ratio", "suspect"),
    [
        (4.9, False),
        (5.0, True),
        (10.0, True),
        (14.5, True),
        (25.0, True),
        (25.1, False),
        (59.9, False),
        (60.0, True),
        (100.0, True),
        (160.0, True),
        (160.1, False),
    ],
)
def test_a_reading_so_many_times_its_neighbours_is_in_another_unit(ratio: float, suspect: bool) -> None:  # noqa: FBT001
    """Tenfold (MPa, a lost decimal), 14.5 (psi), a hundredfold (kPa); the room around them is a judgement."""
    assert found([*[12.0] * 8, 12.0 * ratio]) == ([8] if suspect else [])


@pytest.mark.parametrize(("bar", "suspect"), [(6.9, True), (7.0, False), (7.5, False)])
def test_a_wet_trees_figure_is_not_doubted_from_seven_bar_on(bar: float, suspect: bool) -> None:  # noqa: FBT001
    assert found([*[65.0] * 8, bar]) == ([8] if suspect else [])


@pytest.mark.parametrize(("least", "suspect"), [(2.4, True), (2.5, False)])
def test_hardly_any_tree_shows_less_than_two_and_a_half_bar(least: float, suspect: bool) -> None:  # noqa: FBT001
    assert found([*[9.0] * 8, least]) == ([8] if suspect else [])


def test_a_dry_tree_of_a_usual_day_is_left_alone() -> None:
    assert found([*[20.0] * 8, 41.0]) == []


def test_a_day_in_kilopascals_or_megapascals_is_no_day_in_bar() -> None:
    assert found([1200.0, 1150.0, 900.0, 1400.0, 1000.0]) == [0, 1, 2, 3, 4]
    assert found([1.2, 1.15, 0.9, 1.4, 1.0]) == [0, 1, 2, 3, 4]


def test_three_readings_are_too_few_to_tell() -> None:
    assert found([12.0, 12.0, 120.0]) == []
    assert found([12.0, 12.0, 12.0, 120.0]) == [3]


def test_a_reading_is_held_against_its_own_block_first() -> None:
    """Four dry trees of the first block stand among twelve wet ones of the next."""
    rng = np.random.default_rng(2)
    bars = [40.0] * 4 + [5.0] * 12
    assert found(bars, rng.uniform(0, 50, (16, 2)), [0] * 4 + [1] * 12) == []


def test_readings_without_a_place_are_held_against_each_other() -> None:
    nowhere = np.full((9, 2), np.nan)
    assert found([*[12.0] * 8, 120.0], nowhere, [-1] * 9) == [8]
    nowhere[8] = nowhere[0] = 0.0
    assert found([*[12.0] * 8, 120.0], nowhere, [-1] * 9) == [8]


def test_readings_at_one_spot_are_held_against_each_other() -> None:
    assert found([*[12.0] * 12, 120.0], np.zeros((13, 2))) == [12]


@pytest.mark.parametrize(
    ("dry", "left_out"),
    [
        ([40.0], [8]),
        ([40.0, 42.0], []),
        ([40.0, 60.0], []),
        ([36.0, 54.5], [8, 9]),
        ([70.0, 70.0], []),
        ([71.0, 71.0], [8, 9]),
    ],
)
def test_two_dry_trees_that_agree_stay_and_one_alone_does_not(dry: list[float], left_out: list[int]) -> None:
    assert found([*[6.5] * 8, *dry]) == left_out


def test_dry_trees_agree_within_a_block_however_far_apart_and_not_across_blocks() -> None:
    bars = [40.0, *[6.5] * 20, 42.0]
    n = len(bars)
    xy = np.column_stack([np.arange(n) * 50.0, np.zeros(n)])
    assert found(bars, xy) == []
    assert unit_doubts(np.array(bars), xy, np.zeros(n, dtype=np.int64))[1].nonzero()[0].tolist() == [0, n - 1]
    assert found(bars, xy, [0] * 11 + [1] * 11) == [0, n - 1]


def test_dry_trees_without_a_block_agree_with_those_beside_them() -> None:
    bars = [*[6.5] * 8, 40.0, 42.0]
    xy = np.column_stack([np.arange(10) * 8.0, np.zeros(10)])
    assert found(bars, xy, [-1] * 10) == []
    assert not unit_doubts(np.array([40.0, 42.0]), xy[:2], np.zeros(2, dtype=np.int64))[1].any()
