"""The space-time model: its gradient, kriging against dense algebra, a tree left out at all its visits."""

import gc
import weakref
from dataclasses import replace

import numpy as np
import pytest
from helpers.drawn_seasons import Season, draw_season
from scipy.spatial.distance import cdist
from threadpoolctl import threadpool_limits

from stressmap.geostat import space_time_fit
from stressmap.geostat.covariance import MATERN32, Parameters
from stressmap.geostat.drying_slopes import Dryness
from stressmap.geostat.gross_errors import Doubts
from stressmap.geostat.kriging_systems import RANCH_SYSTEM
from stressmap.geostat.memory_mixture import one_visit
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import Priors, SurfaceOptions
from stressmap.geostat.persistence import Persistence, log_prior
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.space_time_fit import SeriesGroup, SpaceTimeFit
from stressmap.geostat.space_time_surface import SpaceTimeSurface
from stressmap.geostat.variance_model import choose_model, valve_groups
from stressmap.geostat.visit_series import VisitSeries


@pytest.fixture(scope="module")
def season() -> VisitSeries:
    drawn = draw_season(5, Season(earlier=2)).series
    few = np.flatnonzero(np.arange(len(drawn.samples)) % 2 == 0)
    samples = drawn.samples.take(few)
    crops = replace(samples.places, crop=samples.places.block % 2)
    return VisitSeries.of(replace(samples, places=crops), drawn.visit[few], drawn.day)


@pytest.fixture(scope="module")
def logged(season: VisitSeries) -> SpaceTimeSurface:
    """The same series with a log: of each valve zone a dryness of its own at each visit."""
    mm = np.random.default_rng(4).uniform(5, 70, (3, season.samples.places.valve.max() + 1))
    dry = Dryness(mm[season.visit, season.samples.places.valve], mm)
    today = StructuredSurface(season.samples.take(season.today), SurfaceOptions(average=False))
    return SpaceTimeSurface(replace(season, dryness=dry), today)


@pytest.fixture(scope="module")
def surface(season: VisitSeries) -> SpaceTimeSurface:
    options = SurfaceOptions(average=False)
    today = StructuredSurface(season.samples.take(season.today), options)
    return SpaceTimeSurface(season, today)


def slopes_of(a: Places, b: Places, variances: tuple[float, float, float]) -> np.ndarray:
    ranch, block, valve = variances
    groups = valve_groups(a.block, a.valve), valve_groups(b.block, b.valve)
    return ranch + block * (a.block[:, None] == b.block) + valve * (groups[0][:, None] == groups[1])


