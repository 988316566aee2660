"""The structured method: awkward readings, what it says of itself, and what it does not depend on."""

from __future__ import annotations

import numba
import numpy as np
import pytest
from helpers.told import english
from scipy.linalg import LinAlgError
from scipy.optimize import approx_fprime
from scipy.spatial.distance import cdist

from stressmap.core import compiled_code
from stressmap.geostat import (
    cross_validation,
    fit,
    kernels,
    kriging_systems,
    pair_distances,
    posterior,
    search_neighbourhood,
)
from stressmap.geostat.covariance import CORRELATIONS
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import Priors, SurfaceOptions
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.variance_model import choose_model

N = 24


def readings(
    value: np.ndarray, xy: np.ndarray, block: np.ndarray | None = None, **more: np.ndarray
) -> Samples:
    n = len(value)
    none = np.zeros(n, dtype=np.int64)
    block = none if block is None else block
    places = Places(xy, block, more.get("valve", block), none, more.get("covariate"))
    return Samples(places, value, more.get("tree", np.arange(n)))


def ranch(n: int = N, *, seed: int = 1, width: float = 600.0) -> Samples:
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, width, (n, 2))
    block = (xy[:, 0] // 200 + 10 * (xy[:, 1] // 200)).astype(np.int64)
    level = rng.normal(0, 1.5, 200)[block]
    return readings(level + rng.normal(4, 1, n), xy, block)


def check_sane(surface: StructuredSurface, samples: Samples) -> None:
    """Finite everywhere, near the readings' own level, and never surer than a fifth of a bar."""
    far = Places(samples.places.xy + 40.0, samples.places.block, samples.places.valve, samples.places.crop)
    one_cell = surface.predict_zones(far, np.arange(len(far)) - 1, len(far))
    for estimate in (surface.predict(samples.places), surface.predict(far)):
        assert np.all(np.isfinite(estimate.mean))
        assert np.all(np.sqrt(estimate.variance) > 0.2)
        assert np.all(np.abs(estimate.mean - samples.value.mean()) < np.ptp(samples.value) + 1.0)
    assert np.all(np.isfinite(one_cell.mean[:-1]))
    assert np.isnan(one_cell.mean[-1])
    predicted, z_score = surface.leave_one_out()
    assert np.all(np.isfinite(predicted))
    assert np.all(np.isfinite(z_score))
    several = len(np.unique(samples.places.block)) > 1
    assert np.all(np.isfinite(surface.leave_block_out()) == several), "NaN only where nothing is left"


AWKWARD_XY = {
    "two at one place": np.array([[5.0, 5], [5, 5], [200, 10], [90, 80], [10, 170], [340, 40]]),
    "all at one place": np.full((6, 2), 50.0),
    "collinear": np.column_stack([np.arange(6) * 40.0, np.arange(6) * 80.0]),
    "far from the origin": np.column_stack([1e6 + np.arange(6) * 30.0, 4e6 + np.arange(6.0) ** 2]),
}


@pytest.mark.parametrize("xy", AWKWARD_XY.values(), ids=AWKWARD_XY)
@pytest.mark.parametrize("blocks", ["one block", "a block each", "one block has all but one"])
def test_awkward_places_give_finite_answers_with_honest_intervals(xy: np.ndarray, blocks: str) -> None:
    block = {
        "one block": np.zeros(6),
        "a block each": np.arange(6),
        "one block has all but one": np.arange(6) == 5,
    }
    samples = readings(np.array([1.0, 3, 2, 4, 2.5, 3.5]), xy, block[blocks].astype(np.int64))
    surface = fit_surface(samples, method="structured")
    assert surface.method == "structured"
    check_sane(surface, samples)


def test_five_readings_lean_on_the_priors() -> None:
    samples = ranch(5)
    surface = fit_surface(samples, method="structured")
    check_sane(surface, samples)
    assert np.all(np.sqrt(surface.predict(samples.places).variance) < 4.0)


def test_a_block_never_measured_is_less_sure_than_one_that_was() -> None:
    samples = ranch()
    surface = fit_surface(samples, method="structured")
    here = samples.places.take(slice(0, 1))
    unseen = Places(here.xy + 5000.0, here.block + 150, here.valve + 150, here.crop)
    assert surface.predict(unseen).variance[0] > 2 * surface.predict(here).variance[0]
    other_crop = Places(unseen.xy, unseen.block, unseen.valve, here.crop + 1)
    assert (
        surface.predict(other_crop).variance[0] > surface.predict(unseen).variance[0] + Priors().crop_bar ** 2
    )


def test_a_ranch_without_valves_has_no_valve_term() -> None:
    samples = ranch()
    no_valve = np.full(N, -1)
    there = readings(samples.value, samples.places.xy, samples.places.block, valve=no_valve)
    surface = fit_surface(there, method="structured")
    assert surface.summary()["valve_sd_bar"] == 0.0


def test_trees_measured_twice_tell_error_from_tree() -> None:
    rng = np.random.default_rng(3)
    once = ranch(60)
    twice = once.take(np.repeat(np.arange(60), 2))
    tree_means = twice.value + np.repeat(rng.normal(0, 1.0, 60), 2)
    samples = Samples(twice.places, tree_means + rng.normal(0, 0.3, 120), twice.tree)
    summary = fit_surface(samples, method="structured").summary()
    assert summary["tree_and_error_told_apart"]
    assert summary["error_sd_bar"] == pytest.approx(0.3, abs=0.12)
    known = fit_surface(samples, method="structured", options=SurfaceOptions(reading_error_bar=0.3)).summary()
    assert known["error_sd_bar"] == pytest.approx(0.3, abs=1e-9)
    assert known["tree_sd_bar"] == pytest.approx(summary["tree_sd_bar"], abs=0.2)


def test_jobs_do_not_change_a_byte() -> None:
    samples = ranch(60)
    cells = ranch(50_000, seed=9).places
    zone = cells.block
    one, two = (fit_surface(samples, method="structured", options=SurfaceOptions(jobs=j)) for j in (1, 2))
    for a, b in (
        (one.predict(cells), two.predict(cells)),
        (one.predict_zones(cells, zone, 40), two.predict_zones(cells, zone, 40)),
    ):
        assert a.mean.tobytes() == b.mean.tobytes()
        assert a.variance.tobytes() == b.variance.tobytes()
    assert np.array(one.leave_one_out()).tobytes() == np.array(two.leave_one_out()).tobytes()
    assert one.summary() == two.summary()


def test_a_failing_fit_falls_to_the_priors_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        message = "the covariance of the readings is not positive definite"
        raise LinAlgError(message)

    monkeypatch.setattr(fit, "importance_sample", fail)
    samples = ranch()
    surface = fit_surface(samples, method="structured")
    assert english(surface.notes) == [
        "The fit of the model failed; what is plausible beforehand was used in its place, with intervals as"
        " wide as that."
    ]
    assert surface.notes[0].value("error") == "the covariance of the readings is not positive definite"
    check_sane(surface, samples)
    assert surface.summary()["restricted_log_likelihood"] is None


def test_slopes_of_the_likelihood_are_those_of_finite_differences() -> None:
    samples = ranch(40)
    centred = Samples(samples.places, samples.value - samples.value.mean(), samples.tree)
    model = choose_model(samples, Priors(), 0.4)
    groups = list(posterior.group_readings(centred, np.ones((40, 1))))
    u = model.prior_centre() - 0.2
    patterns = [g.covariance_structure.pattern(model, float(np.exp(u[-1]))) for g in groups]

    def value(v: np.ndarray) -> float:
        return posterior.log_posterior(groups, patterns, model, np.append(v, u[-1]))[0]

    _, gradient = posterior.log_posterior(groups, patterns, model, u)
    np.testing.assert_allclose(gradient, approx_fprime(u[:-1], value, 1e-6), rtol=1e-4, atol=1e-4)


@pytest.mark.parametrize("name", CORRELATIONS)
def test_compiled_correlations_are_those_of_the_formula(name: str) -> None:
    correlation = CORRELATIONS[name]
    distance = np.concatenate([[0.0], np.geomspace(1e-6, 5_000.0, 300)])
    here, out, ranges = np.zeros((1, 2)), np.empty((1, 1)), np.array([80.0])
    for d in distance:
        kernels.mean_correlation(
            np.array([[d, 0.0]]), np.ones(1), here, correlation.code, ranges, 1000 * ranges, out
        )
        assert out[0, 0] == pytest.approx(correlation(np.array([d]), 80.0)[0], abs=1e-14)
    assert correlation.of(np.array([correlation.reach]))[0] < 1e-12


@pytest.mark.parametrize("name", CORRELATIONS)
@pytest.mark.parametrize("on_a_lattice", [True, False])
def test_mean_correlations_are_those_of_all_pairs_taken_one_by_one(name: str, on_a_lattice: bool) -> None:  # noqa: FBT001
    """Against scipy's distances and the formula, pair by pair; some ranges halve each other, some do not."""
    correlation, ranges = CORRELATIONS[name], np.array([15.0, 30.0, 40.0, 60.0, 250.0])
    rng = np.random.default_rng(9)
    cells = rng.integers(0, 60, (400, 2)) * 5.0 if on_a_lattice else rng.uniform(0, 300, (400, 2))
    readings = rng.uniform(-400, 700, (23, 2))
    between, within = np.empty((5, 23)), np.empty(5)
    kernels.mean_correlation(
        cells,
        np.full(len(cells), 1 / len(cells)),
        readings,
        correlation.code,
        ranges,
        ranges * correlation.reach,
        between,
    )
    step = pair_distances.lattice_step(cells)
    assert step == (5.0 if on_a_lattice else 0.0)
    kernels.mean_pair_correlation(
        *pair_distances.pair_distances(cells, step), 400, correlation.code, ranges, within
    )
    for r, range_m in enumerate(ranges):
        every = correlation(cdist(cells, readings), range_m).mean(axis=0)
        np.testing.assert_allclose(between[r], every, atol=1e-12)
        assert within[r] == pytest.approx(correlation(cdist(cells, cells), range_m).mean(), rel=1e-12)


def test_loops_compile_where_nothing_can_be_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    real = numba.njit

    def no_cache(*args: object, cache: bool = False, **more: object) -> object:
        if cache:
            message = "cannot cache function: no locator available"
            raise RuntimeError(message)
        return real(*args, **more)

    monkeypatch.setattr(numba, "njit", no_cache)
    assert compiled_code.compiled(lambda x: x + 1)(1) == 2


def test_systems_of_blocks_come_close_to_the_system_of_the_ranch(monkeypatch: pytest.MonkeyPatch) -> None:
    samples = ranch(240, width=1800.0)
    cells = ranch(400, seed=8, width=1800.0).places
    whole = fit_surface(samples, method="structured")
    at_once = whole.predict(cells)
    for module in (search_neighbourhood, kriging_systems):
        monkeypatch.setattr(module, "UNIQUE_NEIGHBOURHOOD", 100)
    split = fit_surface(samples, method="structured")
    parts = split.predict(cells)
    assert np.sqrt(np.mean((parts.mean - at_once.mean) ** 2)) < 0.15
    np.testing.assert_allclose(np.sqrt(parts.variance), np.sqrt(at_once.variance), rtol=0.25)
    zone = np.arange(400) // 100
    assert split.predict_zones(cells, zone, 4).mean == pytest.approx(
        whole.predict_zones(cells, zone, 4).mean, abs=0.2
    )
    for a, b in (
        (split.leave_one_out(), whole.leave_one_out()),
        (split.leave_block_out(), whole.leave_block_out()),
    ):
        assert np.sqrt(np.mean((a[0] - b[0]) ** 2)) < 0.25


def test_a_block_with_very_many_readings_is_kriged_in_squares() -> None:
    rng = np.random.default_rng(4)
    xy = rng.uniform(0, 500, (400, 2))
    samples = readings(np.sin(xy[:, 0] / 80) * 2 + rng.normal(5, 0.5, 400), xy)
    surface = fit_surface(samples, method="structured")
    predicted, z_score = surface.leave_one_out()
    assert np.sqrt(np.mean((samples.value - predicted) ** 2)) < 0.7
    assert np.mean(z_score**2) == pytest.approx(1.0, abs=0.25)
    assert np.all(np.isnan(surface.leave_block_out())), "there is no other block"


def with_covariate(strength: float) -> Samples:
    rng = np.random.default_rng(5)
    base = ranch(60)
    covariate = rng.normal(10, 3, 60)
    covariate[3] = np.nan
    value = base.value + strength * np.nan_to_num(covariate - 10)
    return readings(value, base.places.xy, base.places.block, covariate=covariate)


def test_a_covariate_that_helps_takes_part() -> None:
    surface = fit_surface(with_covariate(1.0), method="structured")
    assert surface.summary()["covariate_used"]
    (note,) = english(surface.notes)
    assert note.startswith("The covariate takes part: left-out readings are missed by ")


def test_a_covariate_that_does_not_help_is_left_out() -> None:
    surface = fit_surface(with_covariate(0.0), method="structured")
    assert not surface.summary()["covariate_used"]
    (note,) = english(surface.notes)
    assert note.startswith(
        "The covariate was left out because it does not help: left-out readings are missed by "
    )


def test_a_covariate_without_contrast_is_left_out() -> None:
    base = ranch()
    surface = fit_surface(
        readings(base.value, base.places.xy, base.places.block, covariate=np.full(N, 2.0)),
        method="structured",
    )
    assert english(surface.notes) == [
        "The covariate was left out: it is the same, or unknown, at nearly all readings."
    ]


def test_methods_are_set_side_by_side() -> None:
    samples = ranch(60)
    surface = fit_surface(samples, method="structured")
    compared = cross_validation.cross_validate(surface, samples)
    assert list(compared.one_out) == list(compared.block_out) == ["structured", "ordinary", "block average"]
    numbers = compared.as_numbers()
    assert list(numbers["leave_one_out"]["structured"]) == [
        "readings", "rmse_bar", "mean_error_bar", "mean_squared_z", "covered_50", "covered_90",
    ]  # fmt: skip
    assert compared.one_out["structured"].readings == 60
    assert compared.block_out["structured"].rmse_bar > compared.one_out["structured"].rmse_bar


def test_z_scores_out_of_line_are_said() -> None:
    rng = np.random.default_rng(6)
    value = rng.normal(0, 1, 50)
    tight = cross_validation.score(value, np.zeros(50), value / 0.4)
    (note,) = english(cross_validation._remarks("structured", {"structured": tight}))
    assert note == (
        f"The structured method's z-scores are out of line: left-out readings miss by"
        f" {tight.mean_squared_z**0.5:.2f} times the stated error, so its intervals are too narrow."
    )
    wide = {"structured": cross_validation.score(value, np.zeros(50), value / 3)}
    (note,) = english(cross_validation._remarks("structured", wide))
    assert note.endswith("so its intervals are too wide.")
    fair = cross_validation.score(value, np.zeros(50), value)
    better = cross_validation.score(value, 0.1 * value, 0.9 * value)
    both = {"ordinary": fair, "block average": better}
    assert english(cross_validation._remarks("ordinary", both)) == [
        f"Kriging foretells left-out readings no better than block averages do here: {fair.rmse_bar:.2f} and"
        f" {better.rmse_bar:.2f} bar.",
    ]
