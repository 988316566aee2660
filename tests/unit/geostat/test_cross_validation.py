"""Scores, weights of what is left out, levels of crops and averages: by hand, by matrices, by scipy."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.told import english
from scipy.spatial.distance import cdist
from scipy.stats import norm

from stressmap.geostat import cross_validation, leave_one_out
from stressmap.geostat.change_of_support import cells_by_zone, discretise
from stressmap.geostat.hierarchical import HierarchicalSurface, VarianceComponents, variance_components
from stressmap.geostat.methods import count_steps, fit_surface
from stressmap.geostat.options import Priors
from stressmap.geostat.ordinary_kriging import automatic_variogram
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.trend import MeanModel


def at(n: int, block: list[int] | np.ndarray, crop: list[int] | np.ndarray | int = 0) -> Places:
    rng = np.random.default_rng(n)
    codes = np.broadcast_to(np.asarray(crop, dtype=np.int64), n).copy()
    return Places(rng.uniform(0, 500, (n, 2)), np.asarray(block, dtype=np.int64), np.full(n, -1), codes)


def test_scores_are_those_worked_by_hand() -> None:
    """Misses 1, -2, 2 and one reading that cannot be left out: root of 9/3, mean 1/3."""
    value, predicted = np.array([3.0, 1.0, 5.0, 9.0]), np.array([2.0, 3.0, 3.0, np.nan])
    found = cross_validation.score(value, predicted, np.array([0.6, -1.5, 1.7, np.nan]))
    assert found.readings == 3
    assert found.rmse_bar == pytest.approx(3**0.5)
    assert found.mean_error_bar == pytest.approx(1 / 3)
    assert found.mean_squared_z == pytest.approx((0.36 + 2.25 + 2.89) / 3)
    assert (found.covered_50, found.covered_90) == (pytest.approx(1 / 3), pytest.approx(2 / 3))


def test_intervals_are_those_of_the_normal() -> None:
    z = np.array([norm.ppf(0.75) * s for s in (0.999, -0.999, 1.001, -1.001)])
    assert cross_validation.score(z, np.zeros(4), z).covered_50 == 0.5
    z = np.array([norm.ppf(0.95) * s for s in (0.999, -0.999, 1.001, -1.001)])
    assert cross_validation.score(z, np.zeros(4), z).covered_90 == 0.5


def test_without_a_reading_left_out_there_is_no_score() -> None:
    nothing = np.full(2, np.nan)
    found = cross_validation.score(np.ones(2), nothing, nothing)
    assert found.readings == 0
    assert np.isnan([found.rmse_bar, found.mean_error_bar, found.mean_squared_z, found.covered_90]).all()


def test_few_readings_are_not_judged() -> None:
    wild = cross_validation.score(np.ones(9), np.zeros(9), np.full(9, 30.0))
    assert cross_validation._remarks("structured", {"structured": wild}) == ()
    wild = cross_validation.score(np.ones(10), np.zeros(10), np.full(10, 30.0))
    assert len(cross_validation._remarks("structured", {"structured": wild})) == 1


def test_sets_weigh_by_one_over_what_they_say_of_the_left_out() -> None:
    """Truncated importance sampling, Journal of Computational and Graphical Statistics 17:295-311, 2008.

    Cut at the root of the number of sets times the mean ratio (from memory). Four sets, densities 1 and
    1/2: no cut. Densities 1, 1, 1 and 1/10: ratios 4/13 and 40/13, of which the last is cut to 2.
    """
    quarter = np.full(4, 0.25)
    w = leave_one_out.leave_out_weights(quarter, np.log([1.0, 1.0, 0.5, 0.5]))
    assert w == pytest.approx([1 / 6, 1 / 6, 1 / 3, 1 / 3])
    w = leave_one_out.leave_out_weights(np.array([0.1, 0.2, 0.3, 0.4]), np.log([1.0, 1.0, 1.0, 1.0]))
    assert w == pytest.approx([0.1, 0.2, 0.3, 0.4])
    w = leave_one_out.leave_out_weights(quarter, np.log([1.0, 1.0, 1.0, 0.1]))
    assert w == pytest.approx(np.array([4 / 13, 4 / 13, 4 / 13, 2.0]) / (12 / 13 + 2.0))


def test_a_reading_that_a_set_finds_impossible_is_left_out_by_that_set_alone() -> None:
    """By hand: the set that cannot have made it would take all; the exponential of 2000 is no figure."""
    w = leave_one_out.leave_out_weights(np.array([0.5, 0.5]), np.array([0.0, -2000.0]))
    assert w == pytest.approx([0.0, 1.0])


def test_one_left_out_alone_is_a_group_of_one() -> None:
    rng = np.random.default_rng(4)
    weight = np.array([0.2, 0.5, 0.3])
    alpha, diagonal = rng.normal(size=(3, 6)), rng.uniform(0.5, 2.0, (3, 6))
    mean, variance = leave_one_out.residuals_one_out(weight, alpha, diagonal)
    for i in range(6):
        alone = leave_one_out.residuals_group_out(weight, alpha[:, [i]], diagonal[:, [i], None])
        assert (mean[i], variance[i]) == (pytest.approx(alone[0][0]), pytest.approx(alone[1][0]))


def test_a_mean_row_of_the_design_is_the_mean_of_the_rows() -> None:
    model = MeanModel(np.array([0, 2, 5]), 9.0)
    places = at(40, np.zeros(40), np.random.default_rng(1).choice([0, 2, 5, 7, 8], 40))
    drift = np.random.default_rng(2).normal(size=40)
    rows = model.design_matrix(places, drift)
    assert rows[:, :3].sum(axis=1) == pytest.approx(np.ones(40)), "a crop never measured is the mean of all"
    assert model.mean_design(places, drift) == pytest.approx(rows.mean(axis=0))


def test_crops_never_measured_are_as_unsure_as_crops_differ() -> None:
    """Levels scatter about a common mean: a new one has the scatter and the doubt of a mean of two."""
    model = MeanModel(np.array([0, 1]), 9.0)
    assert model.unseen_crop_variance(at(4, [0] * 4, [0, 1, 1, 0])) == 0.0
    assert model.unseen_crop_variance(at(4, [0] * 4, 9)) == pytest.approx(9.0 * (1 + 1 / 2))
    mixed = model.unseen_crop_variance(at(4, [0] * 4, [0, 9, 9, 8]))
    assert mixed == pytest.approx(9.0 * (0.5**2 + 0.25**2 + 0.75**2 / 2))


@pytest.mark.parametrize("unseen", ["block", "crop", "neither"])
def test_averages_are_the_best_linear_predictions(unseen: str) -> None:
    """Generalised least squares with the same variances, solved as matrices."""
    rng = np.random.default_rng(8)
    block = np.sort(rng.integers(0, 6, 25))
    places = at(25, block, block % 2)
    samples = Samples(places, rng.normal(4, 2, 25), np.arange(25))
    parts = VarianceComponents(crop=9.0, block=4.0, within=2.5, signal=1.5)
    asked = {"block": at(1, [77], 1), "crop": at(1, [77], 3), "neither": at(1, [int(block[0])], block[0] % 2)}
    found = HierarchicalSurface(samples, parts).predict(asked[unseen])
    own = samples.take(np.flatnonzero(places.crop == asked[unseen].crop)) if unseen != "crop" else samples
    same = (own.places.block[:, None] == own.places.block) * 1.0
    inverse = np.linalg.inv(parts.block * same + parts.within * np.eye(len(own)))
    ones = np.ones(len(own))
    level = ones @ inverse @ own.value / (ones @ inverse @ ones)
    shared = parts.block * (own.places.block == asked[unseen].block)
    assert found.mean[0] == pytest.approx(level + shared @ inverse @ (own.value - level))
    left = 1.0 - shared @ inverse @ ones
    doubt = parts.block - shared @ inverse @ shared + left**2 / (ones @ inverse @ ones)
    assert found.variance[0] == pytest.approx(doubt + parts.signal + (9.0 if unseen == "crop" else 0.0))


def test_variances_of_many_blocks_are_those_they_were_drawn_with() -> None:
    rng = np.random.default_rng(3)
    block = np.repeat(np.arange(400), 10)
    value = 5 + rng.normal(0, 3, 400)[block] + rng.normal(0, 2, 4000)
    found = variance_components(Samples(at(4000, block), value, np.arange(4000)), Priors())
    assert found.block == pytest.approx(9.0, rel=0.15)
    assert found.within == pytest.approx(4.0, rel=0.05)
    assert found.crop == 9.0
    # the signal's share of what lies within blocks is that of the priors: 1.5, 1.5 against 1.0 and 0.5 bar
    assert found.signal / found.within == pytest.approx(4.5 / (4.5 + 1.25))


def test_blocks_all_alike_keep_a_twentieth_of_the_prior() -> None:
    value = np.tile([-30.0, 30.0], 30)
    found = variance_components(Samples(at(60, np.arange(60) // 2), value, np.arange(60)), Priors())
    assert found.block == pytest.approx(0.05 * 4.0)


def test_cells_come_by_zone_and_those_of_none_do_not_come() -> None:
    zone = np.array([2, -1, 0, 2, 0, -1, 5])
    assert {code: cells.tolist() for code, cells in cells_by_zone(zone, 6)} == {0: [2, 4], 2: [0, 3], 5: [6]}
    assert [code for code, _ in cells_by_zone(zone, 3)] == [0, 2]


@pytest.mark.parametrize("most", [20, 77, 500])
def test_points_that_stand_for_a_zone_are_few_and_spread_all_over(most: int) -> None:
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 1, (4000, 2)) * [900.0, 300.0]
    chosen = discretise(xy, most)
    assert 0.5 * most <= len(chosen) <= most
    assert (np.diff(chosen) > 0).all()
    side = np.sqrt(900.0 * 300.0 / len(chosen))
    assert cdist(xy, xy[chosen]).min(axis=1).max() < 2.0 * side
    assert discretise(xy[:most], most).tolist() == list(range(most))


FEW = "Only 4 usable readings, too few for kriging"
ALIKE = "All usable readings are the same, which kriging cannot work with"
ONE, SEVERAL = "the average of the readings", "block averages, drawn towards the ranch's,"


@pytest.mark.parametrize(
    ("blocks", "method", "why", "what"),
    [
        ([0, 0, 0, 0], "ranch average", FEW, ONE),
        ([0, 0, 1, 1], "block average", FEW, SEVERAL),
        ([0] * 6, "ranch average", ALIKE, ONE),
    ],
)
def test_what_kriging_cannot_work_with_is_averaged_and_said(
    blocks: list[int], method: str, why: str, what: str
) -> None:
    n = len(blocks)
    value = np.arange(4.0) if n == 4 else np.full(n, 7.0)
    surface = fit_surface(Samples(at(n, blocks), value, np.arange(n)), method="structured")
    assert surface.method == method
    assert english(surface.notes) == [f"{why}: the map shows {what} with wide intervals."]


def test_a_method_nobody_knows_and_no_reading_at_all_are_refused() -> None:
    two = Samples(at(2, [0, 0]), np.ones(2), np.arange(2))
    with pytest.raises(ValueError, match="'best' is not a mapping method; use 'structured' or 'ordinary'"):
        fit_surface(two, method="best")
    with pytest.raises(ValueError, match="there is no reading to map"):
        fit_surface(two.take([]), method="ordinary")


def test_steps_of_a_fit_are_its_ranges_twice_with_a_covariate() -> None:
    five = Samples(at(5, [0] * 5), np.arange(5.0), np.arange(5))
    assert count_steps(five, "structured") == 5, "25 to 400 m, one to a doubling"
    assert count_steps(five, "ordinary") is None
    assert count_steps(five.take(slice(0, 4)), "structured") is None
    p = five.places
    with_one = Samples(Places(p.xy, p.block, p.valve, p.crop, np.arange(5.0)), five.value, five.tree)
    assert count_steps(with_one, "structured") == 10


def test_readings_at_one_place_make_no_variogram() -> None:
    for place in ([5.0, 300.0], [5.0, 5.0]):
        with pytest.raises(ValueError, match="of readings all at one place"):
            automatic_variogram(np.tile(place, (6, 1)), np.arange(6.0))


@pytest.mark.parametrize(("known", "tried"), [(7, False), (8, True)])
def test_a_covariate_known_at_fewer_than_eight_readings_is_not_tried(known: int, tried: bool) -> None:  # noqa: FBT001
    p = at(12, [0] * 12)
    covariate = np.where(np.arange(12) < known, np.arange(12.0) % 5, np.nan)
    value = np.random.default_rng(1).normal(size=12)
    samples = Samples(Places(p.xy, p.block, p.valve, p.crop, covariate), value, np.arange(12))
    (note,) = fit_surface(samples, method="structured").notes
    assert (note.code != "covariate_flat") == tried
