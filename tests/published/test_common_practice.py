"""What people in the trade say, checked as such: common practice, no source."""

import pytest

from stressmap.agronomy import baseline_bar, deficit_kpa, level_of, load_profiles, target_bar

PRUNE = load_profiles({}, "ranch.toml")["prune"]


def line_at(temp_c: float, rh_pct: float) -> float:
    assert PRUNE.baseline is not None
    line = PRUNE.baseline
    return float(
        baseline_bar(
            deficit_kpa(temp_c, rh_pct),
            intercept_bar=line.intercept_bar,
            slope_bar_per_kpa=line.slope_bar_per_kpa,
        )
    )


@pytest.mark.parametrize(("temp_c", "rh_pct"), [(20.0, 55.0), (22.0, 50.0), (24.0, 50.0)])
def test_a_comfortable_tree_in_mild_weather_shows_five_to_six_bar(temp_c: float, rh_pct: float) -> None:
    assert 5.0 <= -line_at(temp_c, rh_pct) <= 6.0


def test_a_fully_watered_tree_on_a_very_hot_afternoon_shows_about_twelve() -> None:
    """44 °C at 30 % humidity."""
    assert 11.0 <= -line_at(44.0, 30.0) <= 13.0


def test_fourteen_bar_is_trouble_in_may_and_right_before_harvest() -> None:
    assert PRUNE.season_target is not None
    may, august = target_bar(["2026-05-10", "2026-08-01"], PRUNE.season_target).tolist()
    assert may - -14.0 > 4.0
    assert august - -14.0 == 0.0


@pytest.mark.parametrize(
    ("bar", "words"), [(-12.0, "mild"), (-20.0, "high"), (-30.0, "severe"), (-60.0, "severe")]
)
def test_stressed_and_extreme_trees_in_words(bar: float, words: str) -> None:
    """12 to 20 bar in a stressed tree, 30 to 60 at the extreme."""
    level = level_of(PRUNE, "absolute", bar)
    assert level is not None
    assert words in level.level.en
