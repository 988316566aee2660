"""Formulas at the ends of what they are taken for, and what holds where there is nothing to work with."""

from __future__ import annotations

import numpy as np
import pytest

from stressmap.agronomy import evapotranspiration as et
from stressmap.agronomy import radiation as rad
from stressmap.agronomy import vapour_pressure
from stressmap.agronomy.crops import BaselineLine, level_of, load_profiles
from stressmap.agronomy.hemisphere import at_latitude
from stressmap.agronomy.visit_weather import middle_deficit_kpa, weather_shift_bar


@pytest.mark.parametrize("temp_c", [-40.0, 60.0])
def test_air_at_the_ends_is_taken(temp_c: float) -> None:
    assert vapour_pressure.saturation_kpa(temp_c) > 0.0


@pytest.mark.parametrize("temp_c", [-40.1, 60.1])
def test_air_beyond_the_ends_is_refused(temp_c: float) -> None:
    with pytest.raises(
        ValueError, match=r"temperature \[°C\] must be between -40 and 60; 1 value\(s\) are not"
    ):
        vapour_pressure.saturation_kpa(temp_c)


def test_the_midnight_sun_shines_all_day_and_the_polar_night_has_none() -> None:
    """FAO-56 equation 21 with a sunset angle of pi: 37.6 dr pi sin(latitude) sin(declination); else 0."""
    distance = 1 + 0.033 * np.cos(2 * np.pi * 172 / 365)
    declination = 0.409 * np.sin(2 * np.pi * 172 / 365 - 1.39)
    expected = 24 * 60 / np.pi * 0.0820 * distance * np.pi * np.sin(np.radians(80.0)) * np.sin(declination)
    assert float(rad.extraterrestrial_mj(172, 80.0)) == pytest.approx(expected, rel=1e-9)
    assert float(rad.extraterrestrial_mj(355, 80.0)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("inside", "beyond"),
    [
        ((0.9, 3.0, 25.0, 0.1), (0.9, 3.0, 25.0, 0.0)),
        ((0.9, 3.0, 25.0, 10.0), (0.9, 3.0, 25.0, 14.0)),
        ((0.9, 3.0, 20.0, 3.0), (0.9, 3.0, 12.0, 3.0)),
        ((0.9, 3.0, 80.0, 3.0), (0.9, 3.0, 95.0, 3.0)),
        ((0.9, 1.0, 25.0, 3.0), (0.9, 0.2, 25.0, 3.0)),
        ((0.9, 6.0, 25.0, 3.0), (0.9, 9.0, 25.0, 3.0)),
    ],
)
def test_the_climate_of_a_coefficient_is_kept_within_the_equations_limits(
    inside: tuple[float, ...], beyond: tuple[float, ...]
) -> None:
    """FAO-56 equation 62: 1 to 6 m/s, 20 to 80 % humidity, 0.1 to 10 m high (read with the equation)."""
    assert float(et.climate_adjusted_kc(*beyond)) == float(et.climate_adjusted_kc(*inside))
    moved = inside[0] + (0.04 * (inside[1] - 2) - 0.004 * (inside[2] - 45)) * (inside[3] / 3) ** 0.3
    assert float(et.climate_adjusted_kc(*inside)) == pytest.approx(moved)


def test_without_weather_nothing_is_carried() -> None:
    assert np.isnan(middle_deficit_kpa(np.array([])))
    line = BaselineLine(intercept_bar=-4.1, slope_bar_per_kpa=-1.2)
    assert weather_shift_bar(np.array([np.nan]), line, 4.0).tolist() == [0.0]


def test_a_level_is_said_in_the_language_asked_for() -> None:
    found = level_of(load_profiles({}, "ranch.toml")["walnut"], "absolute", -15.0)
    assert found is not None
    assert (found.level.said("en"), found.level.said("es")) == ("severe", "severo")


def test_a_crop_without_stages_or_coefficient_is_moved_south_all_the_same() -> None:
    profiles = load_profiles({"cherry": {"season_target": [["05-01", -6.0], ["07-01", -9.0]]}}, "ranch.toml")
    there = at_latitude({"cherry": profiles["cherry"]}, -34.0).value["cherry"]
    assert (there.crop_coefficient, list(there.stages)) == (None, [])
    assert there.season_target == profiles["cherry"].season_target, "its own days stay"
