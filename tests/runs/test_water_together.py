"""Draws of the zone means keep what the zones of a block have in common."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers import small_ranch
from scipy import sparse

from stressmap.core.settings import Water
from stressmap.geostat.hierarchical import HierarchicalSurface, variance_components
from stressmap.geostat.options import Priors
from stressmap.jobs.assess_visit import assess_readings, load_inputs
from stressmap.jobs.map_visit import fit, ranked_valves, valves_together
from stressmap.jobs.recall_visits import Remembered
from stressmap.water.alternatives import _draw
from stressmap.water.ranch_inputs import prepare


@pytest.fixture(scope="module")
def ranch(tmp_path_factory: pytest.TempPathFactory):
    folder: Path = tmp_path_factory.mktemp("ranch")
    inputs, orchard = load_inputs(small_ranch.write(folder, small_ranch.SETTINGS)).value
    assessed = assess_readings(inputs, orchard, None).value
    return inputs, assessed, fit(inputs, assessed, jobs=1)


def test_zones_of_a_block_average_are_wrong_together(ranch) -> None:
    inputs, _, fitted = ranch
    # Such a method gives all zones of a block one figure: its error is one and the same.
    expected = np.kron(np.eye(2), np.ones((2, 2)))
    average = HierarchicalSurface(fitted.samples, variance_components(fitted.samples, Priors()))
    assert valves_together(inputs, average).matrix.toarray() == pytest.approx(expected, abs=1e-6)


def test_draws_have_the_standard_errors_and_correlations_of_the_zones(ranch) -> None:
    inputs, assessed, fitted = ranch
    valves = ranked_valves(inputs, assessed, Remembered(fitted.surface))
    together = valves_together(inputs, fitted.surface)
    correlation = together.matrix.toarray()
    assert (np.linalg.eigvalsh(correlation) > -1e-9).all()
    # Kriging with a reading in every corner leaves little in common: give one pair a lot, to see it kept.
    pair = [together.valves.index(name) for name in ("N1", "N2")]
    correlation[pair, pair[::-1]] = 0.7
    together = replace(together, matrix=sparse.csr_array(correlation))
    case, _ = prepare(inputs, assessed.orchard, valves, assessed.visit, Water()).value
    names = list(case.problem.names)
    drawn = _draw(case, 20_000, together.covariance(names, case.benefit_model.se_bar))
    told = valves.set_index("valve")["stress_se_bar"][names].to_numpy()
    assert drawn.std(axis=0) == pytest.approx(told, rel=0.03)
    at = [together.valves.index(name) for name in names]
    assert np.corrcoef(drawn.T) == pytest.approx(correlation[np.ix_(at, at)], abs=0.03)


def test_draws_do_not_turn_with_the_last_digits(ranch) -> None:
    inputs, assessed, fitted = ranch
    case, _ = prepare(
        inputs,
        assessed.orchard,
        ranked_valves(inputs, assessed, Remembered(fitted.surface)),
        assessed.visit,
        Water(),
    ).value
    # Equal eigenvalues: any turn of their vectors would do, and rounding chooses one.
    alike = np.eye(len(case.problem))
    noise = 1e-14 * np.random.default_rng(1).standard_normal(alike.shape)
    one, other = (sparse.csr_array(made) for made in (alike, alike + noise + noise.T))
    assert _draw(case, 50, one) == pytest.approx(_draw(case, 50, other), abs=1e-9)
