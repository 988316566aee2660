"""What holds for any kriging, whatever the readings, with known and with fitted parameters."""

from __future__ import annotations

import gstools
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pykrige.ok import OrdinaryKriging
from scipy.spatial.distance import cdist

from stressmap.geostat import leave_one_out
from stressmap.geostat.covariance import (
    CORRELATIONS,
    EXPONENTIAL,
    MATERN32,
    SPHERICAL,
    Correlation,
    Parameters,
)
from stressmap.geostat.kriging import KrigingSystem, krige_with_known_parameters
from stressmap.geostat.mixed_model_kriging import Drift, StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Places, Samples

FULL = Parameters(block=1.2, valve=0.7, pattern=0.9, tree=0.5, error=0.3, range_m=90.0, crop=9.0)
ROUNDING = 1e-9
SEARCH = 1e-4  # the search for the most plausible parameters stops when little is left to gain


def orchard(seed: int, n: int = 40, *, crops: int = 2, covariate: bool = False) -> tuple[Samples, Places]:
    """Readings and cells in blocks of 100 m, half of each with a valve, some with none; some trees twice."""
    rng = np.random.default_rng(seed)

    def places(xy: np.ndarray) -> Places:
        block = (xy[:, 0] // 100 + 5 * (xy[:, 1] // 100)).astype(np.int64)
        valve = np.where(xy[:, 0] % 100 < 50, block, -1)
        extra = np.sin(xy[:, 0] / 70) * 3 + 5 if covariate else None
        return Places(xy, block, valve, block % crops, extra)

    at = rng.uniform(0, 500, (n, 2))
    at[1] = at[0]
    tree = np.arange(n)
    tree[1] = tree[0]
    cells = rng.uniform(0, 500, (300, 2))
    return Samples(places(at), rng.normal(4, 2, n), tree), places(cells)


def krige(system: KrigingSystem, xy: np.ndarray, kind: Places) -> np.ndarray:
    out = np.empty((2, len(xy)))
    system.predict_points(xy, np.zeros(len(xy)), kind, out)
    return out


def no_kinds(xy: np.ndarray) -> Places:
    none = np.zeros(len(xy), dtype=np.int64)
    return Places(xy, none, none, none)


def pattern_only(noise: float, range_m: float = 120.0) -> Parameters:
    return Parameters(block=0, valve=0, pattern=1.5, tree=0, error=noise, range_m=range_m)


def shared(a: Places, b: Places, p: Parameters) -> np.ndarray:
    """Covariance of the signal by the model's definition, written out again here."""
    valve_a, valve_b = (np.where(x.valve >= 0, x.valve, -2 - x.block) for x in (a, b))
    u = np.sqrt(3) * cdist(a.xy, b.xy) / p.range_m
    return (
        p.block * (a.block[:, None] == b.block)
        + p.valve * (valve_a[:, None] == valve_b)
        + p.crop * (a.crop[:, None] == b.crop)
        + p.pattern * (1 + u) * np.exp(-u)
    )


def bordered(
    s: Samples, cells: Places, p: Parameters, drift: np.ndarray, at: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Universal kriging as a textbook writes it: the solved weights of each cell, and its right sides."""
    trend, trend_at = (
        np.column_stack([np.ones(len(z)), z]) if drift.any() else np.ones((len(z), 1)) for z in (drift, at)
    )
    n, q = trend.shape
    left = np.zeros((n + q, n + q))
    left[:n, :n] = shared(s.places, s.places, p) + p.tree * (s.tree[:, None] == s.tree) + p.error * np.eye(n)
    left[:n, n:], left[n:, :n] = trend, trend.T
    right = np.concatenate([shared(s.places, cells, p), trend_at.T])
    return np.linalg.solve(left, right), right


def by_hand(
    s: Samples, cells: Places, p: Parameters, drift: np.ndarray, at: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of each cell."""
    solved, right = bordered(s, cells, p, drift, at)
    variance = p.block + p.valve + p.crop + p.pattern - np.sum(solved * right, axis=0)
    return solved[: len(s)].T @ s.value, variance


def mean_by_hand(
    s: Samples, cells: Places, p: Parameters, drift: np.ndarray, at: np.ndarray
) -> tuple[float, float]:
    """Mean and variance of the mean over all cells, every pair of them one by one."""
    solved, right = bordered(s, cells, p, drift, at)
    mean = float((solved[: len(s)].T @ s.value).mean())
    return mean, float((shared(cells, cells, p) - solved.T @ right).mean())


@pytest.mark.parametrize("trend", ["level", "covariate"])
@pytest.mark.parametrize("crops", [1, 2])
def test_an_averaged_surface_is_the_mixture_of_hand_solved_systems(trend: str, crops: int) -> None:
    samples, cells = orchard(1, crops=crops, covariate=trend == "covariate")
    drift = Drift(5.0, 2.0) if trend == "covariate" else Drift()
    surface = StructuredSurface(samples, SurfaceOptions(), drift)
    z, at = drift.standardised(samples.places), drift.standardised(cells)
    weight = surface.nodes.weight
    parts = [by_hand(samples, cells, p, z, at) for p in surface.nodes.parameters]
    mean = np.einsum("k,km->m", weight, [m for m, _ in parts])
    second = np.einsum("k,km->m", weight, [v + (m - mean) ** 2 for m, v in parts])
    estimate = surface.predict(cells)
    np.testing.assert_allclose(estimate.mean, mean, atol=1e-8)
    np.testing.assert_allclose(estimate.variance, second, atol=1e-8)


@pytest.mark.parametrize("zones", ["blocks", "valves", "across all"])
@pytest.mark.parametrize("trend", ["level", "covariate"])
def test_the_variance_of_a_zones_mean_is_that_of_all_pairs_of_its_cells(zones: str, trend: str) -> None:
    """The definition, pair by pair: the variance of a mean is the mean of all covariances."""
    samples, cells = orchard(4, crops=2, covariate=trend == "covariate")
    drift = Drift(5.0, 2.0) if trend == "covariate" else Drift()
    surface = StructuredSurface(samples, SurfaceOptions(), drift)
    z, at = drift.standardised(samples.places), drift.standardised(cells)
    code = {"blocks": cells.block, "valves": cells.valve, "across all": np.zeros(300, np.int64)}[zones]
    count = int(code.max()) + 1
    got = surface.predict_zones(cells, code, count)
    for zone in (0, count - 1):
        here = np.flatnonzero(code == zone)
        parts = [mean_by_hand(samples, cells.take(here), p, z, at[here]) for p in surface.nodes.parameters]
        mean = surface.nodes.weight @ [m for m, _ in parts]
        assert got.mean[zone] == pytest.approx(mean, abs=1e-8)
        second = surface.nodes.weight @ [v + (m - mean) ** 2 for m, v in parts]
        assert got.variance[zone] == pytest.approx(second, abs=1e-8)


@pytest.mark.parametrize("correlation", CORRELATIONS.values(), ids=CORRELATIONS)
def test_without_nugget_and_error_a_reading_is_met_exactly(correlation: Correlation) -> None:
    rng = np.random.default_rng(2)
    xy = np.stack(np.meshgrid(np.arange(5.0), np.arange(5.0)), axis=-1).reshape(-1, 2) * 80 + rng.uniform(
        0, 20, (25, 2)
    )
    samples = Samples(no_kinds(xy), rng.normal(size=25), np.arange(25))
    mean, variance = krige(
        krige_with_known_parameters(samples, pattern_only(0.0, 60.0), correlation), xy, samples.places
    )
    np.testing.assert_allclose(mean, samples.value, atol=ROUNDING)
    np.testing.assert_allclose(variance, 0.0, atol=ROUNDING)


@pytest.mark.parametrize("noise", [0.0, 0.4])
def test_weights_sum_to_one(noise: float) -> None:
    rng = np.random.default_rng(3)
    xy = rng.uniform(0, 500, (30, 2))
    samples = Samples(no_kinds(xy), np.ones(30), np.arange(30))
    mean, _ = krige(
        krige_with_known_parameters(samples, pattern_only(noise), MATERN32),
        rng.uniform(0, 900, (50, 2)),
        samples.places,
    )
    np.testing.assert_allclose(mean, 1.0, atol=ROUNDING)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10_000),
    pattern=st.floats(0.01, 10),
    noise=st.floats(0.0, 5),
    range_m=st.floats(1, 3000),
    correlation=st.sampled_from(sorted(set(CORRELATIONS) - {"gaussian"})),
)
@example(seed=2026, pattern=1.0, noise=0.0, range_m=401.0, correlation="matern 5/2")
@example(seed=1, pattern=10.0, noise=0.0, range_m=3000.0, correlation="matern 5/2")
@example(seed=1, pattern=10.0, noise=0.1, range_m=3000.0, correlation="matern 5/2")
def test_variance_lies_between_that_of_knowing_the_mean_and_that_of_knowing_nothing(
    seed: int, pattern: float, noise: float, range_m: float, correlation: str
) -> None:
    """The lower bound is simple kriging, solved here: an estimated mean can only add doubt.

    With hardly any noise the readings' matrix is near singular and digits are lost, so it is asked from a
    hundredth of the pattern on.
    """
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 500, (12, 2))
    samples = Samples(no_kinds(xy), rng.normal(size=12), np.arange(12))
    known = Parameters(0, 0, pattern, 0, noise + 1e-6 * pattern, range_m)
    like = CORRELATIONS[correlation]
    cells = np.vstack([rng.uniform(0, 900, (40, 2)), [[1e7, 1e7]]])
    _, variance = krige(krige_with_known_parameters(samples, known, like), cells, samples.places)
    cross = pattern * like(cdist(xy, cells), range_m)
    own = pattern * like(cdist(xy, xy), range_m) + known.error * np.eye(12)
    simple = pattern - np.sum(cross * np.linalg.solve(own, cross), axis=0)
    assert np.all(variance >= (simple - 1e-6 * pattern if noise >= 0.01 * pattern else 0.0))
    assert np.all(variance <= 3 * pattern + noise)
    assert variance[-1] >= 0.999 * pattern, "out of reach of all readings nothing is known of the pattern"


