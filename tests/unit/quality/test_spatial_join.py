"""Points and valve zones find their block; what is doubtful is said."""

from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.quality.spatial_join import join_valves, site

CRS = "EPSG:32610"


@pytest.fixture
def blocks() -> gpd.GeoDataFrame:
    shapes = [shapely.box(0, 0, 100, 100), shapely.box(120, 0, 220, 100)]
    return gpd.GeoDataFrame({"block": ["West", "East"]}, geometry=shapes, crs=CRS)


@pytest.fixture
def valves() -> gpd.GeoDataFrame:
    shapes = [shapely.box(0, 0, 50, 100), shapely.box(50, 0, 100, 100), shapely.box(120, 0, 220, 60)]
    table = {"valve": ["W1", "W2", "E1"], "block": ["West", "West", "East"]}
    return gpd.GeoDataFrame(table, geometry=shapes, crs=CRS)


def points(*xy: tuple[float, float] | None) -> gpd.GeoSeries:
    return gpd.GeoSeries([shapely.Point(p) if p else None for p in xy], crs=CRS)


def test_a_point_inside_belongs_to_its_block_and_valve(blocks, valves):
    found = site(points((10, 10), (75, 50), (130, 10)), blocks, valves, 10.0)
    assert found["block"].tolist() == ["West", "West", "East"]
    assert found["valve"].tolist() == ["W1", "W2", "E1"]
    assert not found["near_boundary"].any()
    assert not found["outside"].any()


def test_a_point_just_outside_belongs_to_the_nearest_block_within_the_tolerance(blocks, valves):
    found = site(points((106, 50), (112, 50), (110, 50)), blocks, valves, 10.0)
    assert found["block"].tolist() == ["West", "East", "West"]
    assert found["distance_m"].tolist() == [6.0, 8.0, 10.0]
    assert found["near_boundary"].all()


def test_a_point_beyond_the_tolerance_is_outside(blocks, valves):
    found = site(points((300, 50), (231, 50)), blocks, valves, 10.0)
    assert found["block"].tolist() == [None, None]
    assert found["valve"].tolist() == [None, None]
    assert found["outside"].all()


def test_without_a_tolerance_only_points_inside_or_on_the_line_belong(blocks, valves):
    found = site(points((100, 50), (100.01, 50)), blocks, valves, 0.0)
    assert found["block"].tolist() == ["West", None]


def test_a_point_in_no_valve_zone_keeps_its_block(blocks, valves):
    found = site(points((200, 90)), blocks, valves, 10.0)
    assert found["block"].tolist() == ["East"]
    assert found["valve"].tolist() == [None]


def test_a_valve_of_the_next_block_is_never_taken(blocks, valves):
    found = site(points((109, 50)), blocks, valves, 15.0)
    assert (found["block"].item(), found["valve"].item()) == ("West", "W2")


def test_a_reading_without_a_place_is_neither_inside_nor_outside(blocks, valves):
    found = site(points(None, (10, 10)), blocks, valves, 10.0)
    assert found["block"].tolist() == [None, "West"]
    assert not found["outside"].any()


def test_valves_find_their_block_by_overlap_and_are_cut_to_it(blocks, valves):
    loose = valves.assign(block=None)
    loose.geometry = [
        shapely.box(-10, 0, 50, 100),
        shapely.box(50, 0, 105, 100),
        shapely.box(115, 0, 220, 60),
    ]
    found = join_valves(loose, blocks, Path("valves.gpkg"))
    joined = found.value
    assert joined["block"].tolist() == ["West", "West", "East"]
    assert joined.geometry.area.tolist() == [5000.0, 5000.0, 6000.0]
    assert english(found) == ["Block 'East': no valve waters 0.99 acres of it."]


def test_a_valve_outside_every_block_is_left_out_and_said(blocks, valves):
    stray = valves.copy()
    stray.loc[2, ["block"]] = None
    stray.geometry = [*valves.geometry[:2], shapely.box(900, 900, 950, 950)]
    found = join_valves(stray, blocks, Path("valves.gpkg"))
    joined = found.value
    assert joined["valve"].tolist() == ["W1", "W2", "East"]
    assert joined["block"].tolist() == ["West", "West", "East"]
    assert english(found) == [
        "Valve 'E1' lies outside every block and is left out.",
        "No valve lies in block 'East'; it is taken as one valve zone.",
    ]


