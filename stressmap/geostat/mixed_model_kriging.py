"""Kriging by a linear mixed model: drift, nested effects (block, valve zone), a spatial term; Bayesian."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.spatial.distance import cdist
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Note
from stressmap.core.parallel import each
from stressmap.geostat import leave_one_out
from stressmap.geostat.change_of_support import zone_set
from stressmap.geostat.coarse_lattice import predict_cells
from stressmap.geostat.fit import estimate_trends, fit
from stressmap.geostat.gross_errors import Doubts, find_doubts
from stressmap.geostat.kriging import KrigingSystem
from stressmap.geostat.kriging_systems import KrigingSystems
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Estimate, Places, Samples
from stressmap.geostat.trend import MeanModel
from stressmap.geostat.variance_model import choose_model, reading_noise, valve_groups
from stressmap.geostat.zone_covariance import ZoneCovariance, nearest_readings, universal_kriging_covariance

CELLS_PER_TASK = 16_384
"""Cells in one piece of work, whatever the number of threads."""
CELLS_PER_SORT = 1_000_000
"""Cells sorted by block and valve zone at once."""


@dataclass(frozen=True)
class Drift:
    """A covariate brought to mean 0 and standard deviation 1 at the readings; 0 everywhere without one."""

    mean: float = 0.0
    sd: float = 0.0

    def standardised(self, places: Places) -> Floats:
        """Return the standardised covariate; 0, its mean, where it is not known."""
        if places.covariate is None or self.sd == 0.0:
            return np.zeros(len(places))
        z = (places.covariate - self.mean) / self.sd
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
        At least one; five or more for a useful fit.
    options : SurfaceOptions
        Priors, known reading error, threads.
    drift : Drift, optional
        Covariate used as external drift; none by default.
    doubts : Doubts, optional
        Of the readings, which then count the less the more they are doubted.
    step : callable
        Called as each range has been tried.

    Notes
    -----
    Pickles without its kriging systems, which are solved again when first needed.
    """

    method = "structured"

    def __init__(
        self,
        samples: Samples,
        options: SurfaceOptions,
        drift: Drift | None = None,
        *,
        doubts: Doubts | None = None,
        step: Callable[[], None] = lambda: None,
    ) -> None:
        self.samples, self.options = samples, options
        self.drift = drift or Drift()
        self._level = float(samples.value.mean())
        self._centred = replace(samples, value=samples.value - self._level)
        self._z = self.drift.standardised(samples.places)
        used = bool(self.drift.sd)
        trend = np.column_stack([np.ones(len(samples)), self._z])[:, : 1 + used]
        model = choose_model(samples, options.priors, options.reading_error_bar)
        readings = self._centred if doubts is None else replace(self._centred, doubt=doubts.for_fit)
        self.fit = fit(readings, trend, model, average=options.average, lent=options.lent, step=step)
        if doubts is not None:
            self._centred = replace(self._centred, doubt=doubts.for_map)
        mean_model = MeanModel(np.unique(samples.places.crop), options.priors.crop_bar**2, used)
        self.nodes = estimate_trends(self._centred, self._z, self.fit, mean_model)
        self._systems = KrigingSystems(self._centred, self._z, self.nodes)
        self.notes: tuple[Note, ...] = self.fit.notes

    @property
    def doubt(self) -> Floats | None:
        """Variance of each reading's error beyond that of all readings in the map [bar²]; None for none."""
        return self._centred.doubt

    def find_doubts(self) -> Doubts | None:
        """Find which readings the others contradict; None where there is none."""
        trend = np.column_stack([np.ones(len(self.samples)), self._z])[:, : 1 + bool(self.drift.sd)]
        return find_doubts(self._centred, trend, self.fit.model, self.fit.best, self._level)

    def __getstate__(self) -> dict[str, Any]:
        """Return what is pickled: all but the solved systems."""
        return {name: value for name, value in vars(self).items() if name not in {"_systems", "_left_out"}}

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Take what was pickled; systems are solved again when first needed."""
        vars(self).update(state)
        self._systems = KrigingSystems(self._centred, self._z, self.nodes)

    def predict(self, places: Places) -> Estimate:
        """Estimate the signal at points; as :meth:`Surface.predict`."""
        out = np.empty((2, len(places)))
        for start in range(0, len(places), CELLS_PER_SORT):
            part = slice(start, start + CELLS_PER_SORT)
            self._predict_part(places.take(part), out[:, part])
        out[0] += self._level
        return Estimate(out[0], out[1])

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones made of cells; as :meth:`Surface.predict_zones`."""
        asked = zone_set(places, zone, count)
        if (known := asked.answers.get(self)) is not None:
            return known
        mean, variance = np.full(count, np.nan), np.full(count, np.nan)
        keys = {code: self._systems.key(one.blocks, one.middle) for code, one in asked.cells.items()}

        def work(piece: tuple[int, KrigingSystem]) -> None:
            code, system = piece
            inside = asked.cells[code]
            drift = self.drift.standardised(inside.places)
            mean[code], variance[code] = system.predict_mean(inside, drift)

        for systems in self._systems.windows(keys.values()):
            own = [(code, systems[key]) for code, key in keys.items() if key in systems]
            each(work, own, jobs=self.options.jobs)
        asked.answers[self] = Estimate(mean + self._level, variance)
        return asked.answers[self]

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other trees; as the interface says.

        Leaves of one tree are left out together: another leaf carries the tree effect, which is not mapped.
        """
        return self._predicted_without(self._left_out[0])

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; as :meth:`leave_one_out`, NaN where there are none."""
        return self._predicted_without(self._left_out[1])

    def _predicted_without(self, found: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
        """Return predictions and z-scores from residuals and their variances."""
        residual, variance = found
        if self._centred.doubt is not None:  # as if this one were sound: what is doubted shall stand out
            variance = np.maximum(variance - self._centred.doubt, 1e-6)
        return self.samples.value - residual, residual / np.sqrt(variance)

    @cached_property
    def _left_out(self) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
        """Residuals and variances with trees and with blocks left out, each system solved once for both."""
        n = len(self.samples)
        one, block = ((np.full(n, np.nan), np.ones(n)) for _ in range(2))
        trees, blocks = (len(np.unique(c)) > 1 for c in (self.samples.tree, self.samples.places.block))
        with threadpool_limits(1):
            for system, own in self._systems.assign_readings() if trees or blocks else ():
                part, at = system.leave_out_terms, system.index[own]
                if trees:
                    one[0][at], one[1][at] = leave_one_out.residuals_one_out(
                        self.nodes.weight, part.alpha[:, own], part.diagonal[:, own]
                    )
                    self._leave_trees_out(system, own, *one)
                if blocks:
                    self._leave_blocks_out(system, own, *block)
        return one, block

    def _leave_trees_out(self, system: KrigingSystem, own: Ints, residual: Floats, variance: Floats) -> None:
        """Replace the residuals on trees read more than once by those with the whole tree left out."""
        tree, block = self.samples.tree[system.index], self.samples.places.block[system.index]
        part = system.leave_out_terms
        code, count = np.unique(tree[own], return_counts=True)
        for t in code[count > 1]:
            leaves = np.flatnonzero(tree == t)
            in_block = np.flatnonzero(block == block[leaves[0]])
            inside = np.searchsorted(in_block, leaves)
            inner = part.blocks[int(block[leaves[0]])][:, inside][:, :, inside]
            at = system.index[leaves]
            residual[at], variance[at] = leave_one_out.residuals_group_out(
                self.nodes.weight, part.alpha[:, leaves], inner
            )

    def _leave_blocks_out(self, system: KrigingSystem, own: Ints, residual: Floats, variance: Floats) -> None:
        """Fill in residuals and variances of a system's readings with their whole blocks left out."""
        block, part = self.samples.places.block[system.index], system.leave_out_terms
        for b in np.unique(block[own]):
            whole = np.flatnonzero(block == b)
            try:
                m, v = leave_one_out.residuals_group_out(
                    self.nodes.weight, part.alpha[:, whole], part.blocks[int(b)]
                )
            except np.linalg.LinAlgError:  # without it nothing tells the level of a visit that saw it alone
                continue
            answered = np.isin(whole, own)
            at = system.index[whole[answered]]
            residual[at], variance[at] = m[answered], v[answered]

    def _predict_part(self, places: Places, out: Floats) -> None:
        """Krige points, grouped by block, valve zone and crop."""
        drift = self.drift.standardised(places)
        order, starts = _sort_by_group(self._systems.sort_codes(places))
        pieces = []
        for a, b in zip(starts, [*starts[1:], len(order)], strict=True):
            first = order[a]
            key = self._systems.key(places.block[first : first + 1], places.xy[first])
            pieces += [(key, order[c : min(c + CELLS_PER_TASK, b)]) for c in range(a, b, CELLS_PER_TASK)]

        def work(piece: tuple[KrigingSystem, Ints]) -> None:
            system, cells = piece
            part, z = np.empty((2, len(cells))), drift[cells] if self.drift.sd else None
            predict_cells(system, places.xy[cells], z, places.take(cells[:1]), part)
            out[:, cells] = part

        for systems in self._systems.windows(key for key, _ in pieces):
            own = [(systems[key], cells) for key, cells in pieces if key in systems]
            each(work, own, jobs=self.options.jobs)

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of zone means' errors; as :meth:`Surface.zone_covariance`."""
        samples = replace(self._centred, value=self.samples.value).take(
            nearest_readings(self.samples, places)
        )
        p = self.fit.best

        def covariance(a: Places, b: Places) -> Floats:
            groups = valve_groups(a.block, a.valve), valve_groups(b.block, b.valve)
            shared = p.crop * np.equal.outer(a.crop, b.crop) + p.block * np.equal.outer(a.block, b.block)
            return np.asarray(
                shared
                + p.valve * np.equal.outer(*groups)
                + p.pattern * self.nodes.correlation(cdist(a.xy, b.xy), p.range_m)
            )

        def trend(at: Places) -> Floats:
            both = np.column_stack([np.ones(len(at)), self.drift.standardised(at)])
            return both[:, : 2 if self.drift.sd else 1]

        noise = reading_noise(samples, p)
        return universal_kriging_covariance(samples, (places, zone, count), covariance, noise, trend)

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
            "covariate_used": bool(self.drift.sd),
        }


def _sort_by_group(columns: list[Ints]) -> tuple[Ints, list[int]]:
    """Sort rows by some codes (stable): the order, and where in it each group starts."""
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        low = column.min()
        key = key * (int(column.max() - low) + 1) + (column - low)
    order = np.argsort(key, kind="stable")
    return order, np.flatnonzero(np.diff(key[order], prepend=key[order[:1]] - 1)).tolist()
