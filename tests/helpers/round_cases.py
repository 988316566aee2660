"""Tasks of timed plans, drawn: trees in blocks with rows, or anywhere. All figures invented."""

from __future__ import annotations

import numpy as np

from stressmap.rounds.timed_task import Clockwork, TimedTask

USUAL = Clockwork(earliest=-1200, closes=7200, bag=60, read=150, least=600, most=7200)


def drawn_task(seed: int) -> TimedTask:
    """Draw a task of any size and any hours, also such as hardly let a tree be read."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(0, 30))
    xy = rng.uniform(0, rng.uniform(50, 3000), (count, 2))
    ways = np.ceil(np.hypot(*(xy[:, None] - xy[None]).T) / rng.uniform(0.7, 4.0)).astype(np.int64)
    clockwork = Clockwork(
        earliest=-int(rng.integers(0, 3600)),
        closes=int(rng.integers(600, 8000)),
        bag=int(rng.integers(10, 120)),
        read=int(rng.integers(30, 300)),
        least=int(rng.integers(0, 1200)),
        most=int(rng.integers(1200, 7200)),
    )
    start = rng.integers(0, 900, count) if rng.random() < 0.3 else None
    return TimedTask(
        rng.gamma(2, 1, count) + 0.01,
        ways,
        clockwork,
        int(rng.integers(1, 5)),
        int(rng.integers(1, 40)),
        start,
    )


def orchard_task(seed: int, count: int = 40, crews: int = 1, *, straight: bool = False) -> TimedTask:
    """Draw trees of eight blocks, 400 by 360 m: on foot along rows, by vehicle between gates; or straight."""
    rng = np.random.default_rng(seed)
    block = rng.integers(0, 8, count)
    x0, y0 = (block % 4) * 420.0, (block // 4) * 400.0
    x, y = rng.uniform(20, 380, count), rng.uniform(20, 350, count)
    along, across = y[:, None] + y[None], np.abs(np.subtract.outer(x, x))
    same_row = across < 7
    on_foot = across + np.where(same_row, np.abs(np.subtract.outer(y, y)), np.minimum(along, 720 - along))
    to_gate = np.abs(x - 200) + y
    gate = np.column_stack([x0 + 200, y0])
    driven = np.abs(gate[:, None] - gate[None]).sum(axis=2) / 3.0 + 30.0
    ways = np.where(np.equal.outer(block, block), on_foot, to_gate[:, None] + to_gate[None] + driven)
    if straight:
        apart = np.hypot(np.subtract.outer(x0 + x, x0 + x), np.subtract.outer(y0 + y, y0 + y))
        ways = np.where(np.equal.outer(block, block), apart, apart / 3.0 + 30.0)
    np.fill_diagonal(ways, 0)
    return TimedTask(np.round(rng.gamma(2, 50, count) + 10), np.ceil(ways).astype(np.int64), USUAL, crews)


def small_task(seed: int) -> TimedTask:
    """Draw a few trees and too little time for all."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 400, (5, 2))
    ways = np.ceil(np.abs(xy[:, None] - xy[None]).sum(axis=2)).astype(np.int64)
    hours = USUAL._replace(earliest=-300, closes=int(rng.integers(900, 2000)), most=1500)
    return TimedTask(rng.integers(1, 50, 5).astype(float), ways, hours, 1 + seed % 2, 5)
