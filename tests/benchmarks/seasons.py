"""What memory of earlier visits is worth, with the irrigation log or without, on simulated seasons.

Run by hand: ``python tests/benchmarks/seasons.py [--ranches 40] [--without-log] [SEASON ...]``; prints a
table of docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.drawn_seasons import SEASONS, Shown, draw_season, show

FIRST_SEED = 1000
HEAD = (
    "season | error against today alone | against today with log | over 5 % worse, worst | "
    "90 % covers: memory, today alone | changed zones: error, 90 % covers | "
    "change, bar: together, apart | its 90 % covers | relief: today, with log, memory"
)


def error(shown: list[Shown], name: str) -> float:
    """Root mean square error over all zones of all ranches [bar]."""
    return float(np.sqrt(np.mean(np.concatenate([one.miss[name] for one in shown]) ** 2)))


def covered(shown: list[Shown], name: str) -> float:
    """Share of zones within their 90 % interval."""
    return float(np.mean(np.concatenate([np.abs(o.miss[name]) < 1.645 * o.se[name] for o in shown])))


def in_changed(shown: list[Shown]) -> str:
    """Error against today, with the log if any, and coverage in zones changed for good; a dash for none."""
    pairs = [
        (o.miss["memory"][o.changed], o.se["memory"][o.changed], o.miss["apart"][o.changed]) for o in shown
    ]
    miss, se, alone = (np.concatenate(part) for part in zip(*pairs, strict=True))
    if not len(miss):
        return "-"
    ratio = np.sqrt(np.mean(miss**2) / np.mean(alone**2))
    return f"{ratio:.2f}, {np.mean(np.abs(miss) < 1.645 * se):.2f}"


def row(name: str, ranches: int, *, log: bool) -> str:
    """Draw so many ranches of a season and give its row of the table."""
    shown = [show(draw_season(FIRST_SEED + seed, SEASONS[name]), log=log)[0] for seed in range(ranches)]
    each = np.array([one.ratio() for one in shown])
    apart = np.array([one.ratio(other="apart") for one in shown])
    relief = [np.mean([one.relief[which] for one in shown]) for which in ("today", "apart", "memory")]
    cells = (
        name,
        f"{error(shown, 'memory') / error(shown, 'today'):.3f} ± {each.std(ddof=1) / ranches**0.5:.3f}",
        f"{error(shown, 'memory') / error(shown, 'apart'):.3f} ± {apart.std(ddof=1) / ranches**0.5:.3f}",
        f"{100 * np.mean(apart > 1.05):.0f} %, {apart.max():.2f}",
        f"{covered(shown, 'memory'):.3f}, {covered(shown, 'today'):.3f}",
        in_changed(shown),
        f"{error(shown, 'change'):.2f}, {error(shown, 'change apart'):.2f}",
        f"{covered(shown, 'change'):.3f}",
        ", ".join(f"{one:.3f}" for one in relief),
    )
    return f"| {' | '.join(cells)} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seasons", nargs="*", default=list(SEASONS))
    parser.add_argument("--ranches", type=int, default=40)
    parser.add_argument("--without-log", action="store_true")
    asked = parser.parse_args()
    print(f"| {HEAD} |")
    print(f"|{' --- |' * len(HEAD.split(' | '))}")
    with threadpool_limits(1):
        for name in asked.seasons:
            print(row(name, asked.ranches, log=not asked.without_log), flush=True)


if __name__ == "__main__":
    main()
