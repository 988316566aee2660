"""How far below the fully watered line almond should stand, date by date.

Advanced SWP Interpretation in Almond, university cooperative extension manual "Stem water potential"
(Sacramento Valley orchards), text and table 1: 2 to 8 bar below the line over the season; as potentials, -6
to -10 bar from leaf-out to mid-June, -12 to -14 from late June to the onset of hull split and again after
harvest, -14 to -18 borne by mature trees in hull split. Standing: read. The usual deficits at which the
potentials are looked at are ours (common practice, no source): 1.5 to 2.5 kPa in spring, 3 in late June and
September, 3.7 in July.
"""

import pytest
from helpers.allowance_courses import course, outside

from stressmap.agronomy import baseline_bar, load_profiles


def potential(day: str, vpd_kpa: float) -> float:
    line = load_profiles({}, "ranch.toml")["almond"].baseline
    assert line is not None
    watered = baseline_bar(
        vpd_kpa, intercept_bar=line.intercept_bar, slope_bar_per_kpa=line.slope_bar_per_kpa
    )
    return float(watered) - float(course("almond")[f"2026-{day}"])


def test_two_to_eight_bar_below_the_line_on_every_day() -> None:
    assert outside(course("almond"), "03-01", "11-15", 2.0, 8.0) == []


@pytest.mark.parametrize(
    ("day", "vpd_kpa", "wet", "dry"),
    [
        ("04-15", 1.5, -6.0, -10.0),
        ("05-15", 2.0, -6.0, -10.0),
        ("06-10", 2.4, -6.0, -10.0),
        ("07-01", 3.0, -12.0, -14.0),  # late June to the onset of hull split
        ("07-10", 3.7, -14.0, -18.0),  # hull split
        ("09-15", 3.0, -12.0, -14.0),  # after harvest
    ],
)
def test_at_usual_deficits_the_potentials_are_inside_theirs(
    day: str, vpd_kpa: float, wet: float, dry: float
) -> None:
    assert dry <= potential(day, vpd_kpa) <= wet
