"""Ways along rows, worked out by hand on rectangles."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from stressmap.rounds.round import CrewRules
from stressmap.rounds.tree_rows import TreeRows, rows_of
from stressmap.rounds.ways import Lanes, RanchWays

WEST, EAST = shapely.box(0, 0, 100, 200), shapely.box(110, 0, 210, 200)
NORTHWARD = {"spacing_m": 5.0, "tree_m": 4.0, "bearing_deg": 0.0}
TREES = np.array([[12.5, 50.0], [12.5, 150.0], [17.5, 60.0], [42.5, 50.0], [112.5, 10.0]])
NO_TREES = np.empty((0, 2))


def ranch(
    *, drive_m_s: float = 4.0, gates: tuple = ((50.0, 0.0), (160.0, 0.0)), start: tuple | None = None
) -> RanchWays:
    rows = {code: (block, rows_of(block, NO_TREES, **NORTHWARD)) for code, block in enumerate((WEST, EAST))}
    rules = CrewRules(walk_m_s=1.0, drive_m_s=drive_m_s, start_seconds=30.0)
    block = np.array([0, 0, 0, 0, 1])
    return RanchWays(rows, [WEST, EAST], (TREES, block), rules, Lanes(gates=gates, start=start))


def test_walks_inside_a_block_go_along_alleys_and_round_the_ends_of_rows() -> None:
    seconds = ranch().seconds()
    assert seconds[0, 1] == 100
    assert seconds[0, 2] == np.ceil(np.hypot(5, 10))  # the next row over shares the alley
    assert seconds[0, 3] == 50 + 30 + 50
    assert seconds[1, 3] == 50 + 30 + 150  # over either end
    assert (seconds == seconds.T).all()
    assert (np.diag(seconds) == 0).all()


def test_between_blocks_one_walks_to_the_vehicle_drives_and_walks() -> None:
    # 50 m down the row and 37.5 m along the headland; 110 m at 4 m/s and 30 s; 47.5 m and 10 m.
    assert ranch().seconds()[0, 4] == np.ceil(87.5 + 110 / 4 + 30 + 57.5)


def test_on_foot_one_walks_all_the_way() -> None:
    assert ranch(drive_m_s=0.0).seconds()[0, 4] == np.ceil(87.5 + 110 + 57.5)


def test_the_line_of_a_way_is_as_long_as_its_time_says() -> None:
    ways = ranch(drive_m_s=0.0)
    for one, other in ((0, 1), (0, 3), (1, 3), (3, 4)):
        _, line = ways.line(one, other)
        assert line[0] == tuple(TREES[one])
        assert line[-1] == tuple(TREES[other])
        assert shapely.LineString(line).length == pytest.approx(ways.seconds()[one, other], abs=1.0)
    assert ranch().line(0, 4)[0] == "drive"
    assert ranch().line(0, 3)[0] == "walk"


def test_no_way_between_blocks_crosses_a_block() -> None:
    far = shapely.box(0, 210, 100, 400)
    blocks = [WEST, EAST, far]
    rows = {code: (block, rows_of(block, NO_TREES, **NORTHWARD)) for code, block in enumerate(blocks)}
    trees = np.array([[50.0, 20.0], [160.0, 20.0], [50.0, 390.0]])
    gates = Lanes(gates=((50, 0), (160, 0), (50, 400)))
    ways = RanchWays(rows, blocks, (trees, np.arange(3)), CrewRules(), gates)
    _, line = ways.line(0, 2)
    inner = shapely.union_all([block.buffer(-3) for block in blocks[1:2]])
    assert not shapely.LineString(line).intersects(inner)
    assert ways.seconds()[0, 2] * 3 > 20 + 390 - 30 * 3


def test_an_odd_outline_takes_its_longer_way_round() -> None:
    horseshoe = shapely.Polygon(
        [(0, 0), (100, 0), (100, 200), (60, 200), (60, 50), (40, 50), (40, 200), (0, 200)]
    )
    rows = {0: (horseshoe, rows_of(horseshoe, NO_TREES, **NORTHWARD))}
    trees = np.array([[22.5, 150.0], [82.5, 150.0]])
    ways = RanchWays(rows, [horseshoe], (trees, np.zeros(2, np.int64)), CrewRules(drive_m_s=0.0))
    assert ways.seconds()[0, 1] == 150 + 60 + 150


def test_roads_say_where_a_block_is_entered() -> None:
    rows = {code: (block, rows_of(block, NO_TREES, **NORTHWARD)) for code, block in enumerate((WEST, EAST))}
    block = np.array([0, 0, 0, 0, 1])
    north = shapely.MultiLineString([[(-50, 210), (300, 210)]])
    ways = RanchWays(rows, [WEST, EAST], (TREES, block), CrewRules(), Lanes(north))
    _, line = ways.line(0, 4)
    assert max(y for _, y in line) >= 200


def test_trees_are_numbered_along_the_bearing_from_the_left_edge() -> None:
    rows = rows_of(WEST, NO_TREES, **NORTHWARD)
    row, number = rows.numbered(WEST, TREES[:2])
    assert row.tolist() == [3, 3]
    assert number.tolist() == [13, 38]
    eastward = rows_of(WEST, NO_TREES, spacing_m=5.0, tree_m=4.0, bearing_deg=90.0)
    row, number = eastward.numbered(WEST, np.array([[1.0, 199.0]]))
    assert (row.tolist(), number.tolist()) == ([1], [1])


def test_places_move_to_trees() -> None:
    rows = rows_of(WEST, NO_TREES, **NORTHWARD)
    moved = rows.at_trees(WEST, np.array([[11.0, 49.0]]))
    assert moved.tolist() == [pytest.approx([12.5, 50.0])]
    bare = rows_of(WEST, NO_TREES, spacing_m=np.nan, tree_m=np.nan, bearing_deg=np.nan)
    assert bare.at_trees(WEST, TREES[:1]) is TREES[:1] or not bare.told


def test_rows_are_found_from_known_trees() -> None:
    rng = np.random.default_rng(3)
    row = rng.integers(0, 17, 40)
    trees = np.column_stack([3 + 6.0 * row + rng.normal(0, 0.5, 40), rng.uniform(5, 195, 40)])
    found = rows_of(WEST, trees, spacing_m=np.nan, tree_m=np.nan, bearing_deg=np.nan)
    assert found.told
    assert found.spacing_m == pytest.approx(6.0, abs=0.1)
    assert found.bearing_deg == pytest.approx(0.0)
    anywhere = rng.uniform(5, 95, (40, 2))
    assert not rows_of(WEST, anywhere, spacing_m=np.nan, tree_m=np.nan, bearing_deg=np.nan).told


def test_axes_turn_there_and_back() -> None:
    rows = TreeRows(37.0, 5.0, 4.0, 0.0, 0.0, told=True)
    assert rows.on_the_map(rows.own_axes(TREES)) == pytest.approx(TREES)


def test_crews_that_start_at_a_place_drive_to_their_first_tree() -> None:
    ways = ranch(start=(50.0, -40.0))
    # 40 m at 4 m/s to the gate and 30 s; along the headland and the row 37.5 and 50 m
    assert ways.start_seconds() is not None
    assert ways.start_seconds()[0] == 40 / 4 + 30 + 37.5 + 50 + 0.5
    line = ways.start_line(0)
    assert (line[0], line[-1]) == ((50.0, -40.0), tuple(TREES[0]))
    assert ranch().start_seconds() is None
    on_foot = ranch(drive_m_s=0.0, start=(50.0, -40.0))
    assert shapely.LineString(on_foot.start_line(3)).length == pytest.approx(
        on_foot.start_seconds()[3], abs=1
    )


def test_a_vehicle_waits_where_rows_end_and_trees_that_share_it_are_walked_to() -> None:
    """Without gates it is left at the nearer end; 200 m of row lie between the two ends."""
    rows = {0: (WEST, rows_of(WEST, NO_TREES, **NORTHWARD))}
    trees = np.array([[12.5, 15.0], [27.5, 15.0], [12.5, 185.0]])
    rules = CrewRules(walk_m_s=1.0, drive_m_s=4.0, start_seconds=30.0)
    ways = RanchWays(rows, [WEST], (trees, np.zeros(3, np.int64)), rules)
    assert ways.seconds()[0, 1] == 15 + 15 + 15
    assert ways.line(0, 1)[0] == "walk"
    how, line = ways.line(0, 2)
    assert how == "drive"
    assert shapely.LineString(line).length == pytest.approx(15 + 12.5 + 200 + 12.5 + 15, abs=60)
    assert ways.seconds()[0, 2] < 170  # sooner than along the row