def moved(samples: Samples, cells: Places, move: object) -> tuple[Samples, Places]:
    def there(p: Places) -> Places:
        return Places(move(p.xy), p.block, p.valve, p.crop, p.covariate)  # type: ignore[operator]

    return Samples(there(samples.places), samples.value, samples.tree), there(cells)


@pytest.mark.parametrize(
    "move",
    [lambda xy: xy + np.array([1e6, -1e6]), lambda xy: xy @ np.array([[0.6, -0.8], [0.8, 0.6]])],
    ids=["moved a million metres", "turned"],
)
def test_where_north_is_and_where_zero_is_changes_nothing(move: object) -> None:
    samples, cells = orchard(5)
    here = StructuredSurface(samples, SurfaceOptions())
    there_samples, there_cells = moved(samples, cells, move)
    there = StructuredSurface(there_samples, SurfaceOptions())
    np.testing.assert_allclose(there.predict(there_cells).mean, here.predict(cells).mean, atol=SEARCH)
    np.testing.assert_allclose(there.predict(there_cells).variance, here.predict(cells).variance, atol=SEARCH)


def test_the_order_of_rows_changes_nothing() -> None:
    samples, cells = orchard(6)
    here = StructuredSurface(samples, SurfaceOptions())
    order = np.random.default_rng(0).permutation(len(samples))
    there = StructuredSurface(samples.take(order), SurfaceOptions())
    np.testing.assert_allclose(there.predict(cells).mean, here.predict(cells).mean, atol=SEARCH)
    np.testing.assert_allclose(there.predict(cells).variance, here.predict(cells).variance, atol=SEARCH)
    mixed = np.random.default_rng(1).permutation(len(cells))
    np.testing.assert_allclose(
        here.predict(cells.take(mixed)).mean, here.predict(cells).mean[mixed], atol=1e-12
    )


