"""Fine cells on a coarser lattice: how far from kriging them one by one, and when it is not done."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.drawn_ranches import Ranch, draw_ranch, lay_out

from stressmap.geostat import coarse_lattice
from stressmap.geostat.coarse_lattice import predict_cells
from stressmap.geostat.covariance import EXPONENTIAL
from stressmap.geostat.kriging import KrigingSystem
from stressmap.geostat.kriging_systems import RANCH_SYSTEM, KrigingSystems
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Places

BLOCKS, SEED = 17, 2
AIM_BAR = 0.0065
"""What coarse cells with a cubic between them may err by: the aim that was set for them."""


@pytest.fixture(scope="module")
def drawn() -> tuple[Ranch, StructuredSurface]:
    """A ranch of about a hundred readings, the shortest range 25 m, and its surface."""
    ranch = draw_ranch(SEED, blocks=BLOCKS, cell_m=40.0)
    surface = fit_surface(ranch.samples, method="structured", options=SurfaceOptions())
    assert isinstance(surface, StructuredSurface)
    return ranch, surface


def zone_of(places: Places, valve: int) -> Places:
    return places.take(np.flatnonzero(places.valve == valve))


def ranch_system(systems: KrigingSystems) -> KrigingSystem:
    """The one system of a ranch of few readings."""
    return next(iter(systems.windows([RANCH_SYSTEM])))[RANCH_SYSTEM]


def both(system: KrigingSystem, cells: Places) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard error of cells, on the coarse lattice and one by one."""
    one, other = np.empty((2, len(cells))), np.empty((2, len(cells)))
    predict_cells(system, cells.xy, None, cells, one)
    system.predict_points(cells.xy, np.zeros(len(cells)), cells, other)
    return np.array([one[0], np.sqrt(one[1])]), np.array([other[0], np.sqrt(other[1])])


@pytest.mark.parametrize("rough", [False, True])
def test_fine_cells_are_near_those_kriged_one_by_one(
    drawn: tuple[Ranch, StructuredSurface], *, rough: bool
) -> None:
    ranch, surface = drawn
    nodes = replace(surface.nodes, correlation=EXPONENTIAL) if rough else surface.nodes
    assert nodes.ranges[0] == pytest.approx(25.0)
    drift = np.zeros(len(ranch.samples))
    samples = replace(ranch.samples, value=ranch.samples.value - ranch.samples.value.mean())
    system = ranch_system(KrigingSystems(samples, drift, nodes))
    fine = lay_out(BLOCKS, 2.5, np.random.default_rng(SEED))
    for valve in (3, 20, 41):
        coarse, exact = both(system, zone_of(fine, valve))
        assert np.abs(coarse - exact).max() <= AIM_BAR
        assert (coarse != exact).any()


def test_cells_beside_a_reading_are_exact(drawn: tuple[Ranch, StructuredSurface]) -> None:
    ranch, surface = drawn
    system = ranch_system(surface._systems)
    at = ranch.samples.places.take(slice(0, 1))
    step = np.arange(-40.5, 41.0)
    xy = at.xy + np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    code = np.zeros(len(xy), dtype=np.int64)
    cells = Places(xy, code + at.block, code + at.valve, code)
    coarse, exact = both(system, cells)
    same = np.abs(coarse - exact).max(axis=0) < 1e-12
    assert same[np.hypot(*(xy - at.xy).T) < coarse_lattice.NODES_M].all()
    assert not same.all()


@pytest.mark.parametrize("step", [4.0, 10.0])
def test_cells_not_much_finer_than_the_lattice_stay_as_they_are(
    drawn: tuple[Ranch, StructuredSurface], step: float
) -> None:
    _, surface = drawn
    system = ranch_system(surface._systems)
    cells = lay_out(BLOCKS, step, np.random.default_rng(SEED))
    coarse, exact = both(system, zone_of(cells, 3))
    assert np.array_equal(coarse, exact)


def test_with_a_covariate_or_off_any_lattice_cells_stay_as_they_are(
    drawn: tuple[Ranch, StructuredSurface],
) -> None:
    _, surface = drawn
    system = ranch_system(surface._systems)
    cells = zone_of(lay_out(BLOCKS, 3.0, np.random.default_rng(SEED)), 3)
    drift = np.sin(cells.xy[:, 0])
    one, other = np.empty((2, len(cells))), np.empty((2, len(cells)))
    predict_cells(system, cells.xy, drift, cells, one)
    system.predict_points(cells.xy, drift, cells, other)
    assert np.array_equal(one, other)
    loose = replace(cells, xy=cells.xy + np.random.default_rng(1).uniform(-1, 1, cells.xy.shape))
    coarse, exact = both(system, loose)
    assert np.array_equal(coarse, exact)
