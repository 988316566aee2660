import numpy as np
import pytest
from shapely.geometry import box

from stressmap.share.crew import side_of
from stressmap.share.drawing import fit_frame, room_for, round_length

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


@pytest.mark.parametrize("longest", [3.0, 47.0, 260.0, 999.0, 12_345.0])
def test_a_scale_bar_is_round_and_fits(longest: float) -> None:
    for feet in (True, False):
        shown, metres = round_length(longest, feet=feet)
        assert metres <= longest
        assert shown / 10 ** np.floor(np.log10(shown)) in (1, 2, 5)