def by_hand(surface: SpaceTimeSurface, kept: np.ndarray, cells: Places) -> tuple[np.ndarray, np.ndarray]:
    """Krige the mean of some cells at the last visit and its change, set by set, by dense algebra.

    Universal kriging as in textbooks; each visit has a level with a flat prior, crops scatter about it.
    """
    series = surface.series
    s, visit = series.samples.take(kept), series.visit[kept]
    last = len(series) - 1
    parts = []
    dry = series.dryness
    # slopes: 0.05 bar/mm with a standard deviation of 0.03, of blocks a quarter and of valves an eighth of it
    slopes = 0.03**2, 0.0125**2, 0.006**2
    mm = np.zeros((len(series), 1 + int(max(s.places.valve.max(), cells.valve.max()))))
    mm = mm if dry is None else dry.of_valves
    own_mm, value = mm[visit, s.places.valve], s.value - 0.05 * mm[visit, s.places.valve]
    for p, k in zip(surface.nodes.parameters, surface.timed.persistence, strict=True):
        between = k(series.days_between)

        def signal(a: Places, b: Places, p: Parameters = p) -> np.ndarray:
            groups = valve_groups(a.block, a.valve), valve_groups(b.block, b.valve)
            return (
                p.block * (a.block[:, None] == b.block)
                + p.valve * (groups[0][:, None] == groups[1])
                + p.pattern * MATERN32(cdist(a.xy, b.xy), p.range_m)
            )

        def crops(a: Places, when: np.ndarray, b: Places, then: np.ndarray, p: Parameters = p) -> np.ndarray:
            return p.crop * (a.crop[:, None] == b.crop) * (when[:, None] == then)

        covariance = signal(s.places, s.places) * between[visit[:, None], visit]
        covariance += p.tree * (s.tree[:, None] == s.tree) + p.error * np.eye(len(s))
        covariance += crops(s.places, visit, s.places, visit)
        covariance += np.outer(own_mm, own_mm) * slopes_of(s.places, s.places, slopes)
        basis = (visit[:, None] == np.arange(len(series))).astype(float)
        answers = []
        for weight in (np.eye(len(series))[last], np.eye(len(series))[last] - np.eye(len(series))[last - 1]):
            right = (signal(s.places, cells) * (between @ weight)[visit][:, None]).mean(axis=1)
            own = signal(cells, cells).mean() * (weight @ between @ weight)
            for v in np.flatnonzero(weight):
                there = np.full(len(cells), v)
                right += weight[v] * crops(s.places, visit, cells, there).mean(axis=1)
                own += weight[v] ** 2 * crops(cells, there, cells, there).mean()
            there = weight @ mm[:, cells.valve]
            right += (own_mm[:, None] * there * slopes_of(s.places, cells, slopes)).mean(axis=1)
            own += (np.outer(there, there) * slopes_of(cells, cells, slopes)).mean()
            weighed = np.linalg.solve(covariance, basis)
            levels = np.linalg.solve(basis.T @ weighed, weighed.T @ value)
            solved = np.linalg.solve(covariance, right)
            left = weight - basis.T @ solved
            answers.append(
                (
                    weight @ levels + solved @ (value - basis @ levels) + 0.05 * there.mean(),
                    own - right @ solved + left @ np.linalg.solve(basis.T @ weighed, left),
                )
            )
        parts.append(answers)
    found = np.array(parts)
    share = surface.nodes.weight
    mean = np.einsum("k,kt->t", share, found[:, :, 0])
    second = np.einsum("k,kt->t", share, found[:, :, 1] + (found[:, :, 0] - mean) ** 2)
    return mean, second


@pytest.mark.parametrize("log", [False, True])
def test_kriging_is_that_of_dense_algebra(
    surface: SpaceTimeSurface, logged: SpaceTimeSurface, *, log: bool
) -> None:
    surface = logged if log else surface
    places = surface.samples.places
    cells = Places(
        np.add(places.xy[:4], [[3.0, 5.0], [10.0, 0.0], [0.0, 9.0], [-8.0, 4.0]]),
        *(np.repeat(code[:1], 4) for code in (places.block, places.valve, places.crop)),
    )
    zone = np.zeros(4, dtype=np.int64)
    mean, variance = by_hand(surface, np.arange(len(surface.samples)), cells)
    now, change = surface.predict_zones(cells, zone, 1), surface.predict_change(cells, zone, 1)
    assert [now.mean[0], change.mean[0]] == pytest.approx(mean, abs=1e-6)
    assert [now.variance[0], change.variance[0]] == pytest.approx(variance, abs=1e-6)
    one, dense = (
        surface.predict(cells.take(slice(1))),
        by_hand(surface, np.arange(len(places)), cells.take([0])),
    )
    assert (one.mean[0], one.variance[0]) == pytest.approx((dense[0][0], dense[1][0]), abs=1e-6)


def test_a_tree_is_left_out_at_all_its_visits(surface: SpaceTimeSurface) -> None:
    series = surface.series
    system = surface._systems._solve(RANCH_SYSTEM, leaving_out=True)
    again = np.flatnonzero(
        np.isin(series.samples.tree, series.samples.tree[series.visit < 2]) & (series.visit == 2)
    )
    tree = series.samples.tree[again[0]]
    rest = np.flatnonzero(series.samples.tree != tree)
    predicted, z_score = surface.leave_one_out()
    at = int(np.flatnonzero(series.today == again[0])[0])
    means = by_hand(surface, rest, series.samples.places.take(again[:1]))[0]
    assert len(surface.nodes.weight) > 1
    assert system.leave_out_terms.alpha.shape[1] == len(series.samples)
    # the sets are weighed anew without the tree, so that the two differ by a little
    assert predicted[at] == pytest.approx(means[0], abs=0.1)
    assert np.isfinite(z_score).all()


