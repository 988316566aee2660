"""The open Meuse data set, and what R gstat 2.1 and nlme 3.1 make of its log(zinc).

Values computed by those packages (standing: read in their output); the set is carried by the R packages sp
and gstat and by scikit-gstat. Kriging used nugget 0.05, spherical partial sill 0.59, range 897 m. "err": the
nugget is measurement error, filtered; "nug": it is micro-scale variation, so a prediction at a sample is the
sample.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stressmap.geostat import cross_validation, leave_one_out
from stressmap.geostat.change_of_support import ZoneCells
from stressmap.geostat.covariance import EXPONENTIAL, GAUSSIAN, SPHERICAL, Correlation, Parameters
from stressmap.geostat.kriging import KrigingSystem, krige_with_known_parameters
from stressmap.geostat.reml import log_likelihood, solve
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.variance_model import covariance_structure

DATA = Path(__file__).parents[1] / "data" / "meuse"
SILL, NUGGET, RANGE_M = 0.59, 0.05, 897.0
POINTS, BLOCKS, LEFT_OUT = 1e-9, 1e-7, 1e-9  # what gstat and independent code were seen to agree to, and over


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(DATA / f"meuse_{name}.csv", skipinitialspace=True)


def places(xy: np.ndarray, valve: np.ndarray | None = None) -> Places:
    none = np.zeros(len(xy), dtype=np.int64)
    return Places(np.asarray(xy, dtype=float), none, none if valve is None else valve, none)


def samples(*, own_valve: bool = False) -> Samples:
    t = table("points")
    n = np.arange(len(t))
    return Samples(places(t[["x", "y"]].to_numpy(), n if own_valve else None), t.log_zinc.to_numpy(), n)


ERR = Parameters(block=0, valve=0, pattern=SILL, tree=0, error=NUGGET, range_m=RANGE_M)
NUG = Parameters(block=0, valve=NUGGET, pattern=SILL, tree=0, error=0, range_m=RANGE_M)


def krige(one: KrigingSystem, xy: np.ndarray) -> np.ndarray:
    out = np.empty((2, len(xy)))
    one.predict_points(np.asarray(xy, dtype=float), np.zeros(len(xy)), places(xy[:1]), out)
    return out


def test_points_with_the_nugget_as_error() -> None:
    t = table("ok_points25")
    mean, variance = krige(krige_with_known_parameters(samples(), ERR, SPHERICAL), t[["x", "y"]].to_numpy())
    np.testing.assert_allclose(mean, t.pred_err, atol=POINTS)
    np.testing.assert_allclose(variance, t.var_err, atol=POINTS)


def test_points_with_the_nugget_as_variation_within_a_step() -> None:
    t = table("ok_points25")
    one = krige_with_known_parameters(samples(own_valve=True), NUG, SPHERICAL)
    xy = t[["x", "y"]].to_numpy()
    out = np.empty((2, len(xy)))
    one.predict_points(xy, np.zeros(len(xy)), places(xy[:1], np.array([999])), out)
    np.testing.assert_allclose(out[0], t.pred_nug, atol=POINTS)
    np.testing.assert_allclose(out[1], t.var_nug, atol=POINTS)


def test_at_the_samples_error_is_filtered_and_variation_kept() -> None:
    t, s = table("ok_at_data"), samples()
    mean, variance = krige(krige_with_known_parameters(s, ERR, SPHERICAL), t[["x", "y"]].to_numpy())
    np.testing.assert_allclose(mean, t.pred_err, atol=POINTS)
    np.testing.assert_allclose(variance, t.var_err, atol=POINTS)
    one = krige_with_known_parameters(samples(own_valve=True), NUG, SPHERICAL)
    for i, row in t.iterrows():
        out = np.empty((2, 1))
        here = np.array([[row.x, row.y]])
        one.predict_points(here, np.zeros(1), places(here, np.array([int(i)])), out)
        assert out[0, 0] == pytest.approx(row.pred_nug, abs=POINTS)
        assert out[1, 0] == pytest.approx(0.0, abs=1e-10)


def test_block_means_and_their_variances() -> None:
    t = table("ok_block40")
    one = krige_with_known_parameters(samples(), ERR, SPHERICAL)
    step = (np.arange(20) + 0.5) * 2 - 20
    lattice = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    for _, row in t.iterrows():
        mean, variance = one.predict_mean(
            ZoneCells(places(lattice + np.array([row.x, row.y]))), np.zeros(400)
        )
        assert mean == pytest.approx(row.pred_grid20x20_err, abs=BLOCKS)
        assert variance == pytest.approx(row.var_grid20x20_err, abs=BLOCKS)


def test_polygon_means_and_their_variances() -> None:
    t, lattice = table("ok_zones").set_index("zone"), table("zones_lattice20")
    one = krige_with_known_parameters(samples(), ERR, SPHERICAL)
    for zone, cells in lattice.groupby("zone"):
        mean, variance = one.predict_mean(
            ZoneCells(places(cells[["x", "y"]].to_numpy())), np.zeros(len(cells))
        )
        assert mean == pytest.approx(t.pred_lat20_err[zone], abs=BLOCKS)
        assert variance == pytest.approx(t.var_lat20_err[zone], abs=BLOCKS)


def test_leave_one_out_is_that_of_gstat() -> None:
    t, s = table("loo_cv"), samples()
    left = krige_with_known_parameters(s, ERR, SPHERICAL).leave_out_terms
    miss, variance = leave_one_out.residuals_one_out(np.ones(1), left.alpha, left.diagonal)
    np.testing.assert_allclose(s.value - miss, t.pred, atol=LEFT_OUT)
    np.testing.assert_allclose(variance, t["var"], atol=LEFT_OUT)
    summary = table("loo_summary").set_index("model")
    scores = cross_validation.score(s.value, s.value - miss, miss / np.sqrt(variance))
    assert scores.rmse_bar == pytest.approx(summary.rmse["nug"], abs=LEFT_OUT)
    assert scores.mean_error_bar == pytest.approx(summary.me["nug"], abs=LEFT_OUT)
    assert scores.mean_squared_z == pytest.approx(summary.mspe_norm["nug"], abs=LEFT_OUT)
    assert scores.covered_90 == pytest.approx(summary.cover90["nug"], abs=LEFT_OUT)


@pytest.mark.parametrize(
    ("model", "correlation"), [("Exp", EXPONENTIAL), ("Spher", SPHERICAL), ("Gaus", GAUSSIAN)]
)
def test_restricted_likelihood_at_the_parameters_of_nlme(model: str, correlation: Correlation) -> None:
    t, s = table("reml_nlme"), samples()
    row = t[(t.model == model) & (t.method == "REML")].iloc[0]
    shared = covariance_structure(s, np.arange(len(s)))
    parameters = Parameters(0, 0, row.psill, 0, row.nugget, row["range"])
    trend = np.ones((len(s), 1))
    solved = solve(shared.covariance(parameters, correlation(shared.distance, row["range"])), trend)
    assert log_likelihood(solved, trend, s.value) == pytest.approx(row.logLik, abs=1e-6)
    mean = np.linalg.solve(solved.information, solved.weighed.T @ s.value)
    assert mean[0] == pytest.approx(row["mean"], abs=1e-6)
