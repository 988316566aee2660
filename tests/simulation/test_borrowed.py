"""A new ranch of a district whose others know how fast their trees dry: a quick part of the benchmark.

``tests/benchmarks/borrowed.py`` measures sixty districts; the bounds here are as much wider as two are less
certain.
"""

import numpy as np
from helpers.borrowing import first_visit_with_log
from threadpoolctl import threadpool_limits


def test_a_new_ranch_with_a_log_gains_from_the_others() -> None:
    with threadpool_limits(1):
        made = [first_visit_with_log(seed, lenders=2) for seed in range(100, 102)]
    total = {name: sum(row[name][0] for row, *_ in made) for name in made[0][0]}
    covered = sum(row["borrowed"][1] for row, *_ in made) / sum(zones for _, zones, _ in made)
    assert np.sqrt(total["borrowed"] / total["alone"]) < 1.0
    assert 0.80 <= covered <= 0.98
