"""Ordinary kriging: PyKrige's result held against GSTools, a hand-solved system and itself left out."""

import tracemalloc

import gstools
import numpy as np
import pytest
from helpers.told import english

from stressmap.geostat.hierarchical import HierarchicalSurface
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.ordinary_kriging import OrdinarySurface, Variogram
from stressmap.geostat.samples import Places, Samples


def some_readings(n: int = 40, *, seed: int = 3, crops: int = 1) -> Samples:
    rng = np.random.default_rng(seed)
    xy = rng.uniform([600_000, 4_200_000], [600_800, 4_200_800], (n, 2))
    block = ((xy[:, 0] - 600_000) // 200).astype(np.int64)
    crop = block % crops
    value = rng.normal(0, 1, n) + xy[:, 1] / 300 - 14_000 + crop
    return Samples(Places(xy, block, block, crop), value, np.arange(n))


def places_like(samples: Samples, m: int, *, seed: int = 4) -> Places:
    rng = np.random.default_rng(seed)
    low, high = samples.places.xy.min(axis=0), samples.places.xy.max(axis=0)
    xy = rng.uniform(low, high, (m, 2))
    block = ((xy[:, 0] - 600_000) // 200).astype(np.int64)
    crop = block % (samples.places.crop.max() + 1)
    return Places(xy, block, block, crop)


def test_pykrige_and_gstools_agree() -> None:
    samples = some_readings()
    variogram = Variogram(2.0, 500.0, 0.5)
    surface = OrdinarySurface(samples, variogram)
    places = places_like(samples, 50)
    ours = surface.predict(places)
    model = gstools.Spherical(dim=2, var=2.0, len_scale=500.0, nugget=0.5)
    theirs = gstools.krige.Ordinary(model, samples.places.xy.T, samples.value, exact=False, cond_err="nugget")
    mean, variance = theirs(places.xy.T, return_var=True)
    np.testing.assert_allclose(ours.mean, mean, atol=1e-8)
    np.testing.assert_allclose(ours.variance, variance - 0.5, atol=1e-8)


@pytest.mark.parametrize("crops", [1, 3])
def test_leave_one_out_is_what_a_refit_without_the_reading_gives(crops: int) -> None:
    samples = some_readings(crops=crops)
    surface = OrdinarySurface(samples)
    predicted, z_score = surface.leave_one_out()
    for i in (0, 7, 21):
        others = np.arange(len(samples)) != i
        there = OrdinarySurface(samples.take(others), surface.variogram).predict(samples.places.take([i]))
        assert predicted[i] == pytest.approx(there.mean[0], abs=1e-9)
        error = there.variance[0] + surface.variogram.nugget
        assert z_score[i] == pytest.approx(
            (samples.value[i] - predicted[i]) / error**0.5, rel=0.05 * (crops - 1) + 1e-9
        )


def test_a_zone_mean_is_the_mean_of_its_cells_and_surer_than_they_are() -> None:
    samples = some_readings(crops=2)
    surface = fit_surface(samples, method="ordinary")
    places = places_like(samples, 900)
    cells = surface.predict(places)
    zones = surface.predict_zones(places, places.block, 5)
    for zone in range(4):
        inside = places.block == zone
        assert zones.mean[zone] == pytest.approx(cells.mean[inside].mean(), abs=1e-9)
        assert 0 < zones.variance[zone] < cells.variance[inside].mean()
    assert np.isnan(zones.mean[4])


@pytest.mark.parametrize("method", ["ordinary", "structured"])
def test_two_hundred_readings_and_two_million_cells_stay_small(method: str) -> None:
    samples = some_readings(200)
    surface = fit_surface(samples, method=method)
    places = places_like(samples, 40_000)
    surface.predict(places)
    tracemalloc.start()
    surface.predict(places)
    first = tracemalloc.get_traced_memory()[1]
    tracemalloc.reset_peak()
    surface.predict(places.take(np.tile(np.arange(len(places)), 2)))
    second = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    whole = first + (second - first) / len(places) * 2_000_000
    assert whole < 600e6, "beside 200 MB of libraries, 2 million cells must stay under 1 GB"


def test_jobs_do_not_change_a_byte() -> None:
    samples = some_readings(60)
    places = places_like(samples, 40_000)
    one, two = (OrdinarySurface(samples, jobs=j).predict(places) for j in (1, 2))
    assert one.mean.tobytes() == two.mean.tobytes()
    assert one.variance.tobytes() == two.variance.tobytes()


def with_values(value: list[float], xy: list[tuple[float, float]] | None = None) -> Samples:
    n = len(value)
    places = Places(
        np.array(xy or [(50.0 * i, 10.0 * i) for i in range(n)], dtype=float),
        np.arange(n) // 2, np.full(n, -1), np.zeros(n, dtype=np.int64),
    )  # fmt: skip
    return Samples(places, np.array(value, dtype=float), np.arange(n))


def test_no_reading_is_an_error() -> None:
    with pytest.raises(ValueError, match=r"^there is no reading to map$"):
        fit_surface(with_values([]).take(slice(0, 0)), method="ordinary")


def test_an_unknown_method_is_an_error() -> None:
    with pytest.raises(
        ValueError, match=r"^'magic' is not a mapping method; use 'structured' or 'ordinary'$"
    ):
        fit_surface(with_values([1.0]), method="magic")


@pytest.mark.parametrize(
    ("value", "method", "why"),
    [
        ([3.0], "ranch average", "Only 1 usable reading, too few for kriging: the map shows the average of"
         " the readings with wide intervals."),
        ([3.0, 4.0, 5.0], "block average", "Only 3 usable readings, too few for kriging: the map shows block"
         " averages, drawn towards the ranch's, with wide intervals."),
        ([2.0] * 8, "block average", "All usable readings are the same, which kriging cannot work with: the"
         " map shows block averages, drawn towards the ranch's, with wide intervals."),
    ],
)  # fmt: skip
def test_what_kriging_cannot_use_becomes_an_explained_average(
    value: list[float], method: str, why: str
) -> None:
    surface = fit_surface(with_values(value), method="ordinary")
    assert (surface.method, english(surface.notes)) == (method, [why])
    everywhere = Places(np.zeros((2, 2)), np.array([0, 9]), np.array([-1, -1]), np.array([0, 5]))
    estimate = surface.predict(everywhere)
    assert np.all(np.isfinite(estimate.mean))
    assert np.all(np.sqrt(estimate.variance) > 1.0), "an interval that owns up to knowing little"
    assert estimate.variance[1] > estimate.variance[0], "another block of another crop is less certain still"


def test_readings_all_at_one_place_fall_back() -> None:
    surface = fit_surface(with_values([1.0, 2.0, 3.0, 2.5, 1.5], [(5.0, 5.0)] * 5), method="ordinary")
    assert isinstance(surface, HierarchicalSurface)
    assert english(surface.notes) == [
        "Ordinary kriging could not be fitted: the map shows block averages, drawn towards the ranch's, with"
        " wide intervals."
    ]
    assert surface.notes[0].value("error") == (
        "no variogram can be made of fewer than three readings or of readings all at one place"
    )


@pytest.mark.parametrize(
    "xy",
    [
        [(10.0, 10.0)] * 2 + [(60.0, 20.0), (90.0, 80.0), (10.0, 70.0), (40.0, 40.0)],
        [(10.0 * i, 20.0 * i) for i in range(6)],
        [(1e6 + 30.0 * i, 1e6 + 7.0 * i * i) for i in range(6)],
    ],
    ids=["two at one place", "collinear", "far from the origin"],
)
def test_awkward_places_give_finite_answers(xy: list[tuple[float, float]]) -> None:
    surface = fit_surface(with_values([1.0, 3.0, 2.0, 4.0, 2.5, 3.5], xy), method="ordinary")
    places = surface_places(xy)
    for estimate in (surface.predict(places), surface.predict_zones(places, np.zeros(6, dtype=np.int64), 1)):
        assert np.all(np.isfinite(estimate.mean))
        assert np.all(estimate.variance >= 0)
    assert np.all(np.isfinite(surface.leave_one_out()))


def surface_places(xy: list[tuple[float, float]]) -> Places:
    code = np.zeros(len(xy), dtype=np.int64)
    return Places(np.array(xy) + 3.0, code, code, code)
