"""Estimates pooled over ranches, against published worked examples of the same model in other trades.

Eight schools: *Journal of Educational Statistics* 6(4), 377-401 (1981), table 1: effects and standard errors
of coaching; pooled completely, the mean is 7.7 with a variance of 16.6 (*Bayesian Data Analysis*, 2nd
edition, section 5.5). Vaccine trials: *Journal of Statistical Software* 36(3), 1-48 (2010), section 3: log
relative risks of 13 trials, spread² 0.3132 by restricted likelihood, mean -0.7145 with a standard error of
0.1798. All figures from memory; the trials' counts, those effects and the results agree with each other.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from stressmap.geostat.normal_pool import log_spread_likelihood, mean_given_spread, pooled_normal

SCHOOLS = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
SCHOOLS_SE = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])
TRIALS = np.array(
    [
        (4, 119, 11, 128),
        (6, 300, 29, 274),
        (3, 228, 11, 209),
        (62, 13536, 248, 12619),
        (33, 5036, 47, 5761),
        (180, 1361, 372, 1079),
        (8, 2537, 10, 619),
        (505, 87886, 499, 87892),
        (29, 7470, 45, 7232),
        (17, 1699, 65, 1600),
        (186, 50448, 141, 27197),
        (5, 2493, 3, 2338),
        (27, 16886, 29, 17825),
    ],
    dtype=float,
)


def log_relative_risks() -> tuple[np.ndarray, np.ndarray]:
    ill, well, others_ill, others_well = TRIALS.T
    treated, others = ill + well, others_ill + others_well
    variance = 1 / ill - 1 / treated + 1 / others_ill - 1 / others
    return np.log(ill / treated) - np.log(others_ill / others), np.sqrt(variance)


def test_eight_schools_pooled_completely() -> None:
    mean, variance = mean_given_spread(SCHOOLS, SCHOOLS_SE, 0.0)
    assert mean == pytest.approx(7.7, abs=0.05)
    assert variance == pytest.approx(16.6, abs=0.05)


def test_spread_and_mean_of_the_vaccine_trials() -> None:
    estimate, se = log_relative_risks()
    found = minimize_scalar(
        lambda s: -log_spread_likelihood(estimate, se, s), bounds=(0.0, 3.0), method="bounded"
    )
    assert found.x**2 == pytest.approx(0.3132, abs=0.0005)
    mean, variance = mean_given_spread(estimate, se, float(found.x))
    assert mean == pytest.approx(-0.7145, abs=0.0005)
    assert variance**0.5 == pytest.approx(0.1798, abs=0.0005)


def test_what_another_ranch_will_have_is_wider_than_the_mean_is_known() -> None:
    estimate, se = log_relative_risks()
    mean, sd = pooled_normal(estimate, se, 1.0)
    # the mean as above; the spread above, as far as 13 trials tell it, with the mean's own error
    assert mean == pytest.approx(-0.7145, abs=0.05)
    assert 0.5597 < sd < 0.75