def test_a_valve_that_names_an_unknown_block_is_an_error(blocks, valves):
    wrong = valves.assign(block=["West", "Wset", "East"])
    with pytest.raises(DataError) as caught:
        join_valves(wrong, blocks, Path("valves.gpkg"))
    assert str(caught.value) == (
        "valves.gpkg, row 3, column block: there is no block 'Wset'. Correct the name or leave it empty."
    )


def test_a_valve_across_two_blocks_counts_where_most_of_it_lies_and_is_said(blocks, valves):
    across = valves.assign(block=None)
    across.geometry = [valves.geometry[0], shapely.box(50, 0, 150, 100), valves.geometry[2]]
    found = join_valves(across, blocks, Path("valves.gpkg"))
    joined = found.value
    assert joined["block"].tolist() == ["West", "West", "East"]
    assert english(found)[0] == (
        "Valve 'W2' lies across blocks 'West' (50 %) and 'East' (30 %); it is counted in 'West' only. "
        "Draw a zone for each."
    )


@pytest.mark.parametrize(("west", "said"), [(-100.0, None), (-101.0, "50 %"), (-300.0, "25 %")])
def test_a_valve_mostly_outside_its_block_is_said(blocks, valves, west, said):
    """Half of it and more inside is nothing to say; less is told in per cent."""
    wide = valves.assign(block=["West", "West", "East"])
    wide.geometry = [shapely.box(west, 0, 100, 100), shapely.box(90, 0, 100, 100), blocks.geometry[1]]
    found = join_valves(wide, blocks, Path("valves.gpkg"))
    assert found.value.geometry.area[0] == pytest.approx(10_000.0)
    told = [note for note in english(found) if "cut off" in note]
    if said is None:
        assert told == []
    else:
        (note,) = told
        assert note == (
            f"Only {said} of the zone of valve 'W1' lies in its block 'West'; the rest is cut off."
        )


def test_shares_and_bare_land_are_told_to_the_last_digit():
    """A valve lies 300 m in one block and 200 m in the next; 100 ha and 40 ha of them have no valve."""
    shapes = [shapely.box(0, 0, 1000, 2000), shapely.box(1000, 0, 2000, 2000)]
    big = gpd.GeoDataFrame({"block": ["West", "East"]}, geometry=shapes, crs=CRS)
    drawn = [shapely.box(700, 0, 1200, 2000), shapely.box(1200, 0, 2000, 2000), shapely.box(0, 0, 200, 2000)]
    table = {"valve": ["W1", "E1", "W2"], "block": [None, "East", "West"]}
    found = join_valves(gpd.GeoDataFrame(table, geometry=drawn, crs=CRS), big, Path("valves.gpkg"))
    told = " ".join(english(found))
    assert "across blocks 'West' (60 %) and 'East' (40 %)" in told
    assert (
        "No valve waters parts of 2 blocks, 345.95 acres in all; the most, 247.11 acres, in block 'West'."
        in told
    )


def test_a_sliver_between_two_valves_is_closed_and_said(blocks, valves):
    gap = valves.copy()
    gap.geometry = [shapely.box(0, 0, 49.2, 100), shapely.box(50, 0, 100, 100), shapely.box(120, 0, 220, 100)]
    found = join_valves(gap, blocks, Path("valves.gpkg"))
    joined = found.value
    assert joined.geometry.area.sum() == pytest.approx(20_000.0, abs=0.5)
    assert english(found) == ["Block 'West': slivers of 0.02 acres between its valve zones were closed."]


def test_a_lane_between_two_valves_stays(blocks, valves):
    lane = valves.copy()
    lane.geometry = [shapely.box(0, 0, 47, 100), shapely.box(50, 0, 100, 100), shapely.box(120, 0, 220, 100)]
    found = join_valves(lane, blocks, Path("valves.gpkg"))
    joined = found.value
    assert joined.geometry.area.tolist() == [4700.0, 5000.0, 10_000.0]
    assert found.notes == ()
