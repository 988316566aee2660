"""How much water a full cover of almond uses, and young almond.

- Updated almond crop coefficients, growers' board page, tables of 2007 and 2012 (both read): mature trees by
  month.
- Crop coefficients and water use of young almond orchards (plantings of 2016 to 2018, northern Sacramento
  Valley), journal abstract (read): mid-season coefficients of years 1 to 5.
- Water stress causes stomatal closure but does not reduce canopy evapotranspiration in almond, Agricultural
  Water Management 168:11-22, 2016, abstract (read): no fall between -8 and -20 bar.
"""

import datetime as dt

import pytest

from stressmap.agronomy import crop_coefficient, load_profiles
from stressmap.agronomy.water_use import stress_coefficient, young_shares

ALMOND = load_profiles({}, "ranch.toml")["almond"]
BY_MONTH = {
    # month: 2007, 2012
    3: (0.59, 0.20),
    4: (0.78, 0.67),
    5: (0.92, 0.95),
    6: (1.01, 1.09),
    7: (1.08, 1.15),
    8: (1.08, 1.17),
    9: (1.02, 1.12),
    10: (0.89, 0.85),
}


@pytest.mark.parametrize("month", BY_MONTH)
def test_each_month_is_the_middle_of_the_two_tables(month: int) -> None:
    assert ALMOND.crop_coefficient is not None
    kc = float(crop_coefficient([dt.date(2026, month, 15)], ALMOND.crop_coefficient.points)[0])
    assert kc == pytest.approx(sum(BY_MONTH[month]) / 2, abs=0.0051)  # rounded to two decimals


@pytest.mark.parametrize(("year", "kc_mid"), [(1, 0.35), (2, 0.55), (3, 0.88), (4, 1.04), (5, 0.99)])
def test_young_trees_reach_the_published_coefficient_of_their_year(year: int, kc_mid: float) -> None:
    assert ALMOND.crop_coefficient is not None
    highest = dt.date(2026, 8, 15)
    full = float(crop_coefficient([highest], ALMOND.crop_coefficient.points)[0])
    assert full * young_shares(ALMOND, [highest], 2027.0 - year)[0] == pytest.approx(kc_mid)


def test_from_the_sixth_year_on_and_of_unknown_age_the_cover_is_full() -> None:
    for planted in (2021.0, 1990.0, None, float("nan")):
        assert young_shares(ALMOND, [dt.date(2026, 8, 15)], planted).tolist() == [1.0]


def test_the_stress_that_was_looked_at_takes_nothing_off_its_water_use() -> None:
    """-20 bar at 3 kPa is 12.3 bar below the line."""
    assert stress_coefficient(ALMOND, [0.0, 4.0, 8.0, 12.3]).tolist() == [1.0] * 4