@pytest.mark.parametrize("trend", ["level", "covariate"])
def test_a_zone_mean_is_the_mean_of_its_cells_and_surer_than_they_are(trend: str) -> None:
    samples, cells = orchard(7, covariate=trend == "covariate")
    surface = StructuredSurface(samples, SurfaceOptions(), Drift(5.0, 2.0) if trend == "covariate" else None)
    points = surface.predict(cells)
    for zone in (cells.block, np.zeros(len(cells), dtype=np.int64), cells.valve):
        count = int(zone.max()) + 1
        means = surface.predict_zones(cells, zone, count)
        for code in range(count):
            inside = zone == code
            assert means.mean[code] == pytest.approx(points.mean[inside].mean(), abs=ROUNDING)
            assert means.variance[code] <= points.variance[inside].mean() + ROUNDING


def test_leaving_out_is_what_a_refit_without_gives() -> None:
    samples, _ = orchard(8)
    system = krige_with_known_parameters(samples, FULL, MATERN32)
    left = system.leave_out_terms
    miss, variance = leave_one_out.residuals_one_out(np.ones(1), left.alpha, left.diagonal)
    for i in (0, 1, 9):
        value, spread = predicted_without(samples, np.array([i]))
        assert samples.value[i] - miss[i] == pytest.approx(value[0], abs=ROUNDING)
        assert variance[i] == pytest.approx(spread[0], abs=ROUNDING)
    block = int(samples.places.block[9])
    out = np.flatnonzero(samples.places.block == block)
    miss, variance = leave_one_out.residuals_group_out(np.ones(1), left.alpha[:, out], left.blocks[block])
    value, spread = predicted_without(samples, out)
    np.testing.assert_allclose(samples.value[out] - miss, value, atol=ROUNDING)
    np.testing.assert_allclose(variance, spread, atol=ROUNDING)


