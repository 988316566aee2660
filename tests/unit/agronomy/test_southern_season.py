"""A ranch in the south: every date of a built-in season lies six months on, and no date of its own."""

from __future__ import annotations

import pytest

from stressmap.agronomy.crops import CropProfile, load_profiles
from stressmap.agronomy.orchard import at_latitude
from stressmap.core.notes import Noted


def dates(profile: CropProfile) -> dict[str, list[str]]:
    coefficient = profile.crop_coefficient
    return {
        "season_target": [day for day, _ in profile.season_target or ()],
        "stages": [stage.begins for stage in profile.stages],
        "limit_within": [day for span in profile.limit_within for day in (span.begins, span.until)],
        "crop_coefficient": [day for day, _ in coefficient.points] if coefficient else [],
    }


@pytest.mark.parametrize("crop", ["almond", "prune", "walnut"])
def test_every_date_moves_by_six_months(crop: str) -> None:
    there = dates(at_latitude(load_profiles({}, "ranch.toml"), -34.0).value[crop])
    here = dates(load_profiles({}, "ranch.toml")[crop])
    for what, days in here.items():
        assert days or (what == "limit_within" and crop != "almond"), f"{crop} has no {what}"
        for north, south in zip(days, there[what], strict=True):
            months = [int(day[:2]) for day in (north, south)]
            assert (months[1] - months[0]) % 12 == 6
            assert abs(int(north[3:]) - int(south[3:])) <= (3 if months[1] == 2 else 1)


@pytest.mark.parametrize("latitude", [0.0, 38.0, None])
def test_in_the_north_nothing_moves(latitude: float | None) -> None:
    profiles = load_profiles({}, "ranch.toml")
    assert at_latitude(profiles, latitude) == Noted(profiles)


def test_what_the_ranch_wrote_itself_stays() -> None:
    own = {
        "season_target": [["11-15", -6.0], ["02-15", -14.0]],
        "crop_coefficient": {"points": [["09-01", 0.4], ["12-01", 0.9], ["04-01", 0.6]]},
    }
    there = dates(at_latitude(load_profiles({"prune": own}, "ranch.toml"), -34.0).value["prune"])
    assert there["season_target"] == ["11-15", "02-15"]
    assert there["crop_coefficient"] == ["09-01", "12-01", "04-01"]
    assert there["stages"][0] == "09-01", "the built-in stages begin on 1 March in the north"


@pytest.mark.parametrize(
    ("north", "south"),
    [("01-31", "07-31"), ("03-31", "09-30"), ("08-31", "02-28"), ("12-31", "06-30"), ("06-15", "12-15")],
)
def test_a_month_that_is_shorter_ends_on_its_last_day(north: str, south: str) -> None:
    from stressmap.agronomy.target import month_day_six_months_on

    assert month_day_six_months_on(north) == south
