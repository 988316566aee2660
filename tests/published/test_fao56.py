"""FAO Irrigation and Drainage Paper 56, Crop evapotranspiration, Rome 1998: tables and worked examples.

Standing of the printed values beside each: "read", "from memory, cross-checked" (with the formula, to the
printed digits) or "from memory only".
"""

import numpy as np
import pandas as pd
import pytest

from stressmap.agronomy import crops, vapour_pressure
from stressmap.agronomy import evapotranspiration as et
from stressmap.agronomy import radiation as rad

# Annex 2, table 2.3, saturation vapour pressure [kPa] by temperature [°C]; from memory, cross-checked
TABLE_2_3 = {1: 0.657, 20: 2.338, 25: 3.168, 30: 4.243, 35: 5.623, 40: 7.376, 45: 9.582}

# Annex 2, table 2.4, slope of the saturation curve [kPa/°C]; from memory, cross-checked
TABLE_2_4 = {1: 0.047, 20: 0.145, 25: 0.189, 30: 0.243, 35: 0.311, 40: 0.393, 45: 0.493}


@pytest.mark.parametrize(("temp_c", "printed"), TABLE_2_3.items())
def test_saturation_pressure_of_table_2_3_to_its_printed_digits(temp_c: float, printed: float) -> None:
    assert round(float(vapour_pressure.saturation_kpa(temp_c)), 3) == printed


@pytest.mark.parametrize(("temp_c", "printed"), TABLE_2_4.items())
def test_slope_of_table_2_4_to_its_printed_digits(temp_c: float, printed: float) -> None:
    assert round(float(vapour_pressure.saturation_slope_kpa_per_c(temp_c)), 3) == printed


def test_example_3_mean_saturation_pressure() -> None:
    """Chapter 3, example 3 (read): 24.5 and 15.0 °C give 3.075 and 1.705 kPa, mean 2.39."""
    assert round(float(vapour_pressure.saturation_kpa(24.5)), 3) == 3.075
    assert round(float(vapour_pressure.saturation_kpa(15.0)), 3) == 1.705
    assert round(float(vapour_pressure.mean_saturation_kpa(24.5, 15.0)), 2) == 2.39


def test_example_5_actual_vapour_pressure_from_extremes() -> None:
    """From memory, cross-checked: 18 °C at 82 %, 25 °C at 54 %: 1.70 kPa."""
    assert round(float(vapour_pressure.daily_actual_kpa((18.0, 25.0), (54.0, 82.0))), 2) == 1.70


def test_mean_of_extremes_is_over_that_of_the_mean_temperature() -> None:
    """FAO-56 chapter 3: using the mean temperature underestimates, as the curve bends upwards."""
    assert vapour_pressure.mean_saturation_kpa(24.5, 15.0) > vapour_pressure.saturation_kpa(
        np.mean([24.5, 15.0])
    )


def test_example_2_air_pressure_and_psychrometric_constant() -> None:
    """From memory, cross-checked: 1800 m gives 81.8 kPa and 0.054 kPa/°C."""
    assert round(float(et.air_pressure_kpa(1800.0)), 1) == 81.8
    assert round(float(et.psychrometric_kpa_per_c(1800.0)), 3) == 0.054


def test_example_17_monthly_reference_evapotranspiration() -> None:
    """A tropical April; from memory, cross-checked.

    34.8 and 25.6 °C, vapour pressure 2.85 kPa, wind 2 m/s, 8.5 h of sun, 13.73 °N, 2 m, month 30.2 °C after
    29.2 °C. Every intermediate is worked out here from the one before, unrounded; the digits are the
    book's.
    """
    day_of_year = 105  # 15 April
    above = rad.extraterrestrial_mj(day_of_year, 13.73)
    solar = rad.sunshine_radiation_mj(above, 8.5, rad.daylight_hours(day_of_year, 13.73))
    short = rad.net_shortwave_mj(solar)
    clearness = solar / rad.clear_sky_mj(above, 2.0)
    long = rad.net_longwave_mj(rad.kelvin4_of_day(34.8, 25.6), 2.85, clearness)
    soil_heat = 0.14 * (30.2 - 29.2)  # equation 44
    air = et.Air(30.2, vapour_pressure.mean_saturation_kpa(34.8, 25.6), 2.85, 2.0)
    depth = et.penman_monteith_mm_day(air, short - long, soil_heat=soil_heat, elevation_m=2.0)
    assert round(float(above), 2) == 38.06
    assert round(float(solar), 2) == 22.65
    assert round(float(short), 2) == 17.44
    assert round(float(long), 2) == 3.11
    assert round(float(short - long), 2) == 14.33
    assert round(soil_heat, 2) == 0.14
    assert round(float(depth), 2) == 5.72