def predicted_without(samples: Samples, out: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    rest = np.setdiff1d(np.arange(len(samples)), out)
    s, there = samples.take(rest), samples.places.take(out)
    same_tree = samples.tree[out][:, None] == s.tree
    n = len(rest)
    left = np.zeros((n + 1, n + 1))
    left[:n, :n] = (
        shared(s.places, s.places, FULL) + FULL.tree * (s.tree[:, None] == s.tree) + FULL.error * np.eye(n)
    )
    left[n, :n] = left[:n, n] = 1
    right = np.vstack([(shared(there, s.places, FULL) + FULL.tree * same_tree).T, np.ones(len(out))])
    solved = np.linalg.solve(left, right)
    total = FULL.signal + FULL.crop + FULL.noise
    return solved[:n].T @ s.value, total - np.sum(solved * right, axis=0)


@pytest.mark.parametrize(
    ("correlation", "pykrige", "stretch", "model"),
    [
        (SPHERICAL, "spherical", 1.0, lambda r: gstools.Spherical(dim=2, var=1.5, len_scale=r, nugget=0.4)),
        (
            EXPONENTIAL,
            "exponential",
            3.0,
            lambda r: gstools.Exponential(dim=2, var=1.5, len_scale=r, nugget=0.4),
        ),
        (
            MATERN32,
            None,
            1.0,
            lambda r: gstools.Matern(dim=2, var=1.5, len_scale=r / 2**0.5, nu=1.5, nugget=0.4),
        ),
    ],
    ids=["spherical", "exponential", "matern 3/2"],
)
def test_pykrige_and_gstools_say_the_same(
    correlation: Correlation, pykrige: str, stretch: float, model: object
) -> None:
    rng = np.random.default_rng(9)
    xy, cells = rng.uniform(0, 500, (60, 2)), rng.uniform(0, 500, (200, 2))
    value = rng.normal(size=60)
    system = krige_with_known_parameters(
        Samples(no_kinds(xy), value, np.arange(60)), pattern_only(0.4), correlation
    )
    mean, variance = krige(system, cells, no_kinds(xy))
    theirs = gstools.krige.Ordinary(model(120.0), xy.T, value, exact=False, cond_err="nugget")  # type: ignore[operator]
    m, v = theirs(cells.T, return_var=True)
    np.testing.assert_allclose(mean, m, atol=1e-8)
    np.testing.assert_allclose(variance, v - 0.4, atol=1e-8)
    if pykrige:
        known = {"psill": 1.5, "range": 120.0 * stretch, "nugget": 0.4}
        kriger = OrdinaryKriging(
            *xy.T, value, variogram_model=pykrige, variogram_parameters=known, exact_values=False
        )
        m, v = kriger.execute("points", *cells.T)
        np.testing.assert_allclose(mean, m, atol=1e-8)
        np.testing.assert_allclose(variance, v - 0.4, atol=1e-8)


@pytest.mark.parametrize("near", [1, 3, 4, 5, 6, 7])
def test_weights_of_readings_beyond_the_range_are_as_if_they_told_of_the_mean_alone(near: int) -> None:
    """Eight readings, so many of them within the spherical range of the cells; solved as a textbook does."""
    rng = np.random.default_rng(near)
    xy = rng.uniform(0, 60, (8, 2)) + np.where(np.arange(8) < near, 0.0, 5000.0)[:, None]
    samples = Samples(no_kinds(xy), rng.normal(size=8), np.arange(8))
    cells = rng.uniform(0, 60, (5, 2))
    mean, variance = krige(
        krige_with_known_parameters(samples, pattern_only(0.2), SPHERICAL), cells, no_kinds(xy)
    )
    left = np.ones((9, 9))
    left[:8, :8] = 1.5 * SPHERICAL(cdist(xy, xy), 120.0) + 0.2 * np.eye(8)
    left[8, 8] = 0.0
    right = np.vstack([1.5 * SPHERICAL(cdist(xy, cells), 120.0), np.ones(5)])
    solved = np.linalg.solve(left, right)
    np.testing.assert_allclose(mean, solved[:8].T @ samples.value, atol=ROUNDING)
    np.testing.assert_allclose(variance, 1.5 - np.sum(solved * right, axis=0), atol=ROUNDING)


def test_an_effect_nobody_shares_is_not_transferred() -> None:
    """A place in an unseen block of the crop, beyond the pattern's reach, is the crop's mean and unsure."""
    samples, _ = orchard(10, crops=1)
    code = np.array([99])
    far = Places(np.array([[1e5, 1e5]]), code, code, samples.places.crop[:1])
    system = krige_with_known_parameters(samples, FULL, MATERN32)
    mean, variance = krige(system, far.xy, far)
    ones = np.ones(len(samples))
    n = len(samples)
    own = shared(samples.places, samples.places, FULL)
    own += FULL.tree * (samples.tree[:, None] == samples.tree) + FULL.error * np.eye(n) - FULL.crop
    weights = np.linalg.solve(own, ones) / (ones @ np.linalg.solve(own, ones))
    assert mean[0] == pytest.approx(weights @ samples.value, abs=ROUNDING)
    assert variance[0] == pytest.approx(FULL.signal + weights @ own @ weights, abs=ROUNDING)
