"""The same trees on a mild and on a very hot day: the ranks must show the trees, not the weather.

Simulated truth: each tree stands so many bar below what a fully watered tree shows in the air of the moment.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import spearmanr

from stressmap import agronomy
from stressmap.core.settings import Settings

ZONE = "America/Los_Angeles"
COUNT = 60
MILD, HOT = "2026-07-14", "2026-07-16"
AIR = {MILD: (26.0, 45.0), HOT: (43.0, 15.0)}


def weather() -> pd.DataFrame:
    rows = [(f"{day} {hour}:00", *air) for day, air in AIR.items() for hour in range(12, 17)]
    time = pd.DatetimeIndex([row[0] for row in rows], tz=ZONE)
    return pd.DataFrame({"time": time, "temp_c": [r[1] for r in rows], "rh_pct": [r[2] for r in rows]})


def figures_of(days: np.ndarray, rank_by: str, *, same_weather: bool = True) -> pd.Series:
    """Measure every tree once, on the day given for it; return its ranked figure."""
    random = np.random.default_rng(4)
    dryness = random.uniform(0.0, 7.0, COUNT)
    error = random.normal(0.0, 0.2, COUNT)
    vpd = np.array([float(agronomy.deficit_kpa(*AIR[day])) for day in days])
    swp = -4.1 - 1.2 * vpd - dryness + error
    readings = pd.DataFrame(
        {
            "row": np.arange(2, COUNT + 2),
            "block": "A",
            "swp_bar": swp,
            "time": pd.DatetimeIndex([f"{day} 14:00" for day in days], tz=ZONE),
            "temp_c": np.nan,
            "rh_pct": np.nan,
        }
    )
    settings = Settings.model_validate(
        {
            "ranch": {"name": "Invented Ranch", "timezone": ZONE},
            "files": {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")},
            "map": {"rank_by": rank_by},
            "reading": {"same_weather": same_weather},
        }
    )
    blocks = pd.DataFrame({"block": ["A"], "crop": ["prune"]})
    profiles = agronomy.load_profiles({}, "ranch.toml")
    orchard = agronomy.settle(blocks, profiles, blocks_file="blocks.geojson").value
    table = agronomy.add_figures(readings, orchard, weather(), settings).value
    return table["stress_bar"]


def agreement(rank_by: str, *, same_weather: bool = True) -> float:
    """Rank correlation of two visits: every other tree on the hot day, then the other way about."""
    odd = np.arange(COUNT) % 2 == 1
    first = figures_of(np.where(odd, HOT, MILD), rank_by, same_weather=same_weather)
    second = figures_of(np.where(odd, MILD, HOT), rank_by, same_weather=same_weather)
    return float(spearmanr(first, second).statistic)


def test_ranks_below_baseline_agree() -> None:
    assert agreement("below_baseline") > 0.99


def test_ranks_by_tension_agree_once_readings_are_carried_to_one_weather() -> None:
    assert agreement("tension") > 0.99
    assert agreement("tension", same_weather=False) < 0.3


def test_ranks_below_target_agree_once_days_are_made_comparable() -> None:
    assert agreement("below_target") > 0.99
    assert agreement("below_target", same_weather=False) < 0.3


@pytest.mark.parametrize("day", [MILD, HOT])
def test_below_baseline_is_the_dryness_that_was_drawn(day: str) -> None:
    random = np.random.default_rng(4)
    dryness = random.uniform(0.0, 7.0, COUNT)
    figure = figures_of(np.full(COUNT, day), "below_baseline")
    assert np.abs(figure.to_numpy() - dryness).max() < 0.7  # three standard deviations of the reading error
