"""FAO Irrigation and Drainage Paper 56, Crop evapotranspiration, Rome 1998: tables and worked examples.

Standing of the printed values beside each: "read", "from memory, cross-checked" (with the formula, to the
printed digits) or "from memory only".
"""

import numpy as np
import pytest

from stressmap.agronomy import vapour

# Annex 2, table 2.3, saturation vapour pressure [kPa] by temperature [°C]; from memory, cross-checked
TABLE_2_3 = {1: 0.657, 20: 2.338, 25: 3.168, 30: 4.243, 35: 5.623, 40: 7.376, 45: 9.582}

# Annex 2, table 2.4, slope of the saturation curve [kPa/°C]; from memory, cross-checked
TABLE_2_4 = {1: 0.047, 20: 0.145, 25: 0.189, 30: 0.243, 35: 0.311, 40: 0.393, 45: 0.493}


@pytest.mark.parametrize(("temp_c", "printed"), TABLE_2_3.items())
def test_saturation_pressure_of_table_2_3_to_its_printed_digits(temp_c: float, printed: float) -> None:
    assert round(float(vapour.saturation_kpa(temp_c)), 3) == printed


@pytest.mark.parametrize(("temp_c", "printed"), TABLE_2_4.items())
def test_slope_of_table_2_4_to_its_printed_digits(temp_c: float, printed: float) -> None:
    assert round(float(vapour.saturation_slope_kpa_per_c(temp_c)), 3) == printed


def test_example_3_mean_saturation_pressure() -> None:
    """Read in a public extension page: 24.5 and 15.0 °C give 3.075 and 1.705 kPa, mean 2.39."""
    assert round(float(vapour.saturation_kpa(24.5)), 3) == 3.075
    assert round(float(vapour.saturation_kpa(15.0)), 3) == 1.705
    assert round(float(vapour.mean_saturation_kpa(24.5, 15.0)), 2) == 2.39


def test_example_5_actual_vapour_pressure_from_extremes() -> None:
    """From memory, cross-checked: 18 °C at 82 %, 25 °C at 54 %: 1.70 kPa."""
    assert round(float(vapour.daily_actual_kpa((18.0, 25.0), (54.0, 82.0))), 2) == 1.70


def test_mean_of_extremes_is_over_that_of_the_mean_temperature() -> None:
    """FAO-56 chapter 3: using the mean temperature underestimates, as the curve bends upwards."""
    assert vapour.mean_saturation_kpa(24.5, 15.0) > vapour.saturation_kpa(np.mean([24.5, 15.0]))
