"""What midday stem water potentials mean in crops without a fully watered line; all abstracts, read.

- Pistachio: Water stress thresholds for regulated deficit irrigation in pistachio trees, Agricultural Water
  Management (AGWAT-4244), 2015: -15 bar without loss of yield, -20 with harm.
- Table grape: Determining a Midday Stem Water Potential Threshold for Irrigation of Table Grapes, South
  African Journal of Enology and Viticulture 43(2), 2022: -8 bar before harvest.
- Cherry: Plant water status as an index of irrigation needs in deciduous fruit trees, 1997: shoot growth
  stops at -15 to -17 bar.
- Olive: Summer deficit irrigation in a hedgerow olive orchard cv. Arbequina, Spanish Journal of Agricultural
  Research 11(2), 2013: shoot growth halved at -13 bar, limits -29 bar in July and -20 in August.
"""

import pytest

from stressmap.agronomy import edges_for, level_of, load_profiles

PROFILES = load_profiles({}, "ranch.toml")


@pytest.mark.parametrize(
    ("crop", "bar", "level"),
    [
        ("pistachio", -14.9, "above the threshold"),
        ("pistachio", -15.1, "past the threshold"),
        ("pistachio", -20.1, "harm"),
        ("table grape", -7.9, "above the threshold before harvest"),
        ("table grape", -8.1, "past the threshold before harvest"),
        ("cherry", -15.1, "shoot growth stops"),
        ("olive", -13.1, "shoots slowed"),
        ("olive", -20.1, "past the limit of August"),
        ("olive", -29.1, "past the limit of July"),
    ],
)
def test_levels(crop: str, bar: float, level: str) -> None:
    found = level_of(PROFILES[crop], "absolute", bar)
    assert found is not None
    assert found.level.en == level


def test_nothing_is_said_where_nothing_was_read() -> None:
    assert level_of(PROFILES["cherry"], "absolute", -12.0) is None
    assert level_of(PROFILES["olive"], "absolute", -12.0) is None


def test_edges_only_where_three_figures_were_read() -> None:
    assert edges_for(PROFILES["olive"], "tension") == (13.0, 20.0, 29.0)
    assert [PROFILES[crop].edges.tension for crop in ("pistachio", "table grape", "cherry")] == [None] * 3
