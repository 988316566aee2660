"""Figures are shortened for the page; what is written of them must stay what every other paper writes."""

import random

from stressmap.output.text.words import Words
from stressmap.output.view.quantities import percent
from stressmap.output.web.map_data import _chance, _cut

WORDS = Words("en")


def test_a_shortened_figure_is_written_as_the_whole_one() -> None:
    """By hand: 2.2499 is 2.2 to one decimal, though 2.25, what two decimals round it to, would be 2.3."""
    assert _cut(2.2499) == 2.24
    assert _cut(-2.2499) == -2.24
    chance = random.Random(3)
    values = [chance.uniform(-30, 30) for _ in range(3000)] + [k / 200 for k in range(-2000, 2000)]
    assert [v for v in values if WORDS.number(v) != WORDS.number(_cut(v))] == []


def test_a_shortened_chance_is_neither_nothing_nor_certain() -> None:
    assert [_chance(p) for p in (0.0, 0.0004, 0.25, 0.9996, 1.0, None)] == [
        0.0,
        0.0004,
        0.25,
        0.999,
        1.0,
        None,
    ]
    chances = [10 ** -(k / 50) for k in range(400)] + [1 - 10 ** -(k / 50) for k in range(400)]
    assert [p for p in chances if percent(p, WORDS) != percent(_chance(p), WORDS)] == []
    assert str(_cut(-0.001)) == "0.0"
