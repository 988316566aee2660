"""Readings that all others contradict: found though they hide each other, and never what is borne out."""

import numpy as np
import pytest

from stressmap.geostat.gross_errors import GROSS_BAR, Doubts
from stressmap.geostat.methods import doubts_of, fit_surface
from stressmap.geostat.samples import Places, Samples

ROWS = 8
N = ROWS * ROWS
LEVEL = np.array([2.0, 3.5, 5.0, 3.0])


def orchard(seed: int = 3, spacing_m: float = 80.0) -> Samples:
    """Sixty-four trees on a lattice in four blocks: block levels, trees 0.7 bar apart, nothing else."""
    rng = np.random.default_rng(seed)
    row, column = np.divmod(np.arange(N), ROWS)
    block = (row // 4) * 2 + column // 4
    value = LEVEL[block] + rng.normal(0, 0.7, N)
    xy = np.column_stack([column, row]) * spacing_m
    return Samples(Places(xy, block, block, np.zeros_like(block)), value, np.arange(N))


def judged(samples: Samples, **wrong_bar: float) -> Doubts | None:
    """Judge readings with so much put on some of them, named ``at0`` and so on."""
    value = samples.value.copy()
    for name, bar in wrong_bar.items():
        value[int(name[2:])] += bar
    return doubts_of(fit_surface(Samples(samples.places, value, samples.tree), method="structured"))


def aside(found: Doubts | None) -> list[int]:
    return [] if found is None else np.flatnonzero(found.aside).tolist()


def with_another(samples: Samples, of: int, value: float, *, tree: int, east_m: float = 0.0) -> Samples:
    places = samples.places.followed_by(samples.places.take([of]))
    places.xy[-1, 0] += east_m
    return Samples(places, np.append(samples.value, value), np.append(samples.tree, tree))


@pytest.mark.parametrize("bar", [6.0, -6.0])
def test_one_reading_far_off_is_set_aside_and_no_other(bar: float) -> None:
    found = judged(orchard(), at19=bar)
    assert aside(found) == [19]
    assert found is not None
    assert found.z_score[19] * bar > 0
    assert found.predicted[19] == pytest.approx(LEVEL[orchard().places.block[19]], abs=1.5)
    assert found.weight[19] == 0.0
    assert np.median(found.weight) > 0.8


@pytest.mark.parametrize("seed", range(4))
def test_readings_without_gross_errors_all_count(seed: int) -> None:
    assert aside(judged(orchard(seed))) == []


def test_many_wrong_ones_do_not_hide_each_other() -> None:
    """Six of 64, one in ten: all in full, they widen the fitted noise so that few stand out."""
    wrong = {"at3": 6.0, "at12": -5.5, "at22": 7.0, "at37": 5.5, "at45": -6.5, "at60": -7.0}
    found = judged(orchard(), **wrong)
    assert set(aside(found)) >= {3, 12, 22, 37, 45, 60}
    assert len(aside(found)) <= 7


def test_a_dry_spot_that_a_second_tree_bears_out_stays() -> None:
    samples = orchard()
    assert (
        aside(judged(with_another(samples, 19, samples.value[19] + 6.0, tree=N, east_m=20.0), at19=6.0)) == []
    )


def test_a_tree_near_by_that_is_not_dry_bears_nothing_out() -> None:
    samples = orchard()
    near = with_another(samples, 19, samples.value[19] + 0.3, tree=N, east_m=20.0)
    assert aside(judged(near, at19=6.0)) == [19]


def test_a_dry_tree_that_a_second_leaf_bears_out_stays_and_one_odd_leaf_does_not() -> None:
    samples = orchard()
    assert aside(judged(with_another(samples, 19, samples.value[19] + 6.0, tree=19), at19=6.0)) == []
    assert aside(judged(with_another(samples, 19, samples.value[19] + 0.2, tree=19), at19=6.0)) == [19]


def test_of_a_few_readings_none_is_doubted() -> None:
    samples = orchard().take(np.arange(11))
    assert judged(samples, at3=7.0) is None


def test_a_doubted_reading_weighs_as_its_expected_error_lets_it() -> None:
    found = Doubts(np.array([0.0, 0.25, 0.9]), np.zeros(3), np.array([0.1, 2.0, 5.0]), 1.5)
    assert found.for_map == pytest.approx([0.0, 0.25 * GROSS_BAR**2, 0.9 * GROSS_BAR**2])
    assert found.weight == pytest.approx([1.0, 1.5 / (1.5 + 0.25 * GROSS_BAR**2), 0.0])
    # the expected precision, worked by hand: 0.75/1.5 + 0.25/(1.5 + 20.25) = 0.511494 per bar²
    assert 1 / (1.5 + found.for_fit[1]) == pytest.approx(0.511494, abs=1e-6)


def test_the_map_without_it_is_the_map_of_the_others() -> None:
    """What is set aside leaves no trace: the same as had it never been read, but for what is doubted less."""
    samples = orchard()
    value = samples.value.copy()
    value[19] += 8.0
    spoilt = Samples(samples.places, value, samples.tree)
    found = doubts_of(fit_surface(spoilt, method="structured"))
    assert found is not None
    kept = ~found.aside
    ours = fit_surface(spoilt.take(kept), method="structured", doubts=found.take(kept))
    others = fit_surface(samples.take(kept), method="structured")
    spoiled = fit_surface(spoilt, method="structured")
    near, far = (np.abs(s.predict(samples.places).mean - others.predict(samples.places).mean).max()
                 for s in (ours, spoiled))  # fmt: skip
    assert near < 0.25 * far
