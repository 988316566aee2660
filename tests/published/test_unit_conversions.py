"""Conversions between what people write and SI and bar.

Standing of all figures: from memory, cross-checked with the exact definitions (NIST Special Publication 811,
appendix B); 27,154 gallons to an acre-inch was also read elsewhere (title not recorded).
"""

import pytest

from stressmap.core import units

GALLON = units.M3_PER_GALLON


@pytest.mark.parametrize(
    ("ours", "printed"),
    [
        (units.BAR_PER["MPa"], 10.0),
        (1.0 / units.BAR_PER["kPa"], 100.0),
        (1.0 / units.BAR_PER["psi"], 14.5038),
        (units.M3_PER["acre-in"] / GALLON, 27154.29),
        (units.M3_PER["acre-in"], 102.790),
        (units.M3_PER["acre-in"] / units.M_PER_FOOT**3, 3630.0),
        (units.M3_PER["acre-ft"] / GALLON, 325851.4),
        (units.M3_PER["acre-in"] / units.M3_H_PER["gpm"], 452.571),
        (units.M3_H_PER["gpm"], 0.227125),
        (units.HA_PER_ACRE, 0.404686),
        (units.M2_PER_HA / 1000.0, 10.0),  # 1 mm on 1 ha [m3]
    ],
)
def test_conversion_to_the_printed_digits(ours: float, printed: float) -> None:
    digits = len(repr(printed).split(".")[1])
    assert round(ours, digits) == printed


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(32.0, 0.0), (70.0, 21.111), (115.0, 46.111), (212.0, 100.0)]
)
def test_temperatures_of_the_baseline_grid(fahrenheit: float, celsius: float) -> None:
    assert round(units.fahrenheit_to_celsius(fahrenheit), 3) == celsius
