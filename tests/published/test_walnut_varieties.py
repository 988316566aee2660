"""The best deficit of two walnut varieties.

Water stress thresholds for walnuts: stem water potential baselines to maximize yield and water
productivity, Agricultural Water Management 319:109808, 2025, abstract: below the line of fully irrigated
trees 1.0 to 3.0 bar in Chandler with the peak at 2.2, 1.5 to 4.0 in Serr with the peak at 2.9. Standing:
read.
"""

import pytest
from helpers.allowance_courses import course, outside


@pytest.mark.parametrize(
    ("variety", "wet", "peak", "dry"), [("Chandler", 1.0, 2.2, 3.0), ("Serr", 1.5, 2.9, 4.0)]
)
def test_inside_the_range_on_every_day_and_at_the_peak_in_mid_season(
    variety: str, wet: float, peak: float, dry: float
) -> None:
    found = course("walnut", variety=variety)
    assert outside(found, "04-01", "11-15", wet, dry) == []
    assert found["2026-06-15"] == pytest.approx(peak)
