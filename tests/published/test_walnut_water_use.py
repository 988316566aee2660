"""The crop coefficient of walnut in spring.

By half month in California: April 0.53 and 0.68, May 0.79 and 0.86, June 0.93 and 1.00, July and August 1.14.
Standing: from memory only, no text read.
"""

import pytest

from stressmap.agronomy import crop_coefficient, load_profiles


@pytest.mark.parametrize(
    ("day", "kc"),
    [
        ("04-08", 0.53),
        ("04-23", 0.68),
        ("05-08", 0.79),
        ("05-23", 0.86),
        ("06-08", 0.93),
        ("06-23", 1.00),
        ("07-08", 1.14),
        ("08-15", 1.14),
    ],
)
def test_by_half_month(day: str, kc: float) -> None:
    points = load_profiles({}, "ranch.toml")["walnut"].crop_coefficient
    assert points is not None
    assert crop_coefficient([f"2026-{day}"], points.points)[0] == pytest.approx(kc)
