"""How far below the fully watered line prune should stand, date by date.

Advanced SWP Interpretation in Prune, university cooperative extension manual "Stem water potential"
(Sacramento Valley orchards), text and table 1. Standing: read. The days within "mid-June" and "early
August" are ours, and so are the two weeks from harvest (25 August) in which water brings the trees from the
band before it into the band after it.
"""

import pytest
from helpers.allowance_courses import course, outside

BANDS = [
    # bars below the line: from, to, wet end, dry end
    ("04-01", "06-15", 2.0, 4.0),  # bearing trees, April to mid-June
    ("06-15", "08-05", 4.0, 6.0),  # mid-June to early August
    ("08-05", "08-25", 6.0, 8.0),  # early to mid-August on, fruit sized
    ("09-01", "11-30", 2.0, 6.0),  # after harvest
    ("01-01", "03-31", 0.0, 2.0),  # spring, none or minimal stress
]


@pytest.mark.parametrize(("first", "last", "wet", "dry"), BANDS)
def test_bearing_trees_are_inside_the_band_on_every_day(
    first: str, last: str, wet: float, dry: float
) -> None:
    assert outside(course("prune"), first, last, wet, dry) == []


def test_young_trees_are_inside_two_to_four_all_season() -> None:
    assert outside(course("prune", planted=2024.0), "04-01", "10-31", 2.0, 4.0) == []


def test_the_course_never_is_in_what_is_to_be_avoided() -> None:
    """8 to 10 bar below the line for long is to be avoided."""
    assert course("prune").max() <= 8.0
