"""Law: on simulated ranches every planted fault is found, and clean readings are left alone.

The truth is our own simulation: blocks with their own level (8 to 20 bar), valve steps, tree-to-tree spread
and reading error; the codes of docs/contract.md are the expected answer.
"""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from helpers import invented_ranch as ranch

from stressmap.quality.checks import CHECKS

SEEDS = range(12)
BLOCKS = ranch.blocks(24)
LEFT_OUT = {code for code, check in CHECKS.items() if check.action == "leave out"}


def simulated(seed: int) -> pd.DataFrame:
    """A visit of 24 blocks and 6 trees each, some with a second leaf, times up to the window's edges."""
    rng = np.random.default_rng(seed)
    table = ranch.readings(BLOCKS, per_block=6, seed=seed)
    step = {f"B{i + 1}": rng.normal(0, 1.5, 2) for i in range(24)}
    tree = table["tree_id"].str.split("-T")
    table["pressure_bar"] += [step[b][int(t) % 2] for b, t in tree]
    table["pressure_bar"] = table["pressure_bar"].clip(4.0, 40.0).round(1)
    table["recheck_bar"] = (table["pressure_bar"] + rng.uniform(0, 0.7, len(table)).round(1)).where(
        rng.random(len(table)) < 0.5
    )
    repeats = table.sample(12, random_state=seed).copy()
    repeats["pressure_bar"] = (repeats["pressure_bar"] + rng.normal(0, 0.6, 12) + 0.05).round(1)
    repeats["time"] += pd.Timedelta(minutes=2)
    repeats = repeats[repeats["time"].dt.hour * 60 + repeats["time"].dt.minute <= 15 * 60]
    repeats["recheck_bar"] = np.nan
    whole = pd.concat([table, repeats], ignore_index=True)
    whole["row"] = range(2, len(whole) + 2)
    return whole


def shifted(hours: float) -> Callable[[pd.DataFrame, int, np.random.Generator], None]:
    def plant(table: pd.DataFrame, i: int, _rng: np.random.Generator) -> None:
        midday = table.loc[i, "time"].normalize() + pd.Timedelta(hours=14)
        table.loc[i, "time"] = midday + pd.Timedelta(hours=hours)

    return plant


def swapped(table: pd.DataFrame, i: int, _rng: np.random.Generator) -> None:
    table.loc[i, ["lon", "lat"]] = table.loc[i, ["lat", "lon"]].tolist()


def far_away(table: pd.DataFrame, i: int, rng: np.random.Generator) -> None:
    table.loc[i, "lon"] += rng.choice([-1, 1]) * rng.uniform(0.05, 3)


def far_recheck(table: pd.DataFrame, i: int, rng: np.random.Generator) -> None:
    table.loc[i, "recheck_bar"] = table.loc[i, "pressure_bar"] + rng.choice([-1, 1]) * rng.uniform(1.1, 4)


def cell(column: str, of: Callable[[float, np.random.Generator], float]) -> Callable:
    def plant(table: pd.DataFrame, i: int, rng: np.random.Generator) -> None:
        table.loc[i, column] = of(table.loc[i, column], rng)

    return plant


FAULTS: dict[str, tuple[str, Callable]] = {
    "early hour": ("outside_window", shifted(-4.5)),
    "late hour": ("outside_window", shifted(2.2)),
    "MPa among bars": ("unit_suspect", cell("pressure_bar", lambda v, _: round(v / 10, 2))),
    "swapped coordinates": ("lonlat_swapped", swapped),
    "short bag": ("short_bag", cell("bag_minutes", lambda _, rng: float(rng.integers(0, 10)))),
    "far recheck": ("recheck_apart", far_recheck),
    "far away": ("outside_blocks", far_away),
    "missing value": ("no_value", cell("pressure_bar", lambda *_: np.nan)),
    "missing time": ("no_time", cell("time", lambda *_: pd.NaT)),
    "missing place": ("no_place", cell("lat", lambda *_: np.nan)),
    "negative sign": ("sign_read_as_potential", cell("pressure_bar", lambda v, _: -v)),
    "impossible": ("impossible_value", cell("pressure_bar", lambda *_: 0.0)),
    "another day": ("outside_visit", cell("time", lambda t, _: t - pd.Timedelta(days=20))),
}


@pytest.fixture(scope="module")
def runs() -> list[tuple[pd.DataFrame, dict[int, str]]]:
    """Assessed tables, and what was planted where: two of each fault, then two duplicates."""
    done = []
    for seed in SEEDS:
        rng = np.random.default_rng(1000 + seed)
        table = simulated(seed)
        table.loc[:, "recheck_bar"] = table["recheck_bar"].astype(float)
        where = rng.choice(len(table), 2 * len(FAULTS) + 2, replace=False)
        planted = {}
        for i, kind in zip(where, [k for k in FAULTS for _ in range(2)], strict=False):
            FAULTS[kind][1](table, int(i), rng)
            if kind in {"MPa among bars", "impossible"}:
                table.loc[i, "recheck_bar"] = np.nan
            planted[int(i)] = kind
        copies = table.loc[[int(i) for i in where[-2:]]]
        table = pd.concat([table, copies], ignore_index=True)
        table["row"] = range(2, len(table) + 2)
        planted |= {len(table) - 2: "duplicate", len(table) - 1: "duplicate"}
        done.append((ranch.assess(table, BLOCKS), planted))
    return done


@pytest.mark.parametrize("kind", [*FAULTS, "duplicate"])
def test_every_planted_fault_is_found(runs: list, kind: str) -> None:
    code = "duplicate" if kind == "duplicate" else FAULTS[kind][0]
    planted = [out.loc[i] for out, faults in runs for i, k in faults.items() if k == kind]
    assert len(planted) == 2 * len(SEEDS)
    assert [row["flags"] for row in planted if code not in row["flags"]] == []
    assert {bool(row["used"]) for row in planted} == {code not in LEFT_OUT}


def test_clean_readings_are_left_alone(runs: list) -> None:
    clean = pd.concat([out[~out.index.isin(list(faults))] for out, faults in runs])
    assert len(clean) > 1500
    assert (~clean["used"]).mean() < 0.02
    assert clean["flags"].map(bool).mean() < 0.02


def test_a_ranch_without_faults_loses_nothing() -> None:
    used = [ranch.assess(simulated(seed), BLOCKS)["used"] for seed in range(50, 60)]
    assert np.mean(~np.concatenate(used)) < 0.005


def test_mended_readings_are_where_and_what_they_were() -> None:
    table = simulated(3)
    spoiled = table.copy()
    for i in (4, 40):
        swapped(spoiled, i, np.random.default_rng(0))
        spoiled.loc[i, "pressure_bar"] *= -1
    out, mended = ranch.assess(table, BLOCKS), ranch.assess(spoiled, BLOCKS)
    assert mended.geometry.geom_equals_exact(out.geometry, 1e-6).all()
    assert mended["swp_bar"].equals(out["swp_bar"])
    assert mended[["block", "valve"]].equals(out[["block", "valve"]])
