"""Cells, priority zones and valve zones of blocks, from a known surface: a plane with a known error."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy.spatial.distance import cdist
from scipy.stats import norm

from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.zone_covariance import ZoneCovariance
from stressmap.zoning.grid_cells import cells_of_block, lattice
from stressmap.zoning.mapping import MappingTerms, RanchLayout, map_blocks, threads, valve_means
from stressmap.zoning.valve_correlation import valve_correlations

EDGES = {"prune": (0.0, 2.0, 4.0), "walnut": (1.0, 2.0, 3.0)}
SE = 0.8


class Plane:
    """Stress rises eastward, a bar in 50 m; zones average their cells; errors fade over 60 m."""

    def __init__(self, shift: float = 0.0) -> None:
        self.shift = shift

    def predict(self, places: Places) -> Estimate:
        return Estimate(places.xy[:, 0] / 50.0 + self.shift, np.full(len(places), SE**2))

    def predict_zones(self, places: Places, zone: np.ndarray, count: int) -> Estimate:
        mean = [self.predict(places).mean[zone == z].mean() for z in range(count)]
        return Estimate(np.array(mean), np.arange(1.0, count + 1.0))

    def zone_covariance(self, places: Places, zone: np.ndarray, count: int) -> ZoneCovariance:
        share = np.array([(zone == z) / max((zone == z).sum(), 1) for z in range(count)])
        return ZoneCovariance(share @ np.exp(-cdist(places.xy, places.xy) / 60.0) @ share.T, 0.1)


@pytest.fixture
def ground() -> RanchLayout:
    """Two blocks; A holds three valve zones and a strip without, in another order than from west to east."""
    shapes = [shapely.box(0, 0, 300, 100), shapely.box(320, 0, 420, 100)]
    blocks = gpd.GeoDataFrame({"block": ["A", "B"], "crop": ["prune", "walnut"]}, geometry=shapes, crs=32610)
    valves = gpd.GeoDataFrame(
        {"valve": ["east", "b", "west", "mid"], "block": ["A", "B", "A", "A"]},
        geometry=[shapely.box(x, 0, x + 100, 100) for x in (200, 320)]
        + [shapely.box(0, 0, 80, 100), shapely.box(100, 0, 200, 100)],
        crs=32610,
    )
    return RanchLayout(blocks, valves, lattice(blocks, 10.0))


TERMS = MappingTerms(EDGES, 0.05)


def mapped(ground: RanchLayout, earlier: Any = None, **more: Any) -> Any:
    return map_blocks((Plane(), earlier), ground, TERMS, **more)  # type: ignore[arg-type]


def test_every_cell_inside_a_block_has_the_planes_figure(ground: RanchLayout) -> None:
    done = mapped(ground)
    grid = ground.grid
    east = grid.west + (done.col + 0.5) * grid.cell_m
    north = grid.north - (done.row + 0.5) * grid.cell_m
    assert sorted(zip(east, north, strict=True)) == [
        (x, y)
        for x in [*np.arange(5.0, 300.0, 10.0), *np.arange(325.0, 420.0, 10.0)]
        for y in np.arange(5.0, 100.0, 10.0)
    ]
    assert done.stress_bar == pytest.approx(east / 50.0, rel=1e-6)
    assert done.stress_se_bar == pytest.approx(np.full(len(east), SE), rel=1e-6)


def test_a_valve_zones_figure_is_that_of_its_middle_whatever_the_order(ground: RanchLayout) -> None:
    """The mean of a plane over a rectangle is its figure in the middle."""
    done = mapped(ground)
    middles = np.array([250.0, 370.0, 40.0, 150.0])
    assert done.valves.mean == pytest.approx(middles / 50.0)
    assert done.valves.se == pytest.approx(np.sqrt([1.0, 1.0, 2.0, 3.0])), "as asked, block by block"
    assert done.earlier is None
    alone = valve_means(Plane(), ground)  # type: ignore[arg-type]
    assert alone.mean == pytest.approx(done.valves.mean)
    assert alone.se == pytest.approx(done.valves.se)


def test_the_visit_before_is_averaged_over_the_same_zones(ground: RanchLayout) -> None:
    done = mapped(ground, Plane(-1.5))
    assert done.earlier.mean == pytest.approx(done.valves.mean - 1.5)


def test_a_valve_zone_between_the_cells_gets_the_figure_of_its_heart(ground: RanchLayout) -> None:
    valves = ground.valves.copy()
    valves.loc[2, "geometry"] = shapely.box(1.0, 1.0, 3.0, 3.0)
    valves.loc[1, "geometry"] = shapely.box(329.0, 50.0, 331.0, 52.0)
    done = mapped(RanchLayout(ground.blocks, valves, ground.grid))
    assert done.valves.mean == pytest.approx([5.0, 330.0 / 50.0, 2.0 / 50.0, 3.0], abs=1e-6)


def test_priority_zones_follow_the_edges_of_the_crop(ground: RanchLayout) -> None:
    """In A the plane crosses 0, 2 and 4 bar at 0, 100 and 200 m; all of B is over the walnut's 3 bar."""
    zones = mapped(ground).zones
    assert zones["block"].tolist() == ["A", "A", "A", "B"]
    assert zones["priority"].tolist() == [1, 2, 3, 1]
    assert zones["area_ha"].tolist() == pytest.approx([1.0, 1.0, 1.0, 1.0])
    assert [g.bounds[0] for g in zones.geometry] == pytest.approx([200.0, 100.0, 0.0, 320.0])
    assert zones["stress_bar"].tolist() == pytest.approx([5.0, 3.0, 1.0, 7.4])
    assert zones["stress_se_bar"].tolist() == pytest.approx([1.0, 2**0.5, 3**0.5, 1.0])
    assert zones["label_en"].nunique() == zones["label_es"].nunique() == 3
    assert zones.crs == ground.blocks.crs


