"""Simulated seasons whose last round is chosen in several ways; all read a tree alike. Figures invented."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pandas as pd

from helpers.drawn_ranches import LEVEL_BAR, lay_out
from helpers.drawn_seasons import BLOCKS, CELL_M, ERROR_SD, TREE_SD, TREES, Season, draw_effects, relief_of
from helpers.drawn_sets import draw_watering
from stressmap.geostat.memory_mixture import MemorySurface, remember
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.surface import Surface
from stressmap.geostat.visit_series import VisitSeries
from stressmap.rounds.candidates import BlockTrees
from stressmap.rounds.later_errors import later_covariance
from stressmap.rounds.round import CrewRules, ReadingHours, RoundTask, SeasonWants, StandingTree
from stressmap.rounds.worth import valued
from stressmap.zoning.ranking import ZoneMeans
from stressmap.zoning.value_of_information import WateringDecision, area_threshold

NEW_A_ZONE = 6
NOON = dt.datetime(2026, 7, 21, 13, tzinfo=dt.UTC)
CHOICES = ("planned", "fixed", "random", "doubtful", "doubtful in turn")


@dataclass(frozen=True)
class DrawnRounds:
    """Cells, days, truth of each cell at each visit, and what a reading of it would be, shape (V, cells)."""

    cells: Places
    days: np.ndarray
    truth: np.ndarray
    reading: np.ndarray

    @property
    def zones(self) -> int:
        return int(self.cells.valve.max()) + 1

    @property
    def area(self) -> np.ndarray:
        return np.bincount(self.cells.valve, minlength=self.zones).astype(float)

    def zone_truth(self, visit: int) -> np.ndarray:
        return np.bincount(self.cells.valve, weights=self.truth[visit], minlength=self.zones) / self.area

    def series(self, chosen: list[np.ndarray]) -> VisitSeries:
        """Read the chosen cells of each visit."""
        visit, tree = np.repeat(np.arange(len(chosen)), [len(c) for c in chosen]), np.concatenate(chosen)
        samples = Samples(self.cells.take(tree), self.reading[visit, tree], tree)
        return VisitSeries.of(samples, visit, self.days[: len(chosen)])


def draw_rounds(seed: int, how: Season) -> DrawnRounds:
    """Draw a ranch and its season."""
    rng = np.random.default_rng(seed)
    cells = lay_out(BLOCKS, CELL_M, rng)
    days = how.days * np.arange(how.earlier + 1.0) + np.round(rng.uniform(-1, 1, how.earlier + 1))
    truth = draw_effects(cells, days, how, rng)
    block_of = np.zeros(int(cells.valve.max()) + 1, dtype=np.int64)
    block_of[cells.valve] = cells.block
    truth += draw_watering(how.water, block_of, days, rng).stress_bar[:, cells.valve]
    truth += (LEVEL_BAR + np.cumsum(rng.normal(0.2, 0.5, len(days))))[:, None]
    own = rng.normal(0, TREE_SD, len(cells)) + rng.normal(0, ERROR_SD, truth.shape)
    return DrawnRounds(cells, days, truth, truth + own)


def surface_of(series: VisitSeries) -> Surface:
    """Fit the last visit of a series, with memory where there is any."""
    last = series.samples.take(series.today)
    today = fit_surface(last, method="structured", options=SurfaceOptions())
    return today if len(series) < 2 else (remember(today, series) or today)


def half_and_half(drawn: DrawnRounds, before: np.ndarray | None, rng: np.random.Generator) -> np.ndarray:
    """Choose so many trees, at least three a block, half of them read before."""
    chosen = []
    for block in range(BLOCKS):
        mine = np.flatnonzero(drawn.cells.block == block)
        wanted = TREES // BLOCKS + int(block < TREES % BLOCKS)
        old = mine[:0] if before is None else np.intersect1d(before, mine)
        kept = rng.permutation(old)[: wanted // 2]
        chosen += [kept, rng.choice(np.setdiff1d(mine, kept), wanted - len(kept), replace=False)]
    return np.concatenate(chosen)


def candidates(
    drawn: DrawnRounds, read: np.ndarray, rng: np.random.Generator
) -> list[tuple[BlockTrees, np.ndarray]]:
    """List standing trees and a few new ones of each zone, block by block, with their cells."""
    found = []
    for block in range(BLOCKS):
        mine = np.flatnonzero(drawn.cells.block == block)
        old = np.intersect1d(read, mine)
        new = [
            rng.permutation(np.setdiff1d(mine[drawn.cells.valve[mine] == valve], old))[:NEW_A_ZONE]
            for valve in np.unique(drawn.cells.valve[mine])
        ]
        at = np.concatenate([old, *new])
        standing = tuple(
            StandingTree(str(c), (0.0, 0.0), str(block), str(drawn.cells.valve[c])) if c in old else None
            for c in at
        )
        places = drawn.cells.take(mine), drawn.cells.take(at)
        trees = BlockTrees(block, *places, standing, ((),) * len(at), np.zeros(len(at)))
        found.append((trees, at))
    return found


def task_of(drawn: DrawnRounds, surface: Surface, days_ahead: float) -> RoundTask:
    """Make what trees are valued for: a quarter of the area is watered next."""
    zones = surface.predict_zones(drawn.cells, drawn.cells.valve, drawn.zones)
    decision = WateringDecision(
        ZoneMeans(zones.mean, np.sqrt(zones.variance)),
        drawn.area,
        area_threshold(zones.mean, drawn.area, 0.25),
    )
    names = pd.DataFrame({"block": [str(b) for b in range(BLOCKS)]})
    valves = pd.DataFrame({"valve": [str(v) for v in range(drawn.zones)]})
    ground = SimpleNamespace(blocks=names, valves=valves)
    hours = ReadingHours(NOON, NOON + dt.timedelta(hours=2), NOON)
    return RoundTask(
        surface,
        ground,
        decision,
        hours,
        CrewRules(trees=TREES),
        (),
        SeasonWants(),
        days_ahead=days_ahead,  # type: ignore[arg-type]
    )


def chosen_trees(drawn: DrawnRounds, earlier: list[np.ndarray], seed: int) -> dict[str, np.ndarray]:
    """Choose the trees of the last visit in each of the ways."""
    rng = np.random.default_rng(seed)
    before = surface_of(drawn.series(earlier))
    listed = candidates(drawn, np.unique(np.concatenate(earlier)), rng)
    ahead = float(drawn.days[len(earlier)] - drawn.days[len(earlier) - 1])
    asked = task_of(drawn, before, ahead)
    at = {trees.block: cells for trees, cells in listed}
    planned = valued(asked, [trees for trees, _ in listed], TREES)
    return {
        "planned": np.array([at[one.block][one.place] for one in planned]),
        "fixed": earlier[-1],
        "random": rng.permutation(len(drawn.cells))[:TREES],
        "doubtful": by_standard_error(drawn, before),
        "doubtful in turn": most_doubtful(asked, listed),
    }


def by_standard_error(drawn: DrawnRounds, surface: Surface) -> np.ndarray:
    """Choose the cells where the map is most doubtful."""
    return np.argsort(-surface.predict(drawn.cells).variance, kind="stable")[:TREES]


def most_doubtful(asked: RoundTask, listed: list[tuple[BlockTrees, np.ndarray]]) -> np.ndarray:
    """Choose places of greatest variance, one after another, each as if those before it had been read."""
    joints = {
        i: later_covariance(
            asked.surface, (t.places, np.arange(len(t.places)), len(t.places)), asked.days_ahead
        )
        for i, (t, _) in enumerate(listed)
    }
    left = {i: np.ones(len(at), dtype=bool) for i, (_, at) in enumerate(listed)}
    chosen = []
    for _ in range(TREES):
        best = {i: np.where(left[i], np.diag(joint.covariance), -1.0) for i, joint in joints.items()}
        i = max(best, key=lambda one: best[one].max())
        place = int(best[i].argmax())
        left[i][place] = False
        joints[i] = joints[i].conditioned_on(place)
        chosen.append(int(listed[i][1][place]))
    return np.array(chosen)


def shown(seed: int, how: Season, among: tuple[str, ...] = CHOICES) -> dict[str, tuple[float, float, float]]:
    """Give relief, squared zone error and squared error of the change [bar²] of each way to choose."""
    rng = np.random.default_rng(seed + 500_000)
    drawn = draw_rounds(seed, how)
    earlier: list[np.ndarray] = []
    for _ in range(how.earlier):
        earlier.append(half_and_half(drawn, earlier[-1] if earlier else None, rng))
    truth, before = drawn.zone_truth(how.earlier), drawn.zone_truth(how.earlier - 1)
    found = {}
    chosen = chosen_trees(drawn, earlier, seed)
    for name, trees in ((name, chosen[name]) for name in among):
        surface = surface_of(drawn.series([*earlier, trees]))
        zones = drawn.cells, drawn.cells.valve, drawn.zones
        now = surface.predict_zones(*zones).mean
        change = now * np.nan
        if isinstance(surface, MemorySurface):
            change = surface.since_before().predict_zones(*zones).mean
        found[name] = (
            relief_of(now, truth, drawn.area),
            float(np.mean((now - truth) ** 2)),
            float(np.mean((change - (truth - before)) ** 2)),
        )
    return found
