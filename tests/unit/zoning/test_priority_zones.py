"""Priority zones: hand-worked surfaces, and cover, size and validity on drawn ones."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter

from stressmap.core.errors import SettingsError
from stressmap.zoning.grid_cells import cells_of_block, lattice
from stressmap.zoning.lattice_limits import refuse_too_many_cells
from stressmap.zoning.priorities import priority, probabilities, probability_over
from stressmap.zoning.priority_zones import Zone, block_zones, connected, merge_small

EDGES = (0.0, 2.0, 4.0)


def zones_of(classes: list[list[int]], cell_m: float = 10.0, smallest_ha: float = 0.0) -> list[Zone]:
    """Zone a block that is exactly a grid of classes, its lower left corner at (0, 0)."""
    grid_classes = np.array(classes)
    rows, cols = grid_classes.shape
    outline = shapely.box(0, 0, cols * cell_m, rows * cell_m)
    blocks = gpd.GeoDataFrame({"block": ["A"], "crop": ["prune"]}, geometry=[outline], crs="EPSG:32610")
    grid = lattice(blocks, cell_m)
    cells = cells_of_block(blocks, blocks.assign(valve="A"), grid, 0)
    assert cells.inside.sum() == rows * cols
    level = grid_classes[np.clip(cells.row, 0, rows - 1), np.clip(cells.col, 0, cols - 1)]
    return block_zones(outline, cells, level.astype(np.int64), grid, smallest_ha)


def test_a_four_by_four_surface_gives_two_halves():
    zones = zones_of([[1, 1, 4, 4]] * 4)
    assert [z.priority for z in zones] == [1, 4]
    assert zones[0].outline.equals(shapely.box(0, 0, 20, 40))
    assert zones[1].outline.equals(shapely.box(20, 0, 40, 40))


def test_cells_that_touch_only_by_a_corner_are_two_zones():
    labels = connected(np.array([[1, 4], [4, 1]], dtype=np.int32))
    assert sorted(labels.ravel().tolist()) == [1, 2, 3, 4]


def test_a_hole_in_a_zone_is_a_zone_of_its_own():
    classes = [[3] * 6, [3] * 6, [3, 3, 1, 1, 3, 3], [3, 3, 1, 1, 3, 3], [3] * 6, [3] * 6]
    dry, rest = zones_of(classes)
    assert (dry.priority, rest.priority) == (1, 3)
    assert len(rest.outline.interiors) == 1
    assert dry.outline.area + rest.outline.area == pytest.approx(3600.0)
    assert dry.outline.intersection(rest.outline).area == 0.0


def test_a_small_zone_joins_the_neighbour_with_the_longest_shared_boundary():
    classes = [[2, 2, 2, 4], [2, 1, 2, 4], [2, 2, 2, 4], [4, 4, 4, 4]]
    zones = zones_of(classes, smallest_ha=0.02)
    assert [z.priority for z in zones] == [2, 4]


def test_the_smaller_of_two_small_zones_is_merged_first():
    classes = np.array([[1, 2, 2, 3, 3, 3, 3]], dtype=np.int32)
    merge_small(classes, np.array([0.0, 1.0, 2.0, 4.0]), 3.0)
    assert classes.tolist() == [[2, 2, 2, 3, 3, 3, 3]]


def test_a_figure_on_an_edge_belongs_to_the_wetter_class():
    assert priority([4.0, np.nextafter(4.0, 5.0), 2.0, 0.0, -1.0], EDGES).tolist() == [2, 1, 3, 4, 4]


def test_a_missing_figure_is_never_given_a_priority():
    with pytest.raises(ValueError, match="stress_bar holds figures that are not finite"):
        priority([1.0, float("nan")], EDGES)


def test_probabilities_of_the_classes_are_those_of_the_normal_table():
    # Standard normal table, any statistics handbook: Phi(1) = 0.8413, Phi(2) = 0.9772 (common knowledge).
    odds = probabilities([3.0], [1.0], EDGES)[0]
    assert odds == pytest.approx([0.1587, 0.8413 - 0.1587, 0.9987 - 0.8413, 0.0013], abs=2e-4)
    assert odds.sum() == pytest.approx(1.0)


def test_without_an_error_the_estimate_is_the_truth():
    assert probability_over([4.1, 4.0], [0.0, 0.0], 4.0).tolist() == [1.0, 0.0]


def test_a_slip_in_the_cell_size_is_refused_before_it_fills_the_memory():
    outline = shapely.box(0, 0, 1000, 1000)
    blocks = gpd.GeoDataFrame({"block": ["A"]}, geometry=[outline], crs="EPSG:32610")
    with pytest.raises(SettingsError) as caught:
        refuse_too_many_cells(blocks, 0.05, "my_ranch.toml", memory=16_000_000_000)
    assert str(caught.value) == (
        "my_ranch.toml, column map.cell_m: cell_m = 0.05 would make 400 million cells in the blocks, and "
        "at most 61 million are mapped on this machine. Use 0.2 m or more."
    )
    refuse_too_many_cells(blocks, 0.2, memory=16_000_000_000)
    with pytest.raises(
        SettingsError, match=r"at most 10 million are mapped on this machine\. Use 0\.4 m or more\.$"
    ):
        refuse_too_many_cells(blocks, 0.2, memory=2_000_000_000)
    with pytest.raises(SettingsError, match="would make 400 million"):
        lattice(blocks, 0.05)


def test_the_remedy_for_too_small_cells_is_rounded_up_to_a_tenth():
    """4.704 km2 in the 61 million cells that 16 GB bear are 0.28 m each: 0.3 m will do."""
    blocks = gpd.GeoDataFrame({"block": ["A"]}, geometry=[shapely.box(0, 0, 1400, 3360)], crs="EPSG:32610")
    with pytest.raises(SettingsError, match=r"Use 0\.3 m or more\.$"):
        refuse_too_many_cells(blocks, 0.05, memory=16_000_000_000)
    refuse_too_many_cells(blocks, 0.3, memory=16_000_000_000)


def test_blocks_too_far_apart_for_one_raster_are_refused_with_the_extent():
    """Two parcels 200 km apart, 120 km east and 160 km north: 768 million cells of 5 m."""
    parcels = [shapely.box(0, 0, 400, 400), shapely.box(119_600, 159_600, 120_000, 160_000)]
    blocks = gpd.GeoDataFrame({"block": ["A", "B"]}, geometry=parcels, crs="EPSG:32610")
    with pytest.raises(SettingsError) as caught:
        lattice(blocks, 5.0, "my_ranch.toml")
    assert str(caught.value) == (
        "my_ranch.toml, column map.cell_m: the blocks lie 120 km by 160 km apart: at cell_m = 5 the map "
        "around them would hold 768 million cells, and at most 100 million are mapped. Make a "
        "ranch.toml for each group of blocks, or use 13.9 m or more."
    )
    assert lattice(blocks, 16.1).shape == (9938, 7454)


def test_an_area_of_no_size_joins_its_neighbour_though_no_size_is_asked():
    classes = np.array([[1, 2, 2]], dtype=np.int32)
    merge_small(classes, np.array([0.0, 0.0, 5.0]), 0.0)
    assert classes.tolist() == [[2, 2, 2]]


def drawn_block(seed: int) -> tuple[shapely.Geometry, gpd.GeoDataFrame]:
    rng = np.random.default_rng(seed)
    wide, high = rng.uniform(200, 700, 2)
    outline = shapely.affinity.rotate(shapely.box(0, 0, wide, high), rng.uniform(0, 90))
    outline = shapely.affinity.translate(outline, 600_000 + rng.uniform(0, 10), 4_100_000)
    if seed % 3 == 0:
        outline = outline.difference(outline.centroid.buffer(40))
    if seed % 4 == 0:
        road = shapely.affinity.rotate(shapely.box(-2000, -8, 2000, 8), 30)
        outline = outline.difference(shapely.affinity.translate(road, outline.centroid.x, outline.centroid.y))
    return outline, gpd.GeoDataFrame(
        {"block": ["A"], "crop": ["prune"]}, geometry=[outline], crs="EPSG:32610"
    )


@pytest.mark.parametrize("seed", range(16))
def test_zones_cover_the_block_without_gap_or_overlap_and_none_is_too_small(seed):
    outline, blocks = drawn_block(seed)
    grid = lattice(blocks, 5.0)
    cells = cells_of_block(blocks, blocks.assign(valve="A"), grid, 0)
    noise = gaussian_filter(np.random.default_rng(seed).normal(size=grid.shape), [1.5, 4.0, 10.0][seed % 3])
    stress = 2.0 + 3.0 * noise / noise.std()
    zones = block_zones(outline, cells, priority(stress[cells.row, cells.col], EDGES), grid, 0.2)
    shapes = [z.outline for z in zones]
    held = np.sort(np.concatenate([z.cells for z in zones]))
    assert held.tolist() == np.flatnonzero(cells.inside).tolist(), "every cell inside in one zone"
    whole = shapely.union_all(shapes)
    assert abs(whole.area - outline.area) < 1e-3 * outline.area
    assert sum(s.area for s in shapes) - whole.area < 1.0
    assert all(s.is_valid for s in shapes)
    assert min(s.area for s in shapes) >= 2000.0 or len(shapes) == 1
    assert not shapely.symmetric_difference(whole, outline).area > 1.0


def test_a_block_smaller_than_a_cell_still_has_one_cell_and_one_zone():
    outline = shapely.box(3, 3, 5, 5)
    blocks = gpd.GeoDataFrame({"block": ["A"], "crop": ["prune"]}, geometry=[outline], crs="EPSG:32610")
    grid = lattice(blocks, 50.0)
    cells = cells_of_block(blocks, blocks.assign(valve="A"), grid, 0)
    assert cells.inside.sum() == 1
    (zone,) = block_zones(outline, cells, np.array([2]), grid, 0.2)
    assert zone.outline.equals(outline)
    assert len(zone.cells) == 1


def test_cells_know_their_valve_zone():
    outline = shapely.box(0, 0, 40, 20)
    blocks = gpd.GeoDataFrame({"block": ["A"], "crop": ["prune"]}, geometry=[outline], crs="EPSG:32610")
    valves = gpd.GeoDataFrame(
        {"valve": ["west", "mid"], "block": ["A", "A"]},
        geometry=[shapely.box(0, 0, 10, 20), shapely.box(10, 0, 30, 20)],
        crs="EPSG:32610",
    )
    cells = cells_of_block(blocks, valves, lattice(blocks, 10.0), 0)
    east = cells.xy[:, 0]
    inside = cells.inside
    assert set(cells.valve[inside & (east < 10)]) == {0}
    assert set(cells.valve[inside & (east > 10) & (east < 30)]) == {1}
    assert set(cells.valve[inside & (east > 30)]) == {-1}
