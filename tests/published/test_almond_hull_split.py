"""The deficit of almond in hull split.

Irrigating from Hull-split to Harvest, university extension page: -15 bar in the first and second week, in
the third 2 bar below the fully watered line, then mild to harvest. Standing: read. Hull split from 1 July,
six weeks before the usual harvest, and a July deficit of 3.5 to 4 kPa are ours (common practice, no
source).
"""

import pytest
from helpers.allowance_courses import course

from stressmap.agronomy import baseline_bar, load_profiles


@pytest.mark.parametrize("vpd_kpa", [3.5, 3.7, 4.0])
def test_about_fifteen_bar_of_tension_after_the_first_week(vpd_kpa: float) -> None:
    line = load_profiles({}, "ranch.toml")["almond"].baseline
    assert line is not None
    watered = baseline_bar(
        vpd_kpa, intercept_bar=line.intercept_bar, slope_bar_per_kpa=line.slope_bar_per_kpa
    )
    for day in ("2026-07-07", "2026-07-14"):
        assert watered - course("almond")[day] == pytest.approx(-15.0, abs=0.5)


def test_two_bar_below_the_line_by_the_end_of_the_third_week() -> None:
    found = course("almond")
    assert found["2026-07-21"] == pytest.approx(2.0)
    assert found["2026-07-21":"2026-08-05"].max() < 5.0
