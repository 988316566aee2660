"""Numbers on the picture: what is urgent is never smaller than what can wait, and nothing covers it."""

import itertools

import pytest
from helpers.drawn_content import ranch
from shapely import Point, box

from stressmap.output.paper.rank_labels import Placed, box_of, place_labels
from stressmap.output.view.crew_words import turns
from stressmap.output.view.layout import Frame, fit_frame

AREA = (0.0, 0.0, 1600.0, 900.0)


def placed(strips: int, wide: float) -> tuple[list[Placed], Frame]:
    """One block of strips, its zones from dry to wet, and one of a single zone that can wait."""
    content = ranch([("B", "prune", strips), ("W", "prune", 2)], across=2)
    content.valves["priority"] = [2 if n < 2 else 4 for n in range(len(content.valves))]
    frame = fit_frame(tuple(content.blocks.total_bounds), (300.0, 200.0, wide, 500.0))
    return place_labels(turns(content), frame, AREA), frame


@pytest.mark.parametrize(("strips", "wide"), [(3, 1000.0), (8, 800.0), (12, 800.0), (14, 500.0)])
def test_an_urgent_number_is_never_smaller_than_one_that_can_wait(strips: int, wide: float) -> None:
    found, _ = placed(strips, wide)
    urgent = [label.share for label, _, _ in found if label.turn.priority == 2]
    others = [label.share for label, _, _ in found if label.turn.priority == 4]
    assert len(urgent) == 2
    assert min(urgent) >= max(others)


def test_a_number_without_room_stands_beside_its_zone_with_a_line_into_it() -> None:
    found, frame = placed(14, 500.0)
    beside = [one for one in found if one[2] is not None]
    assert {label.turn.priority for label, _, _ in beside} == {2}
    for label, spot, end in beside:
        assert end is not None
        east, north = (
            frame.west + (end[0] - frame.left) / frame.scale,
            frame.north - (end[1] - frame.top) / frame.scale,
        )
        assert label.turn.row["geometry"].buffer(0.01).covers(Point(east, north))
        left, top, right, bottom = box_of(label, spot)
        assert left >= AREA[0]
        assert top >= AREA[1]
        assert right <= AREA[2]
        assert bottom <= AREA[3]


def test_a_number_beside_its_zone_covers_no_other() -> None:
    found, _ = placed(14, 500.0)
    shown = [(box(*box_of(label, spot)), end) for label, spot, end in found]
    for (one, first), (other, second) in itertools.combinations(shown, 2):
        if first is not None or second is not None:
            assert one.intersection(other).area == 0
