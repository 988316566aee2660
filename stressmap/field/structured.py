"""The structured method: block, valve zone and pattern, averaged over what the readings leave open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial.distance import cdist

from stressmap.field import leftout
from stressmap.field.fit import Fit, fit, make_groups
from stressmap.field.joint import Joint, joint_errors, nearest_readings
from stressmap.field.kriging import Nodes, System, Trend
from stressmap.field.model import choose_model, valve_groups
from stressmap.field.neighbours import MOST_TOGETHER, NEAREST, system_readings
from stressmap.field.options import FieldOptions
from stressmap.field.parallel import each
from stressmap.field.reml import solve
from stressmap.field.support import cells_by_zone
from stressmap.field.surface import Estimate, Floats, Ints, Places, Samples

CHUNK = 16_384
"""Cells in one piece of work, whatever the number of threads."""
SLICE = 1_000_000
"""Cells sorted by block and valve zone at once."""
SQUARE_M = 400.0
"""Side of the squares in which a block without readings, or with very many, is kriged [m]."""
REACH_RANGES = 4.0
"""A reading further than this many ranges says nothing beyond the mean: correlation 0.01."""


@dataclass(frozen=True)
class Drift:
    """A covariate brought to mean 0 and standard deviation 1 at the readings; 0 everywhere without one."""

    middle: float = 0.0
    spread: float = 0.0

    def of(self, places: Places) -> Floats:
        """Return the standardised covariate; 0, its mean, where it says nothing."""
        if places.covariate is None or self.spread == 0.0:
            return np.zeros(len(places))
        z = (places.covariate - self.middle) / self.spread
        return np.where(np.isfinite(z), z, 0.0)


def standardise(samples: Samples) -> Drift:
    """Find mean and spread of the covariate at the readings."""
    covariate = samples.places.covariate
    known = np.isfinite(covariate) if covariate is not None else np.zeros(len(samples), dtype=bool)
    if covariate is None or known.sum() < 8 or np.ptp(covariate[known]) == 0:
        return Drift()
    return Drift(float(covariate[known].mean()), float(covariate[known].std()))


class StructuredSurface:
    """The structured method fitted to readings.

    Parameters
    ----------
    samples : Samples
        At least one; five or more make it worth while.
    options : FieldOptions
        Priors, known reading error, threads.
    drift : Drift, optional
        Whether and how a covariate takes part.
    """

    method = "structured"

    def __init__(self, samples: Samples, options: FieldOptions, drift: Drift | None = None) -> None:
        self.samples, self.options = samples, options
        self.drift = drift or Drift()
        self._level = float(samples.value.mean())
        self._centred = Samples(samples.places, samples.value - self._level, samples.tree)
        self._z = self.drift.of(samples.places)
        self._trend = np.column_stack([np.ones(len(samples)), self._z])[:, : 2 if self.drift.spread else 1]
        model = choose_model(samples, options.priors, options.reading_error_bar)
        self.fit = fit(self._centred, self._trend, model, average=options.average, jobs=options.jobs)
        self.nodes = self._with_trends(self.fit)
        self._systems: dict[tuple[int, ...], System] = {}
        codes, counts = np.unique(samples.places.block, return_counts=True)
        self._own = dict(zip(codes.tolist(), counts.tolist(), strict=True))
        self.notes: tuple[str, ...] = self.fit.notes

    def at(self, places: Places) -> Estimate:
        """Estimate the signal at points; as :meth:`stressmap.field.surface.Surface.at`."""
        out = np.empty((2, len(places)))
        for start in range(0, len(places), SLICE):
            part = slice(start, start + SLICE)
            self._slice(places.take(part), out[:, part])
        out[0] += self._level
        return Estimate(out[0], out[1])

    def zone_means(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones made of cells; as :meth:`stressmap.field.surface.Surface.zone_means`."""
        mean, variance = np.full(count, np.nan), np.full(count, np.nan)

        def work(piece: tuple[int, Ints]) -> None:
            code, cells = piece
            inside = places.take(cells)
            blocks = np.unique(inside.block)
            system = self._system(self._key(blocks, inside.xy.mean(axis=0)))
            mean[code], variance[code] = system.mean_of(inside, self.drift.of(inside))

        each(work, list(cells_by_zone(zone, count)), jobs=self.options.jobs)
        return Estimate(mean + self._level, variance)

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the others; as :meth:`stressmap.field.surface.Surface.leave_one_out`."""
        miss, variance = np.empty(len(self.samples)), np.empty(len(self.samples))
        for system, own in self._owners():
            part = system.left_out
            miss[system.index[own]], variance[system.index[own]] = leftout.each_reading(
                self.nodes.weight, part.alpha[:, own], part.diagonal[:, own]
            )
        return self.samples.value - miss, miss / np.sqrt(variance)

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; as :meth:`leave_one_out`, NaN where there are none."""
        miss, variance = np.full(len(self.samples), np.nan), np.full(len(self.samples), np.nan)
        if len(np.unique(self.samples.places.block)) == 1:
            return self.samples.value - miss, miss
        for system, own in self._owners():
            block = self.samples.places.block[system.index]
            for b in np.unique(block[own]):
                i = own[block[own] == b]
                inner = system.left_out.blocks[int(b)]
                position = np.searchsorted(np.flatnonzero(block == b), i)
                miss[system.index[i]], variance[system.index[i]] = leftout.together(
                    self.nodes.weight, system.left_out.alpha[:, i], inner[:, position][:, :, position]
                )
        return self.samples.value - miss, miss / np.sqrt(variance)

    def _with_trends(self, found: Fit) -> Nodes:
        """Estimate the trend from all readings of the ranch under every set of parameters."""
        groups = make_groups(self._centred, self._trend, most=None)
        patterns: dict[float, list[Floats]] = {}
        model = found.model

        def trend(k: int) -> Trend:
            p = found.nodes[k]
            information = np.zeros((self._trend.shape[1],) * 2)
            right = np.zeros(self._trend.shape[1])
            for group, pattern in zip(groups, patterns[p.range_m], strict=True):
                solved = solve(group.alike.covariance(p, pattern), group.trend)
                information += solved.information
                right += solved.weighed.T @ group.value
            variance = np.linalg.inv(information)
            return Trend(np.asarray(variance @ right), np.asarray(variance))

        trends: list[Trend | None] = [None] * len(found.nodes)
        for range_m in sorted({p.range_m for p in found.nodes}):
            patterns[range_m] = [g.alike.pattern(model, range_m) for g in groups]
            members = [k for k, p in enumerate(found.nodes) if p.range_m == range_m]
            for k, one in zip(members, each(trend, members, jobs=self.options.jobs), strict=True):
                trends[k] = one
            del patterns[range_m]
        return Nodes(found.nodes, found.weight, tuple(t for t in trends if t), model.correlation)

    def _key(self, blocks: Ints, at: Floats) -> tuple[int, ...]:
        """Name the system that kriges some blocks about a place: the ranch's, the blocks', or a square's."""
        if len(self.samples) <= MOST_TOGETHER:
            return ()
        own = sum(self._own.get(int(b), 0) for b in blocks)
        square = np.floor(at / SQUARE_M).astype(int) if not 0 < own <= NEAREST else (-1, -1)
        return (*map(int, square), *map(int, blocks))

    def _system(self, key: tuple[int, ...]) -> System:
        if key not in self._systems:
            places = self.samples.places
            index = np.arange(len(self.samples))
            if key:
                blocks = np.array(key[2:])
                own = places.xy[np.isin(places.block, blocks)]
                centre = own.mean(axis=0) if key[:2] == (-1, -1) else (np.array(key[:2]) + 0.5) * SQUARE_M
                reach = REACH_RANGES * float(self.nodes.ranges.max())
                index = system_readings(places.xy, places.block, blocks, centre, reach_m=reach)
            self._systems[key] = System(self._centred, index, self._z, self.nodes)
        return self._systems[key]

    def _owners(self) -> Iterator[tuple[System, Ints]]:
        """Give every reading to one system that holds it: system, and which of its readings are its own."""
        if len(self.samples) <= MOST_TOGETHER:
            yield self._system(()), np.arange(len(self.samples))
            return
        places = self.samples.places
        keys: dict[tuple[int, ...], list[int]] = {}
        for i in range(len(self.samples)):
            keys.setdefault(self._key(places.block[i : i + 1], places.xy[i]), []).append(i)
        each(self._system, list(keys), jobs=self.options.jobs)
        for key, members in keys.items():
            system = self._system(key)
            yield system, np.flatnonzero(np.isin(system.index, members))

    def _slice(self, places: Places, out: Floats) -> None:
        """Krige some points, those of one block, valve zone and crop at a time."""
        drift = self.drift.of(places)
        sorts = [places.block, places.valve, places.crop]
        if len(self.samples) > MOST_TOGETHER:
            own = np.array([self._own.get(b, 0) for b in range(int(places.block.max()) + 1)])[places.block]
            local = (own == 0) | (own > NEAREST)
            square = np.floor(places.xy / SQUARE_M).astype(np.int64)
            sorts += [np.where(local, s, 0) for s in square.T]
        order, starts = _sorted_kinds(sorts)
        pieces = []
        for a, b in zip(starts, [*starts[1:], len(order)], strict=True):
            first = order[a]
            key = self._key(places.block[first : first + 1], places.xy[first])
            pieces += [(key, order[c : min(c + CHUNK, b)]) for c in range(a, b, CHUNK)]
        each(self._system, sorted({key for key, _ in pieces}), jobs=self.options.jobs)

        def work(piece: tuple[tuple[int, ...], Ints]) -> None:
            key, cells = piece
            part = np.empty((2, len(cells)))
            self._systems[key].points(places.xy[cells], drift[cells], places.take(cells[:1]), part)
            out[:, cells] = part

        each(work, pieces, jobs=self.options.jobs)

    def joint(self, places: Places, zone: Ints, count: int) -> Joint:
        """Tell the joint errors of zone means; as :meth:`stressmap.field.surface.Surface.joint`."""
        samples = self.samples.take(nearest_readings(self.samples, places))
        p = self.nodes.parameters[int(np.argmax(self.nodes.weight))]

        def covariance(a: Places, b: Places) -> Floats:
            groups = valve_groups(a.block, a.valve), valve_groups(b.block, b.valve)
            shared = p.crop * np.equal.outer(a.crop, b.crop) + p.block * np.equal.outer(a.block, b.block)
            return np.asarray(
                shared
                + p.valve * np.equal.outer(*groups)
                + p.pattern * self.nodes.correlation(cdist(a.xy, b.xy), p.range_m)
            )

        def trend(at: Places) -> Floats:
            both = np.column_stack([np.ones(len(at)), self.drift.of(at)])
            return both[:, : 2 if self.drift.spread else 1]

        noise = p.tree * np.equal.outer(samples.tree, samples.tree) + p.error * np.eye(len(samples))
        return joint_errors(samples, (places, zone, count), covariance, noise, trend)

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
        f = self.fit
        likelihood = round(f.log_likelihood, 6) if np.isfinite(f.log_likelihood) else None
        terms = {
            f"{name}_sd_bar": round(f.average(name) ** 0.5, 4)
            for name in ("block", "valve", "pattern", "tree", "error")
        }
        return {
            "method": self.method,
            "readings": len(self.samples),
            "correlation": f.model.correlation.name,
            **terms,
            "range_m": round(f.average("range_m"), 2),
            "range_best_m": round(f.best.range_m, 2),
            "tree_and_error_told_apart": "error" in f.model.free or f.model.error_bar > 0,
            "restricted_log_likelihood": likelihood,
            "parameter_sets": len(f.nodes),
            "covariate_used": bool(self.drift.spread),
        }


def _sorted_kinds(columns: list[Ints]) -> tuple[Ints, list[int]]:
    """Sort rows by some codes: the order, keeping equals as they were, and where in it each kind starts."""
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        low = column.min()
        key = key * (int(column.max() - low) + 1) + (column - low)
    order = np.argsort(key, kind="stable")
    return order, np.flatnonzero(np.diff(key[order], prepend=key[order[:1]] - 1)).tolist()
