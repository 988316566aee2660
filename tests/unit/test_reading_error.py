"""What rechecks and repeats tell, against numbers worked by hand and against a stated truth."""

import math

import invented_ranch as ranch
import numpy as np
import pandas as pd
import pytest

from stressmap.quality.reading_error import align, estimate, sentences

BLOCKS = ranch.blocks()


def leaves(*groups: tuple[str, list[float], list[str | None]]) -> pd.DataFrame:
    """Readings of trees at one place: (tree, pressures, chambers)."""
    clean = ranch.readings(BLOCKS, per_block=1).iloc[0]
    rows = []
    for tree, pressures, chambers in groups:
        for leaf, (bar, chamber) in enumerate(zip(pressures, chambers, strict=True)):
            new = {"tree_id": tree, "pressure_bar": bar, "chamber": chamber, "leaf": str(leaf)}
            rows.append({**clean.to_dict(), **new, "row": len(rows) + 2, "recheck_bar": np.nan})
    return pd.DataFrame(rows)


def test_repeat_leaves_pool_to_the_hand_worked_figure() -> None:
    # within trees: (0.5^2 + 0.5^2) + (1^2 + 1^2) + (0 + 0 + 0) = 2.5 over 1 + 1 + 2 degrees of freedom
    none = [None, None]
    table = leaves(("T1", [12.0, 13.0], none), ("T2", [15.0, 17.0], none), ("T3", [9.0] * 3, [*none, None]))
    error = estimate(ranch.assess(table, BLOCKS))
    assert error.reading_error_bar == pytest.approx(math.sqrt(2.5 / 4))
    assert (error.source, error.repeats, error.trees) == ("repeat leaves", 4, 3)


def test_rechecks_alone_give_the_end_point() -> None:
    # differences 0.2, 0.4, 0, 0.2, 0.6: mean square 0.12, half of it is the variance of one
    table = ranch.readings(BLOCKS, per_block=2).assign(recheck_bar=np.nan).iloc[:6].reset_index(drop=True)
    table.loc[:4, "recheck_bar"] = table.loc[:4, "pressure_bar"] + [0.2, 0.4, 0.0, 0.2, 0.6]
    error = estimate(ranch.assess(table, BLOCKS))
    assert error.reading_error_bar == pytest.approx(math.sqrt(0.06))
    assert (error.source, error.rechecks) == ("rechecks", 5)


def test_nothing_to_learn_from_is_said_as_none() -> None:
    error = estimate(ranch.assess(ranch.readings(BLOCKS).assign(recheck_bar=np.nan), BLOCKS))
    assert (error.reading_error_bar, error.source, error.offsets) == (None, "none", ())
    assert sentences(error, aligned=False) == []


def test_the_offset_of_two_chambers_is_the_mean_of_paired_differences() -> None:
    # differences B - A: 1.0, 1.5, 0.5, 1.0; mean 1, standard error sd/sqrt(4) = 0.408248/2
    trees = [("T1", 10.0, 11.0), ("T2", 12.0, 13.5), ("T3", 14.0, 14.5), ("T4", 9.0, 10.0)]
    table = leaves(*[(t, [a, b], ["A", "B"]) for t, a, b in trees], ("T5", [11.0], ["A"]))
    assessed = ranch.assess(table, BLOCKS)
    offset = estimate(assessed).offsets[0]
    assert (offset.name, offset.reference, offset.trees) == ("B", "A", 4)
    assert offset.bar == pytest.approx(1.0)
    assert offset.se_bar == pytest.approx(0.40824829 / 2, abs=1e-8)
    aligned = align(assessed, estimate(assessed))
    assert aligned["swp_bar"].tolist() == pytest.approx([-10, -10, -12, -12.5, -14, -13.5, -9, -9, -11])
    assert aligned["pressure_bar"].equals(assessed["pressure_bar"])


def test_a_stated_truth_is_recovered() -> None:
    rng = np.random.default_rng(11)
    groups = []
    for tree in range(300):
        level = 14 + rng.normal(0, 1.0)
        pressures = (level + rng.normal(0, 0.6, 2) + [0.0, 0.8]).round(3).tolist()
        groups.append((f"T{tree}", pressures, ["A", "B"]))
    error = estimate(ranch.assess(leaves(*groups), BLOCKS))
    assert error.reading_error_bar == pytest.approx(0.6, abs=0.06)
    assert error.tree_sd_bar == pytest.approx(1.0, abs=0.12)
    assert error.offsets[0].bar == pytest.approx(0.8, abs=3 * error.offsets[0].se_bar)
    assert error.offsets[0].se_bar == pytest.approx(0.6 * math.sqrt(2 / 300), rel=0.1)


def test_the_offset_is_said_with_what_was_done() -> None:
    table = leaves(*[(f"T{i}", [10.0 + i, 11.2 + i + 0.1 * (i % 2)], ["A", "B"]) for i in range(4)])
    error = estimate(ranch.assess(table, BLOCKS))
    assert sentences(error, aligned=True)[-1] == (
        "Chamber 'B' reads 1.2 ± 0.0 bar above 'A' on 4 shared trees; taken out."
    )