def test_example_18_daily_reference_evapotranspiration() -> None:
    """A northern 6 July; from memory, cross-checked.

    Net radiation, wind, vapour pressures, slope, psychrometric constant and 3.877 mm/day were also found in a
    public test file.

    21.5 and 12.3 °C, humidity 84 and 63 %, wind 10 km/h at 10 m, 9.25 h of sun, 50.80 °N, 100 m.
    """
    day_of_year = 187
    wind = et.wind_at_2m_m_s(10.0 / 3.6, 10.0)
    actual = vapour_pressure.daily_actual_kpa((12.3, 21.5), (63.0, 84.0))
    saturation = vapour_pressure.mean_saturation_kpa(21.5, 12.3)
    mean_c = (21.5 + 12.3) / 2.0
    above = rad.extraterrestrial_mj(day_of_year, 50.80)
    solar = rad.sunshine_radiation_mj(above, 9.25, rad.daylight_hours(day_of_year, 50.80))
    long = rad.net_longwave_mj(rad.kelvin4_of_day(21.5, 12.3), actual, solar / rad.clear_sky_mj(above, 100.0))
    net = rad.net_shortwave_mj(solar) - long
    depth = et.penman_monteith_mm_day(et.Air(mean_c, saturation, actual, wind), net, elevation_m=100.0)
    assert round(float(wind), 3) == 2.078
    assert round(float(actual), 3) == 1.409
    assert round(float(saturation), 3) == 1.997
    assert round(float(vapour_pressure.saturation_slope_kpa_per_c(mean_c)), 3) == 0.122
    assert round(float(et.psychrometric_kpa_per_c(100.0)), 4) == 0.0666
    assert round(float(above), 2) == 41.09
    assert round(float(solar), 2) == 22.07
    assert round(float(net), 2) == 13.28
    assert round(float(depth), 2) == 3.88


def test_example_19_hourly_reference_evapotranspiration() -> None:
    """1 October, 16.22 °N 16.25 °W, 8 m; from memory only.

    From 14:00 to 15:00: 38 °C, 52 %, 3.3 m/s, 2.450 MJ/m2; from 2:00 to 3:00: 28 °C, 90 %, 1.9 m/s, no sun,
    clearness 0.8 carried through the night.
    """
    clock = pd.DatetimeIndex(["2026-10-01 14:30", "2026-10-01 02:30"], tz="Etc/GMT+1")
    above = rad.extraterrestrial_hourly_mj(clock, 16.0 + 13.0 / 60.0, -16.25)
    solar = np.array([2.450, 0.0])
    temp, humidity, wind = np.array([38.0, 28.0]), np.array([52.0, 90.0]), np.array([3.3, 1.9])
    actual = vapour_pressure.actual_kpa(temp, humidity)
    clearness = np.array([2.450 / float(rad.clear_sky_mj(above[0], 8.0)), 0.8])
    long = rad.net_longwave_mj((temp + 273.16) ** 4, actual, clearness, hours=1.0)
    net = rad.net_shortwave_mj(solar) - long
    air = et.Air(temp, vapour_pressure.saturation_kpa(temp), actual, wind)
    depth = et.penman_monteith_mm_hour(air, net, daylight=[True, False], elevation_m=8.0)
    assert above.round(3).tolist() == [3.543, 0.0]
    assert actual.round(3).tolist() == [3.445, 3.402]
    assert long.round(3).tolist() == [0.137, 0.100]
    assert net.round(3).tolist() == [1.749, -0.100]
    assert depth.round(2).tolist() == [0.63, 0.00]


def test_example_20_temperature_only() -> None:
    """July, 45.72 °N, 26.6 and 14.8 °C: 5.0 mm/day; from memory only."""
    above = rad.extraterrestrial_mj(196, 45.72)
    assert round(float(above), 1) == 40.6
    assert round(float(et.temperature_only_mm_day(26.6, 14.8, above)), 1) == 5.0


def test_equation_62_moves_the_crop_coefficient_with_climate() -> None:
    """From memory, cross-checked: wind 3 m/s, lowest humidity 25 %, 3 m high: +0.12."""
    assert round(float(et.climate_adjusted_kc(0.90, 3.0, 25.0, 3.0)) - 0.90, 2) == 0.12


@pytest.mark.parametrize(
    ("crop", "day", "kc"),
    [
        ("prune", "2026-03-01", 0.45),  # stone fruit, no cover, killing frost; from memory, cross-checked
        ("prune", "2026-07-14", 0.90),
        ("prune", "2026-12-01", 0.65),
        ("walnut", "2026-09-08", 1.10),  # middle of the season, for its end; read at second hand
        ("walnut", "2026-12-01", 0.65),
    ],
)
def test_table_12_crop_coefficients(crop: str, day: str, kc: float) -> None:
    profile = crops.load_profiles({}, "ranch.toml")[crop].crop_coefficient
    assert profile is not None
    assert et.crop_coefficient([day], profile.points).tolist() == [kc]