def test_the_gradient_is_that_of_finite_differences(season: VisitSeries) -> None:
    model = choose_model(season.samples, Priors(), None)
    assert model.free == ("block", "valve", "pattern", "tree", "error")
    trend = (season.visit[:, None] == np.arange(len(season))).astype(float)
    group = SeriesGroup.of(season, trend, np.arange(len(season.samples)))
    posterior = space_time_fit._Posterior(
        [group], [MATERN32(group.distance, 120.0)], model, season.days_between, float(np.log(120.0))
    )
    u = np.array([0.1, -0.3, 0.2, -0.4, -0.8, 0.3, 2.4])
    _, gradient = posterior.at(u)
    step = 1e-5 * np.eye(len(u))
    differences = [(posterior.at(u + d)[0] - posterior.at(u - d)[0]) / 2e-5 for d in step]
    assert gradient == pytest.approx(differences, abs=1e-4)


def test_persistence_derives_and_its_prior_is_normal() -> None:
    days, u = np.array([0.0, 7.0, 40.0]), np.array([0.4, 2.2])
    step = 1e-6
    for i, slope in enumerate(Persistence.of_scores(u).derivatives(days)):
        move = step * np.eye(2)[i]
        other = (Persistence.of_scores(u + move)(days) - Persistence.of_scores(u - move)(days)) / (2 * step)
        assert slope == pytest.approx(other, abs=1e-6)
    at = np.array([1.5, np.log(14.0) + 0.7])
    assert log_prior(at)[0] == pytest.approx(-1.0)


def test_a_series_is_in_order_and_a_tree_stands_at_one_place() -> None:
    code = np.zeros(3, dtype=np.int64)
    places = Places(np.array([[0.0, 0.0], [5.0, 0.0], [2.0, 1.0]]), code, code, code)
    samples = Samples(places, np.array([1.0, 2.0, 4.0]), np.array([7, 8, 7]))
    series = VisitSeries.of(samples, np.array([0, 0, 1]), np.array([0.0, 7.0]))
    assert series.samples.places.xy.tolist() == [[2.0, 1.0], [5.0, 0.0], [2.0, 1.0]]
    assert series.centred().value.tolist() == [-0.5, 0.5, 0.0]
    with pytest.raises(ValueError, match=r"^visits are not in the order of their days$"):
        VisitSeries.of(samples, np.array([0, 0, 1]), np.array([7.0, 0.0]))
    with pytest.raises(ValueError, match=r"^a visit has no reading$"):
        VisitSeries.of(samples, np.array([0, 0, 2]), np.array([0.0, 7.0, 9.0]))


def test_a_doubted_reading_counts_less_in_memory_too(season: VisitSeries) -> None:
    today = season.samples.take(season.today)
    wrong = replace(today, value=today.value + 9.0 * (np.arange(len(today)) == 3))
    samples = replace(season.samples, value=np.append(season.samples.value[: -len(today)], wrong.value))
    series = replace(season, samples=samples)
    doubts = Doubts(
        0.999 * (np.arange(len(today)) == 3), np.zeros(len(today)), np.zeros(len(today)), noise_bar2=1.0
    )
    options = SurfaceOptions(average=False)
    place, zone = today.places.take([3]), np.zeros(1, dtype=np.int64)
    full = SpaceTimeSurface(series, StructuredSurface(wrong, options)).predict_zones(place, zone, 1).mean[0]
    less = SpaceTimeSurface(series, StructuredSurface(wrong, options, doubts=doubts))
    sound = SpaceTimeSurface(season, StructuredSurface(today, options)).predict_zones(place, zone, 1).mean[0]
    believed = less.predict_zones(place, zone, 1).mean[0]
    assert abs(believed - sound) < 0.5 * abs(full - sound)
    assert less.zone_covariance(place, zone, 1).covariance[0, 0] > 0


