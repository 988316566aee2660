"""Which year of growth a young tree is in on a day, either side of the equator."""

from __future__ import annotations

import datetime as dt

import pytest

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.hemisphere import at_latitude
from stressmap.agronomy.water_use import young_shares

YOUNG = {"points": [["04-01", 0.5], ["07-01", 1.0], ["11-01", 0.5]], "young_kc_mid": [0.2, 0.4, 0.7]}
"""The highest of a full cover is 1, so the shares are the figures of the years themselves."""
PROFILES = load_profiles({"fig": {"crop_coefficient": YOUNG}}, "ranch.toml")


@pytest.mark.parametrize(
    ("latitude", "shares"),
    [(39.0, [0.4, 0.4, 0.4, 0.7]), (-33.0, [0.2, 0.2, 0.4, 0.4])],
    ids=["north", "south"],
)
def test_a_year_of_growth_begins_in_january_or_south_of_the_equator_in_july(
    latitude: float, shares: list[float]
) -> None:
    fig = at_latitude(PROFILES, latitude).value["fig"]
    days = [dt.date(2026, 3, 1), dt.date(2026, 6, 30), dt.date(2026, 7, 1), dt.date(2027, 1, 1)]
    assert young_shares(fig, days, 2025.0).tolist() == shares


def test_trees_planted_after_the_day_take_no_more_than_those_of_the_first_year() -> None:
    assert young_shares(PROFILES["fig"], [dt.date(2026, 5, 1)] * 2, 2027.0).tolist() == [0.2, 0.2]
