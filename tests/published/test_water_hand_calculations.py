"""Hand calculations of irrigation practice: depths, areas, flows, hours, uniformity.

Sources and standing beside each; docs/references.md has them in full.
"""

import datetime as dt

import numpy as np
import pytest

from stressmap.agronomy.crops import load_profiles
from stressmap.core.units import HA_PER_ACRE, M3_H_PER, M3_PER_GALLON, MM_PER_INCH
from stressmap.water import irrigation_system, root_zone
from stressmap.water.crop_water_use import crop_use_mm, reference

GPM = M3_H_PER["gpm"]
FT2_PER_ACRE = 43_560.0


def test_one_millimetre_on_one_hectare_is_ten_cubic_metres() -> None:
    """From memory, formula cross-checked."""
    assert irrigation_system.flow_m3_h(1.0, 1.0) == 10.0


def test_rate_from_gallons_a_minute_and_square_feet() -> None:
    """From memory, formula cross-checked: in/h = 96.25 x gpm / ft2 (the usual 96.3 is rounded)."""
    gpm, ft2 = 800.0, 40 * FT2_PER_ACRE
    rate = irrigation_system.rate_mm_h(gpm * GPM, ft2 / FT2_PER_ACRE * HA_PER_ACRE) / MM_PER_INCH
    assert rate == pytest.approx(96.25 * gpm / ft2, rel=1e-6)


def test_rate_from_gallons_an_hour() -> None:
    """From memory, formula cross-checked: in/h = 1.6042 x gph / ft2; 20 gph at 18 x 18 ft is 0.0990 in/h."""
    area_ha = 18 * 18 / FT2_PER_ACRE * HA_PER_ACRE
    rate = irrigation_system.rate_mm_h(20 * GPM / 60, area_ha) / MM_PER_INCH
    assert rate == pytest.approx(1.6042 * 20 / 324, rel=1e-4)
    assert rate == pytest.approx(0.0990, abs=5e-5)


def test_gallons_a_tree() -> None:
    """From memory, formula cross-checked: 0.62338 gal per inch and square foot."""
    m3 = irrigation_system.flow_m3_h(MM_PER_INCH, HA_PER_ACRE / FT2_PER_ACRE)
    assert m3 / M3_PER_GALLON == pytest.approx(0.62338, abs=5e-6)


def test_hours_of_a_set() -> None:
    """From memory, formula cross-checked: 1 in, 40 ac, 800 gpm: 22.63 h, and 26.62 h at DU 0.85."""
    area, flow = 40 * HA_PER_ACRE, 800 * GPM
    assert irrigation_system.set_hours(MM_PER_INCH, area, flow, 1.0) == pytest.approx(22.63, abs=0.005)
    assert irrigation_system.set_hours(MM_PER_INCH, area, flow, 0.85) == pytest.approx(26.62, abs=0.005)


def test_hours_are_not_minutes() -> None:
    """Derived: 6 gpm on 1.8 ac is 0.00736 in/h (cut), an inch takes 135.8 HOURS; a page has 135 minutes."""
    area, flow = 1.8 * HA_PER_ACRE, 6 * GPM
    assert irrigation_system.rate_mm_h(flow, area) / MM_PER_INCH == pytest.approx(0.00736, abs=1e-5)
    assert irrigation_system.set_hours(MM_PER_INCH, area, flow, 1.0) == pytest.approx(135.8, abs=0.05)


def test_uniformity_of_the_low_quarter() -> None:
    """From memory, formula cross-checked: 80 85 90 95 100 105 110 115 gives 82.5 / 97.5 = 0.846."""
    assert irrigation_system.low_quarter_uniformity([115, 80, 90, 85, 95, 105, 100, 110]) == pytest.approx(
        0.846, abs=5e-4
    )


@pytest.mark.parametrize(
    ("kind", "uniformity", "efficiency"),
    [
        ("flood", (0.0, 0.80), (0.50, 0.75)),
        ("sprinkler", (0.90, 0.90), (0.70, 0.85)),
        ("micro_sprinkler", (0.90, 0.95), (0.80, 0.90)),
        ("drip", (0.95, 0.95), (0.80, 0.95)),
    ],
)
def test_uniformity_and_efficiency_lie_in_the_published_ranges(kind, uniformity, efficiency) -> None:
    """Distribution Uniformity: why it matters, trade press by extension advisers, 2019, text and table 1;
    Sacramento Valley ET Report, weekly, extension, 2017, notes (both read)."""
    assert uniformity[0] <= irrigation_system.UNIFORMITY[kind] <= uniformity[1]
    assert efficiency[0] <= irrigation_system.EFFICIENCY[kind] <= efficiency[1]


@pytest.mark.parametrize(
    ("texture", "low", "high"),
    [
        ("very coarse sands", 0.4, 0.75),
        ("loamy sand", 0.75, 1.25),
        ("fine sandy loam", 1.25, 1.75),
        ("silt loam", 1.5, 2.3),
        ("silty clay loam", 1.75, 2.5),
        ("silty clay", 1.6, 2.5),
    ],
)
def test_available_water_of_textures(texture: str, low: float, high: float) -> None:
    """Soil Characteristics, university pages on managing drought, table [in/ft] (read).

    An inch per foot is 83.33 mm/m.
    """
    name = root_zone.texture_class(texture)
    assert name is not None
    assert root_zone.INCHES_PER_FOOT[name] == (low, high)
    assert root_zone.available_mm_per_m(name) == pytest.approx((low + high) / 2 * 83.333, rel=1e-5)


def test_readily_available_share() -> None:
    """FAO-56 table 22, footnote (from memory, formula cross-checked): p 0.50 at 8 mm/day is 0.38."""
    assert root_zone.depletion_fraction(0.50, 8.0) == pytest.approx(0.38)
    assert root_zone.depletion_fraction(0.50, 30.0) == 0.1
    assert root_zone.depletion_fraction(0.80, 1.0) == 0.8


def test_crop_evapotranspiration_is_the_coefficient_times_the_reference() -> None:
    """FAO-56 equation 56, table 12 (stone fruit, no cover, mid season 0.90; from memory, cross-checked)."""
    prune = load_profiles({}, "ranch.toml")["prune"]
    days = {
        dt.date(2026, 7, d): float(mm) for d, mm in zip(range(10, 15), [7.0, 8.0, 6.0, 7.5, 6.5], strict=True)
    }
    eto = reference(days, before=dt.date(2026, 7, 15))
    got = crop_use_mm(prune, eto, dt.date(2026, 7, 10), dt.date(2026, 7, 15))
    assert got == pytest.approx(0.90 * 35.0)
    coming = crop_use_mm(prune, eto, dt.date(2026, 7, 15), dt.date(2026, 7, 17))
    assert coming == pytest.approx(2 * 0.90 * np.mean([7.0, 8.0, 6.0, 7.5, 6.5]))