def with_one_set(surface: SpaceTimeSurface) -> SpaceTimeSurface:
    found = surface.found
    fit = replace(found.fit, nodes=(found.fit.best,), weight=np.ones(1))
    today = StructuredSurface(surface.samples.take(surface.series.today), SurfaceOptions(average=False))
    return SpaceTimeSurface(surface.series, today, SpaceTimeFit(fit, (found.best,), found.best))


@pytest.mark.parametrize("log", [False, True])
def test_a_course_goes_through_the_map_of_the_last_visit(
    surface: SpaceTimeSurface, logged: SpaceTimeSurface, *, log: bool
) -> None:
    surface = with_one_set(logged if log else surface)
    places = surface.samples.places.take(surface.series.today)
    zone, series = places.valve, surface.series
    count = int(surface.samples.places.valve.max()) + 1
    day = np.array([series.day[2], series.day[2] + 5.0, series.day[1], 1e6])
    dry = series.dryness
    mm = np.zeros((4, count)) if dry is None else dry.of_valves[[2, 2, 1, 2]]
    found = surface.zone_paths(places, zone, count, day, mm)
    now = surface.predict_zones(places, zone, count)
    change = surface.predict_change(places, zone, count)
    assert found.mean[0] == pytest.approx(now.mean, abs=1e-6, nan_ok=True)
    assert found.covariance[0, 0] == pytest.approx(now.variance, abs=1e-6, nan_ok=True)
    assert found.mean[0] - found.mean[2] == pytest.approx(change.mean, abs=1e-6, nan_ok=True)
    apart = found.covariance[0, 0] + found.covariance[2, 2] - 2 * found.covariance[0, 2]
    assert apart == pytest.approx(change.variance, abs=1e-6, nan_ok=True)
    read = np.isfinite(now.mean)
    assert found.sd()[1][read].mean() > found.sd()[0][read].mean()
    # the level wanders: in the end twice its variance is added, half the mean square of its steps
    wander = max(0.5 * float(np.mean(np.diff(series.level()) ** 2)), 0.1)
    assert (found.covariance[3, 3] > 2 * wander)[read].all()
    # without a log nothing is learnt of slopes
    assert (found.slope.variance[read].max() < 0.03**2 + 0.0125**2 + 0.006**2) == log
    if not log:
        assert found.slope.mean[read] == pytest.approx(0.05)


def test_a_solved_system_is_gone_when_nobody_holds_it(logged: SpaceTimeSurface) -> None:
    """One that held itself would stay, with all its arrays: thousands of blocks would fill the memory."""
    today = logged.series.last_alone()
    alone = one_visit(logged.series, StructuredSurface(today.samples, SurfaceOptions(average=False)))
    for surface in (logged, alone):
        systems = surface._systems
        with threadpool_limits(1):
            system = systems._solve(RANCH_SYSTEM)
        seen = weakref.ref(system)
        gc.disable()
        try:
            del system
            assert seen() is None
        finally:
            gc.enable()


def test_a_ranch_without_unit_effects_is_remembered_mostly_without_them(season: VisitSeries) -> None:
    """A smooth surface that lasts, and trees; then the same with steps of whole blocks."""
    rng, places = np.random.default_rng(3), season.samples.places
    smooth = 2 * np.sin(places.xy[:, 0] / 700) + rng.normal(0, 0.5, len(places))
    steps = smooth + rng.normal(0, 2.5, places.block.max() + 1)[places.block]
    without = []
    for value in (smooth, steps):
        series = replace(season, samples=replace(season.samples, value=value))
        today = StructuredSurface(series.samples.take(series.today), SurfaceOptions(average=False))
        found = SpaceTimeSurface(series, today).fit
        plain = [p.block == p.valve == 0 for p in found.nodes]
        without.append(float(found.weight[plain].sum()))
    assert without[0] > 0.5
    assert without[1] == 0.0