def test_a_zones_confidence_is_the_mean_chance_of_its_class_or_drier(ground: RanchLayout) -> None:
    zones = mapped(ground).zones
    for zone, edge, west, east in zip(
        zones.itertuples(), [4.0, 2.0, 0.0, 3.0], [200, 100, 0, 320], [300, 200, 100, 420], strict=True
    ):
        cells = np.arange(west + 5.0, east, 10.0) / 50.0
        assert zone.confidence == pytest.approx(norm.sf((edge - cells) / SE).mean(), rel=1e-9)


def test_the_wettest_class_cannot_be_missed(ground: RanchLayout) -> None:
    done = map_blocks((Plane(-20.0), None), ground, TERMS)  # type: ignore[arg-type]
    assert done.zones["priority"].tolist() == [4, 4]
    assert done.zones["confidence"].tolist() == [1.0, 1.0]


def test_two_at_once_give_the_same_and_every_block_is_a_step(ground: RanchLayout) -> None:
    steps: list[int] = []
    one, two = mapped(ground, step=lambda: steps.append(1)), mapped(ground, spread=threads(2))
    assert len(steps) == 2
    assert one.stress_bar.tobytes() == two.stress_bar.tobytes()
    assert one.zones.equals(two.zones)


def test_cells_of_a_slanting_block_are_inside_where_their_middle_is() -> None:
    outline = shapely.affinity.rotate(shapely.box(0, 0, 170, 90), 23)
    blocks = gpd.GeoDataFrame({"block": ["A"], "crop": ["prune"]}, geometry=[outline], crs=32610)
    cells = cells_of_block(blocks, blocks.assign(valve="A"), lattice(blocks, 7.0), 0)
    assert (cells.inside == shapely.contains_xy(outline, cells.xy)).all()
    assert not cells.inside.all(), "cells that only touch the block are there too"
    square = [shapely.box(x - 3.5, y - 3.5, x + 3.5, y + 3.5) for x, y in cells.xy]
    assert shapely.union_all(square).covers(outline)
    assert set(cells.valve[cells.inside]) == {0}


def test_errors_of_valve_zones_hang_together_within_a_block_only(ground: RanchLayout) -> None:
    found = valve_correlations(Plane(), ground).toarray()  # type: ignore[arg-type]
    centres = np.stack(np.meshgrid(np.arange(5.0, 300, 10), np.arange(5.0, 100, 10)), axis=-1).reshape(-1, 2)
    held = [centres[(centres[:, 0] > a) & (centres[:, 0] < b)] for a, b in ((200, 300), (0, 80), (100, 200))]
    joint = np.array([[np.exp(-cdist(p, q) / 60.0).mean() for q in held] for p in held])
    expected = joint / np.sqrt(np.outer(np.diag(joint), np.diag(joint)))
    assert found[np.ix_([0, 2, 3], [0, 2, 3])] == pytest.approx(expected, rel=1e-9)
    assert np.diag(found).tolist() == [1.0] * 4
    assert found[1, [0, 2, 3]].tolist() == found[[0, 2, 3], 1].tolist() == [0.0] * 3
