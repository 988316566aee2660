"""What rechecks and repeats tell, against numbers worked by hand and against a stated truth."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers import invented_ranch as ranch
from helpers.told import english

from stressmap.jobs.assess_visit import assess_readings, load_inputs
from stressmap.quality.reading_error import align, estimate, remarks

BLOCKS = ranch.blocks()
REPOSITORY = Path(__file__).parents[3]


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
    assert remarks(error, aligned=False) == ()


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


def test_the_spread_between_trees_is_what_reading_error_does_not_explain() -> None:
    """Worked by hand: leaves differ by 1 (error variance 0.5), tree means 12, 14, 16, 18 (variance 20/3).

    A mean of two leaves carries half the error variance, so the trees' own is 20/3 - 0.25.
    """
    none = [None, None]
    table = leaves(*[(f"T{i}", [11.5 + 2 * i, 12.5 + 2 * i], none) for i in range(4)])
    error = estimate(ranch.assess(table, BLOCKS))
    assert error.reading_error_bar == pytest.approx(math.sqrt(0.5))
    assert error.tree_sd_bar == pytest.approx(math.sqrt(20 / 3 - 0.25))


def test_trees_no_further_apart_than_their_leaves_have_no_spread_of_their_own() -> None:
    none = [None, None]
    table = leaves(*[(f"T{i}", [11.0, 13.0 + 0.1 * i], none) for i in range(5)])
    assert estimate(ranch.assess(table, BLOCKS)).tree_sd_bar == 0.0


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
    assert english(remarks(error, aligned=True))[-1] == (
        "Chamber 'B' reads 1.2 ± 0.0 bar above 'A' on 4 shared trees; taken out."
    )


def test_the_demo_ranch_gives_back_what_it_was_drawn_with() -> None:
    """Stated truth: ERROR_SD_BAR and CHAMBER_OFFSET_BAR of ``demo_gis/drawing/plans.py``, 0.35 and 0.4 bar.

    Many of its second leaves are read 90 minutes later, when the line has fallen by over a bar.
    """
    assessed = assess_readings(*load_inputs(REPOSITORY / "config" / "demo_ranch.toml").value, None).value
    error, (offset,) = assessed.error, assessed.error.offsets
    assert error.repeats == 50  # second and third leaves of `readings.csv`
    # standard error of a standard deviation of so many degrees of freedom, textbook
    assert abs(error.reading_error_bar - 0.35) < 2 * 0.35 / math.sqrt(2 * (error.repeats - 1))
    assert (offset.name, offset.reference) == ("A", "B")
    assert abs(offset.bar + 0.4) < 2 * offset.se_bar
    assert offset.se_bar < 0.15
    # what carrying adds: a fifth of the root mean square shift, the slope's own error
    shift = assessed.readings.loc[assessed.readings["used"], "weather_shift_bar"]
    carried = math.hypot(error.reading_error_bar, 0.2 * math.sqrt((shift**2).mean()))
    assert assessed.modelled_error_bar == pytest.approx(carried)

    truth = pd.read_csv(REPOSITORY / "demo_gis" / "truth_readings.csv")["swp_bar"].to_numpy()
    table = assessed.readings
    drawn = table["pressure_bar"] + truth - 0.4 * (table["chamber"] == "B")
    sound = table["used"] | table["flags"].map(lambda codes: set(codes) == {"outside_visit"})
    within = drawn[sound].groupby([table["tree"], table["time"].dt.date])
    errors = within.transform(lambda leaves: leaves - leaves.mean())[within.transform("size") > 1]
    assert error.reading_error_bar == pytest.approx(math.sqrt((errors**2).sum() / error.repeats), abs=0.03)


def test_drying_air_between_two_leaves_is_no_error_of_reading() -> None:
    # one tree after another at 13:00 and again at 14:30, when a fully watered tree has fallen by 1.1 bar
    rng = np.random.default_rng(5)
    pressures = [[12.0 + a, 13.1 + b] for a, b in rng.normal(0, 0.3, (200, 2))]
    table = leaves(*[(f"T{i}", pair, ["A", "B"]) for i, pair in enumerate(pressures)])
    table["time"] = pd.Timestamp("2026-07-14 13:00", tz=ranch.ZONE) + pd.to_timedelta(
        np.tile([0, 90], 200), unit="min"
    )
    assessed = ranch.assess(table, BLOCKS)
    used = len(assessed)
    line = np.where(assessed["chamber"] == "B", -9.1, -8.0)
    error = estimate(assessed, line)
    assert error.reading_error_bar == pytest.approx(0.3, abs=3 * 0.3 / math.sqrt(2 * 199))
    assert abs(error.offsets[0].bar) < 3 * error.offsets[0].se_bar
    blind = estimate(assessed)
    assert (blind.reading_error_bar, blind.source, blind.repeats, blind.offsets) == (None, "none", 0, ())
    half = np.where(np.arange(used) < used // 2, line, np.nan)
    assert estimate(assessed, half).repeats == 100


def test_without_weather_leaves_close_after_one_another_are_compared() -> None:
    # T1 and T2 within a quarter of an hour, T3 half an hour apart: (0.5^2 * 2 + 1^2 * 2 + 0.2^2 * 2) / 3
    none = [None, None]
    groups = [("T1", [12.0, 13.0], none), ("T2", [15.0, 17.0], none), ("T4", [9.0, 9.4], none)]
    table = leaves(*groups, ("T3", [9.0, 19.0], none))
    table["time"] = pd.Timestamp("2026-07-14 13:00", tz=ranch.ZONE) + pd.to_timedelta(
        [0, 14, 3, 10, 0, 0, 0, 30], unit="min"
    )
    error = estimate(ranch.assess(table, BLOCKS))
    assert error.reading_error_bar == pytest.approx(math.sqrt(2.58 / 3))
    assert (error.repeats, error.trees) == (3, 3)
