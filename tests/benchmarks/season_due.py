"""How well days left, drying and the next peak are told on simulated seasons, and how faults are found.

Run by hand: ``python tests/benchmarks/season_due.py [--ranches 40] [due] [faults] [bound] [paces]``; prints
tables of docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.best_fault_judge import judged
from helpers.drawn_dry_downs import FAULTS, QUICK
from helpers.drawn_let_downs import held_later, standings_told
from helpers.drawn_seasons import TREES, Season
from helpers.season_shown import ALLOWED_OVER, DueShown, faults_shown, show_due

FIRST_SEED, MANY_TREES = 5000, 70
QUICK_OVER = 0.25
"""What is allowed over the mean where zones dry quickly, so that five days are left on the mean [bar]."""
KINDS = {
    "quick, eight earlier visits": (Season(earlier=8, water=QUICK), QUICK_OVER),
    "quick, two earlier visits": (Season(earlier=2, water=QUICK), QUICK_OVER),
    "slow, eight earlier visits": (Season(earlier=8), ALLOWED_OVER),
    "slow, two earlier visits": (Season(earlier=2), ALLOWED_OVER),
}
DUE_HEAD = (
    "season | days left, RMSE | due within a week | 90 % covers | drying, correlation | next peak, bar | "
    "mean days left"
)
FAULT_HEAD = (
    "fault | trees a visit | zones | found | days until, median (nine in ten) | false alarms, of sound zones"
)
ALARMED_FALSELY = 0.04
"""Share of sound zones that the best judge may alarm."""
PACE_HEAD = (
    "visits | blocks | keep pace: said ahead, behind | 0.4 too fast: ahead | 0.8 too fast: ahead | "
    "0.5 too slow: behind | ahead of those too slow, behind of those too fast"
)


def due_rows(name: str, how: tuple[Season, float], ranches: int) -> list[str]:
    """Draw so many ranches and give the rows of a kind of season: as the program tells, and otherwise."""
    shown = [show_due(FIRST_SEED + seed, *how) for seed in range(ranches)]
    every = DueShown.joined(shown)
    each = np.array([one.rmse() for one in shown])
    cells = (
        name,
        f"{every.rmse():.2f} ± {each.std(ddof=1) / ranches**0.5:.2f}",
        f"{every.rmse_within():.2f}",
        f"{every.covered():.3f}",
        f"{np.mean([one.correlation for one in shown]):.2f}",
        f"{every.peak_rmse():.2f}",
        f"{every.mean_days():.1f}",
    )
    rows = [f"| {' | '.join(cells)} |"]
    for other in every.others:
        told = every.told_by(other)
        rows.append(f"| {other} | {told.rmse():.2f} | {told.rmse_within():.2f} | | | | |")
    return rows


def fault_row(kind: str, trees: int, ranches: int) -> str:
    """Draw so many ranches with a fault and give its row."""
    found = [faults_shown(FIRST_SEED + 4000 + seed, kind, trees) for seed in range(ranches)]
    hit = np.concatenate([one.found for one in found])
    days = np.concatenate([one.days for one in found])
    alarmed = sum(one.false for one in found)
    sound = sum(one.sound for one in found)
    told = f"{100 * hit.mean():.0f} %" if len(hit) else "-"
    took = f"{np.median(days):.0f} ({np.quantile(days, 0.9):.0f})" if len(days) else "-"
    return f"| {kind} | {trees} | {len(hit)} | {told} | {took} | {100 * alarmed / sound:.1f} % |"


def bound_row(kind: str, trees: int, ranches: int) -> str:
    """Give the share of faulty zones that a judge finds who knows nearly all, at so many false alarms."""
    parts = [judged(FIRST_SEED + 4000 + seed, kind, trees) for seed in range(ranches)]
    faulty, sound = (np.concatenate(part) for part in zip(*parts, strict=True))
    level = max(float(np.quantile(sound, 1.0 - ALARMED_FALSELY)), 0.0)
    return (
        f"| {kind} | {trees} | {100 * (faulty > level).mean():.0f} % | {100 * (sound > level).mean():.1f} % |"
    )


def pace_row(visits: int, ranches: int) -> str:
    """Draw so many ranches whose blocks are let down at known paces and give their row."""
    pace, told = standings_told(range(FIRST_SEED + 4000, FIRST_SEED + 4000 + ranches), visits)

    def share(true: float, said: str) -> str:
        return f"{100 * np.mean(told[pace == true] == said):.0f} %"

    wrong = ((pace < 0) & (told == "ahead")) | ((pace > 0) & (told == "behind"))
    cells = (
        str(visits),
        str(len(pace)),
        f"{share(0.0, 'ahead')}, {share(0.0, 'behind')}",
        share(0.4, "ahead"),
        share(0.8, "ahead"),
        share(-0.5, "behind"),
        f"{100 * np.mean(wrong[pace != 0.0]):.1f} %",
    )
    return f"| {' | '.join(cells)} |"


def pace_rows(ranches: int) -> Iterator[str]:
    """Give the table of paces, and how often blocks stand later where they were told to."""
    yield f"| {PACE_HEAD} |\n|{' --- |' * len(PACE_HEAD.split(' | '))}"
    yield from (pace_row(visits, ranches) for visits in (8, 5))
    seeds = range(FIRST_SEED + 4500, FIRST_SEED + 4500 + ranches)
    for later in (3, 6):
        held = held_later(seeds, 8, later).mean()
        yield f"stands inside of its 90 % range {later} weeks on: {held:.2f}"


def due_table_rows(ranches: int) -> Iterator[str]:
    """Give the table of days left."""
    yield f"| {DUE_HEAD} |\n|{' --- |' * len(DUE_HEAD.split(' | '))}"
    for name, how in KINDS.items():
        yield from due_rows(name, how, ranches)


def fault_rows(ranches: int) -> Iterator[str]:
    """Give the table of faults found."""
    yield f"| {FAULT_HEAD} |\n|{' --- |' * len(FAULT_HEAD.split(' | '))}"
    yield from (fault_row(kind, trees, ranches) for trees in (TREES, MANY_TREES) for kind in FAULTS)


def bound_rows(ranches: int) -> Iterator[str]:
    """Give the table of faults found at best."""
    yield "| fault | trees a visit | found at best | false |\n| --- | --- | --- | --- |"
    yield from (bound_row(kind, trees, ranches) for trees in (TREES, MANY_TREES) for kind in FAULTS[1:])


TABLES = {"due": due_table_rows, "faults": fault_rows, "bound": bound_rows, "paces": pace_rows}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tables", nargs="*", default=list(TABLES))
    parser.add_argument("--ranches", type=int, default=40)
    asked = parser.parse_args()
    began = time.process_time()
    with threadpool_limits(1):
        for name in asked.tables:
            for row in TABLES[name](asked.ranches):
                print(row, flush=True)
    print(f"{time.process_time() - began:.0f} s of processor")


if __name__ == "__main__":
    main()
