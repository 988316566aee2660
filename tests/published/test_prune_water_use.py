"""How much less water prune uses under stress.

Stem-water potential as a sensitive indicator of water stress in prune trees, Journal of the American
Society for Horticultural Science 117(4):607-611, 1992, abstract (read): half of leaf and canopy water loss
is gone when the potential has fallen by 5 to 6 bar.
"""

import numpy as np

from stressmap.agronomy import load_profiles
from stressmap.agronomy.water_use import stress_coefficient

PRUNE = load_profiles({}, "ranch.toml")["prune"]


def test_half_is_gone_between_five_and_six_bar_below_the_line() -> None:
    at_five, at_six = stress_coefficient(PRUNE, [5.0, 6.0]).tolist()
    assert at_six < 0.5 < at_five


def test_it_falls_with_every_bar_and_never_to_nothing() -> None:
    shares = stress_coefficient(PRUNE, np.arange(-3.0, 20.0, 0.5))
    assert (np.diff(shares) <= 0.0).all()
    assert shares[0] == 1.0
    assert shares[-1] > 0.0
