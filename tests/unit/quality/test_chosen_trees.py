"""Trees picked because they look bad: what the settings say of it, and what the readings can show."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from helpers.told import english

from stressmap.core.settings import Reading
from stressmap.quality.chosen_trees import dry_side, question, remarks

BLOCKS, TREES = 8, 6
TREE = np.arange(BLOCKS * TREES)
BLOCK = TREE // TREES


def visits(read_again: np.ndarray, seed: int = 1) -> gpd.GeoDataFrame:
    """All trees on one day, some of them again five weeks later; blocks lie 2 bar apart on average."""
    rng = np.random.default_rng(seed)
    dry = rng.normal(0, 2, BLOCKS)[BLOCK] + rng.normal(0, 1, len(TREE))
    first, again = (pd.Timestamp(day, tz="UTC") for day in ("2026-06-01 14:00", "2026-07-06 14:00"))
    tree = np.concatenate([TREE, read_again])
    now = np.arange(len(tree)) >= len(TREE)
    return gpd.GeoDataFrame(
        {
            "tree": tree,
            "block": [f"B{b}" for b in BLOCK[tree]],
            "swp_bar": -12.0 - dry[tree] - rng.normal(0, 0.4, len(tree)),
            "time": np.where(now, again, first),
            "used": now,
            "flags": [() if n else ("outside_visit",) for n in now],
        },
        geometry=gpd.points_from_xy(tree, tree),
    )


def ranks() -> np.ndarray:
    """Give the place of every tree in its block at the first visit, 0 the driest."""
    first = visits(TREE[:0])
    return first.groupby("block")["swp_bar"].rank().to_numpy().astype(int) - 1


def test_the_dry_trees_of_every_block_read_again_are_told() -> None:
    trees, drier_bar = dry_side(visits(TREE[ranks() < 2]), ()) or (0, 0.0)
    assert trees == 2 * BLOCKS
    # of six normal figures the two largest lie 1.27 and 0.64 standard deviations above the mean: expected
    # normal order statistics, "Biometrika Tables for Statisticians", volume 1, table 9 (from memory)
    assert drier_bar == pytest.approx((1.27 + 0.64) / 2 * np.hypot(1.0, 0.4), abs=0.35)
    (told,) = english(remarks(visits(TREE[ranks() < 2]), Reading()))
    assert told.startswith("The 16 trees read again are the dry ones of their blocks")


@pytest.mark.parametrize("seed", range(5))
def test_trees_drawn_by_lot_pass(seed: int) -> None:
    lot = np.random.default_rng(seed).permuted(TREE.reshape(BLOCKS, TREES), axis=1)[:, :2].ravel()
    assert dry_side(visits(lot), ()) is None


def test_the_wet_ones_all_of_them_and_a_few_pass() -> None:
    assert dry_side(visits(TREE[ranks() > 3]), ()) is None
    assert dry_side(visits(TREE), ()) is None
    assert dry_side(visits(TREE[ranks() < 1][:5]), ()) is None


def test_dry_blocks_alone_pass() -> None:
    """A plan may well go to dry blocks again; what counts is the choice within them."""
    first = visits(TREE[:0])
    dry = first.groupby("block")["swp_bar"].transform("mean").rank(method="dense").to_numpy() <= BLOCKS / 2
    assert dry_side(visits(TREE[dry]), ()) is None


def test_what_the_settings_say_comes_first_and_is_asked_for_once() -> None:
    by_eye = Reading(chosen="by eye")
    (told,) = english(remarks(visits(TREE[ranks() < 2]), by_eye))
    assert told.startswith("The trees were chosen by eye")
    assert question(by_eye) == question(Reading(chosen="by plan")) == ()
    (asked,) = english(question(Reading()))
    assert 'chosen = "by plan" or "by eye"' in asked
