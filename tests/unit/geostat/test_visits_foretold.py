"""Each visit predicted from those before it, against dense algebra, and where nothing can be said."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.drawn_seasons import Season, draw_season
from scipy.spatial.distance import cdist

from stressmap.geostat.covariance import MATERN32, Parameters
from stressmap.geostat.fit import Fit
from stressmap.geostat.options import Priors
from stressmap.geostat.persistence import Persistence
from stressmap.geostat.space_time_fit import SpaceTimeFit
from stressmap.geostat.variance_model import choose_model
from stressmap.geostat.visits_foretold import foretell


def test_visits_are_foretold_by_simple_kriging_about_their_means() -> None:
    series = draw_season(3, Season(earlier=2, lasting=0.9)).series
    s, visit = series.samples, series.visit
    p, kept = Parameters(1.4, 0.5, 1.0, 0.5, 0.25, 150.0), Persistence(0.8, 20.0)
    fit = Fit(choose_model(s, Priors(), None), (p,), np.ones(1), p, 0.0)
    found = foretell(series, SpaceTimeFit(fit, (kept,), kept))
    signal = p.block * np.equal.outer(s.places.block, s.places.block)
    signal = signal + p.valve * np.equal.outer(s.places.valve, s.places.valve)
    signal = signal + p.pattern * MATERN32(cdist(s.places.xy, s.places.xy), p.range_m)
    days = series.day[visit]
    covariance = signal * kept(np.subtract.outer(days, days)) + p.tree * np.equal.outer(s.tree, s.tree)
    covariance += p.error * np.eye(len(s))
    value = s.value - np.array([s.value[visit == v].mean() for v in range(3)])[visit]
    for one in found:
        now, before = visit == one.visit, visit < one.visit
        weight = np.linalg.solve(covariance[np.ix_(before, before)], covariance[np.ix_(before, now)])
        left = value[now] - weight.T @ value[before]
        assert one.with_bar == pytest.approx(left.std(ddof=1))
        assert one.without_bar == pytest.approx(value[now].std(ddof=1))
        assert one.with_bar < one.without_bar
    assert [one.visit for one in found] == [1, 2]


def test_a_visit_of_a_few_readings_is_not_foretold() -> None:
    drawn = draw_season(3, Season(earlier=1)).series
    few = np.flatnonzero((drawn.visit == 0) | (np.arange(len(drawn.visit)) > len(drawn.visit) - 4))
    series = replace(drawn, samples=drawn.samples.take(few), visit=drawn.visit[few])
    p, kept = Parameters(1.4, 0.5, 1.0, 0.5, 0.25, 150.0), Persistence(0.8, 20.0)
    fit = Fit(choose_model(series.samples, Priors(), None), (p,), np.ones(1), p, 0.0)
    (one,) = foretell(series, SpaceTimeFit(fit, (kept,), kept))
    assert np.isnan(one.with_bar)
