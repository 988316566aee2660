import numpy as np
import pytest
from shapely import unary_union
from shapely.geometry import Point, Polygon, box

from stressmap.output.view.crew_words import side_of
from stressmap.output.view.layout import (
    Frame,
    beside,
    centred,
    fit_frame,
    free_spot,
    inside,
    room_for,
    round_length,
)

BLOCK = box(0, 0, 300, 300)


@pytest.mark.parametrize(
    ("west", "south", "expected"),
    [(0, 0, "sw"), (100, 0, "s"), (200, 0, "se"), (0, 100, "w"), (100, 100, "c"), (200, 100, "e"),
     (0, 200, "nw"), (100, 200, "n"), (200, 200, "ne")],
)  # fmt: skip
def test_where_a_zone_lies_in_its_block(west: float, south: float, expected: str) -> None:
    assert side_of(box(west, south, west + 100, south + 100), BLOCK) == expected


def test_a_zone_that_is_its_block_has_no_side() -> None:
    assert side_of(BLOCK, BLOCK) == "all"
    assert side_of(BLOCK, None) == "c"


def test_the_whole_of_it_is_on_the_sheet_and_north_is_up() -> None:
    frame = fit_frame((500.0, 100.0, 900.0, 1100.0), (10.0, 20.0, 180.0, 60.0))
    corners = frame.place(np.array([[500.0, 100.0], [900.0, 1100.0]]))
    assert corners[:, 0].min() >= 10
    assert corners[:, 0].max() <= 190
    assert corners[:, 1].tolist() == pytest.approx([80.0, 20.0])


def test_no_label_covers_another() -> None:
    spots = np.random.default_rng(4).uniform(0, 100, (300, 2))
    kept = spots[room_for(spots, (12.0, 6.0))]
    apart = np.abs(kept[:, None] - kept[None]) >= (12.0, 6.0)
    assert (apart.any(axis=2) | np.eye(len(kept), dtype=bool)).all()
    assert kept[0].tolist() == spots[0].tolist()


def test_labels_of_unlike_sizes_do_not_cover_each_other() -> None:
    draw = np.random.default_rng(5)
    spots, sizes = draw.uniform(0, 100, (300, 2)), draw.uniform(3, 15, (300, 2))
    kept = room_for(spots, sizes)
    boxes = [box(*(spots[i] - sizes[i] / 2), *(spots[i] + sizes[i] / 2)) for i in kept]
    assert sum(box.area for box in boxes) == pytest.approx(unary_union(boxes).area)


@pytest.mark.parametrize("seed", range(20))
def test_labels_moved_aside_are_all_seen_and_hide_no_other_spot(seed: int) -> None:
    spots = np.random.default_rng(seed).uniform((10, 10), (60, 40), (8, 2))
    middles = beside(spots, (8.0, 4.6), (0.0, 0.0, 130.0, 56.0))
    labels = [box(x - 4, y - 2.3, x + 4, y + 2.3) for x, y in middles]
    assert sum(label.area for label in labels) == pytest.approx(unary_union(labels).area)
    assert all(box(0, 0, 130, 56).covers(label) for label in labels)
    for label, place, spot in zip(labels, middles, spots, strict=True):
        if (place != spot).any():
            assert not any(label.contains(Point(other)) for other in spots)
    assert middles[0].tolist() == spots[0].tolist()


def test_a_label_lies_inside_its_shape_at_the_largest_size_that_does() -> None:
    angle = Polygon([(0, 0), (100, 0), (100, 20), (20, 20), (20, 100), (0, 100)])
    spot, size = inside(angle, [(60, 30), (16, 12), (8, 6)])
    assert size == 1
    assert angle.covers(box(spot.x - 8, spot.y - 6, spot.x + 8, spot.y + 6))
    assert inside(box(0, 0, 5, 100), [(60, 30), (16, 12)]) is None


@pytest.mark.parametrize("longest", [3.0, 47.0, 260.0, 999.0, 12_345.0])
def test_a_scale_bar_is_round_and_fits(longest: float) -> None:
    for feet in (True, False):
        shown, metres = round_length(longest, feet=feet)
        assert metres <= longest
        assert shown / 10 ** np.floor(np.log10(shown)) in (1, 2, 5)


def test_a_label_stands_in_its_shape_and_on_nothing_else() -> None:
    """Of a slanted block with three labels in it; the room that is left is found, and none where none is."""
    shape = Polygon([(0, 0), (200, 0), (260, 120), (60, 120)])
    frame = Frame(0.0, 120.0, 0.0, 0.0, 1.0)
    taken = [centred(x, 40.0, 50.0, 40.0) for x in (90.0, 150.0, 205.0)]
    spot = free_spot(shape, (60.0, 18.0), frame, taken)
    assert spot is not None
    left, top, right, bottom = spot
    assert shape.covers(box(left, 120 - bottom, right, 120 - top))
    assert all(box(*spot).intersection(box(*other)).area == 0 for other in taken)
    assert free_spot(shape, (60.0, 18.0), frame, [(0.0, 0.0, 260.0, 120.0)]) is None
    assert free_spot(shape, (300.0, 18.0), frame, []) is None
