"""How far below the fully watered line walnut should stand, date by date.

Advanced SWP Interpretation in Walnut, university cooperative extension manual "Stem water potential"
(Sacramento Valley orchards), text and table 1: best 2 to 3 bar below the line just before irrigation.
Standing: read.
"""

from helpers.allowance_courses import course, outside


def test_two_to_three_bar_below_the_line_on_every_day() -> None:
    assert outside(course("walnut"), "04-01", "11-15", 2.0, 3.0) == []
    assert outside(course("walnut", planted=2024.0), "04-01", "11-15", 2.0, 3.0) == []
