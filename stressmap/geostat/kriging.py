"""Kriging of points and of means over zones, for one set of parameters or averaged over many, in one pass.

With m the correlations of a place with the readings and h what else is known of it (its block, valve zone,
crop, the trend), mean and variance under every set of parameters are quadratic forms in (m, h). Sets with the
same range share m, so their weighted average collapses to one form per range: a map averaged over two hundred
sets costs as much as a handful.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.change_of_support import thin
from stressmap.geostat.covariance import Correlation, Parameters
from stressmap.geostat.reml import solve
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.trend import Levels, Trend, counted, share_of
from stressmap.geostat.variance_model import SharedStructure, shared_structure, valve_groups


@dataclass(frozen=True)
class ParameterNodes:
    """Weighted sets of parameters with their trends.

    Parameters
    ----------
    parameters : tuple of Parameters
        K of them.
    weight : array, shape (K,)
        Sum one.
    trends : tuple of Trend
        One each.
    levels : Levels
        What the trends are about.
    correlation : Correlation
        Of the pattern.
    """

    parameters: tuple[Parameters, ...]
    weight: Floats
    trends: tuple[Trend, ...]
    levels: Levels
    correlation: Correlation

    @property
    def ranges(self) -> Floats:
        """The distinct ranges [m], rising, shape (R,)."""
        return np.unique([p.range_m for p in self.parameters])


@dataclass(frozen=True)
class GroupIndicators:
    """Blocks and valve groups that the readings of a system lie in: h before the trend."""

    block: Ints
    valve: Ints

    def columns(self, places: Places) -> Floats:
        """Return 1 where a place lies in a kind, shape (n, number of kinds)."""
        valve = valve_groups(places.block, places.valve)
        pairs = ((places.block, self.block), (valve, self.valve))
        return np.concatenate([(a[:, None] == b[None, :]).astype(float) for a, b in pairs], axis=1)

    def shares(self, places: Places) -> Floats:
        """Return which share of some places lies in each kind: the mean of :meth:`columns`."""
        valve = valve_groups(places.block, places.valve)
        pairs = ((places.block, self.block), (valve, self.valve))
        return np.concatenate([share_of(code, among) for code, among in pairs])

    def scale(self, parameters: Parameters) -> Floats:
        """Return the variance of each column [bar²]."""
        return np.repeat([parameters.block, parameters.valve], (len(self.block), len(self.valve)))


@dataclass
class QuadraticForms:
    """The averaged quadratic forms: the signal's mean, and what readings add to its second moment.

    Parameters
    ----------
    lower : array, shape (R, p, p)
        Between m and m, as a lower triangle with its off-diagonal doubled, padded to a multiple of four.
    cross : array, shape (R, n, c)
        Between m and h.
    known : array, shape (c, c)
        Between h and h.
    weight : array, shape (R, n)
        Of m in the mean.
    flat : array, shape (c,)
        Of h in the mean.
    pattern : array, shape (R,)
        Variance of the pattern [bar²] with each range's share of the weight.
    block, valve : float
        Average variances [bar²].
    """

    lower: Floats
    cross: Floats
    known: Floats
    weight: Floats
    flat: Floats
    pattern: Floats
    block: float = 0.0
    valve: float = 0.0

    @classmethod
    def empty(cls, ranges: int, n: int, size: int) -> QuadraticForms:
        """Make forms of zeros for so many ranges, readings and entries of h."""
        padded = -(-n // 4) * 4
        return cls(
            np.zeros((ranges, padded, padded)),
            np.zeros((ranges, n, size)),
            np.zeros((size, size)),
            np.zeros((ranges, n)),
            np.zeros(size),
            np.zeros(ranges),
        )


@dataclass(frozen=True)
class LeaveOutTerms:
    """What each set of parameters says of the readings of a system: weights and projection.

    Parameters
    ----------
    alpha : array, shape (K, n)
        Projection times readings [1/bar].
    diagonal : array, shape (K, n)
        Of the projection [1/bar²].
    blocks : dict of int to array, shape (K, k, k)
        The projection between the readings of each block.
    """

    alpha: Floats
    diagonal: Floats
    blocks: dict[int, Floats]


class KrigingSystem:
    """Some readings, solved for every set of parameters, ready to krige places around them.

    Parameters
    ----------
    samples : Samples
        Readings of the ranch, about 0 on the whole.
    index : array of int
        Those of this system, n.
    drift : array, shape (n of the ranch,)
        Standardised covariate at the readings.
    nodes : ParameterNodes
        Sets of parameters.
    blocks : array of int, optional
        Blocks whose readings will be left out together; default all.
    """

    def __init__(
        self,
        samples: Samples,
        index: Ints,
        drift: Floats,
        nodes: ParameterNodes,
        *,
        blocks: Ints | None = None,
    ) -> None:
        self.index = index
        self._nodes = nodes
        self._samples = samples.take(index)
        places = self._samples.places
        self._own = np.isin(places.block, places.block if blocks is None else blocks)
        self._origin = places.xy.mean(axis=0)
        self._xy = np.ascontiguousarray(places.xy - self._origin)
        self.kinds = GroupIndicators(
            np.unique(places.block),
            np.unique(valve_groups(places.block, places.valve)),
        )
        self._trend = nodes.levels.columns(places, drift[index])
        self._ranges = nodes.ranges
        self.left_out = self._build(shared_structure(samples, index))

    def known(self, places: Places, drift: Floats) -> Floats:
        """Return h of places, shape (m, kinds + crops + 1), the drift last."""
        return np.column_stack([self.kinds.columns(places), self._nodes.levels.columns(places, drift)])

    def points(self, xy: Floats, drift: Floats, kind: Places, out: Floats) -> None:
        """Krige points that lie in one block, valve zone and crop.

        Parameters
        ----------
        xy : array, shape (m, 2)
            [m].
        drift : array, shape (m,)
            Standardised covariate.
        kind : Places
            Any one of them.
        out : array, shape (2, m)
            Mean [bar] and variance [bar²], written.
        """
        from stressmap.geostat.kernels import krige_cells

        f, kind = self.forms, kind.take(slice(0, 1))
        h = self.known(kind, np.zeros(1))[0]
        across = f.known @ h
        constant = float(h @ across) + f.block + f.valve + float(f.pattern.sum())
        constant += self._nodes.levels.doubt(kind)
        flat = np.array([f.flat @ h, f.flat[-1], constant, 2 * across[-1], f.known[-1, -1]])
        lines = np.zeros((len(self._ranges), 3, f.lower.shape[1]))
        n = len(self._xy)
        lines[:, 0, :n] = 2 * f.cross @ h
        lines[:, 1, :n] = 2 * f.cross[:, :, -1]
        lines[:, 2, :n] = f.weight
        reach = self._ranges * self._nodes.correlation.reach
        cells = xy - self._origin
        code = self._nodes.correlation.code
        krige_cells(cells, drift, self._xy, code, self._ranges, reach, f.lower, lines, flat, out)

    def mean_of(self, places: Places, drift: Floats) -> tuple[float, float]:
        """Krige the mean over some cells, whatever blocks, valve zones and crops they lie in.

        Parameters
        ----------
        places : Places
            Cells, m of them.
        drift : array, shape (m,)
            Standardised covariate.

        Returns
        -------
        mean : float
            [bar].
        variance : float
            Of the mean, change of support included [bar²].
        """
        f = self.forms
        h = np.concatenate([self.kinds.shares(places), self._nodes.levels.shares(places, drift)])
        cells = np.ascontiguousarray(places.xy - self._origin)
        valve = valve_groups(places.block, places.valve)
        mean = float(f.flat @ h)
        total = float(h @ f.known @ h)
        total += f.block * _shared(places.block) + f.valve * _shared(valve)
        total += self._nodes.levels.doubt(places)
        between, within = self._correlations(cells)
        for r, m in enumerate(between):
            mean += float(f.weight[r] @ m)
            total += float(m @ (f.lower[r, : len(m), : len(m)] @ m) + 2 * m @ (f.cross[r] @ h))
        total += float(f.pattern @ within)
        return mean, max(total - mean**2, 0.0)

    def _correlations(self, cells: Floats) -> tuple[Floats, Floats]:
        """Return mean correlations of cells with readings, shape (R, n), and among themselves, (R,)."""
        from stressmap.geostat.kernels import mean_correlation, mean_pair_correlation
        from stressmap.geostat.pair_distances import lattice_step, pair_distances

        code, ranges = self._nodes.correlation.code, self._ranges
        between, within = np.empty((len(ranges), len(self._xy))), np.empty(len(ranges))
        mean_correlation(cells, self._xy, code, ranges, ranges * self._nodes.correlation.reach, between)
        few = np.ascontiguousarray(cells[thin(cells)])
        pairs = pair_distances(few, lattice_step(cells))
        mean_pair_correlation(*pairs, len(few), code, ranges, within)
        return between, within

    def _build(self, shared: SharedStructure) -> LeaveOutTerms:
        """Solve for every set of parameters and add up the forms."""
        nodes, n = self._nodes, len(self.index)
        columns = self.kinds.columns(self._samples.places)
        self.forms = f = QuadraticForms.empty(len(self._ranges), n, columns.shape[1] + self._trend.shape[1])
        patterns = [nodes.correlation(shared.distance, float(r)) for r in self._ranges]
        alpha, diagonal = np.empty((len(nodes.weight), n)), np.empty((len(nodes.weight), n))
        codes, counts = np.unique(self._samples.places.block[self._own], return_counts=True)
        blocks = {int(b): np.empty((len(nodes.weight), k, k)) for b, k in zip(codes, counts, strict=True)}
        members = {b: np.flatnonzero((self._samples.places.block == b) & self._own) for b in blocks}
        for k, (p, w, trend) in enumerate(zip(nodes.parameters, nodes.weight, nodes.trends, strict=True)):
            r = int(np.searchsorted(self._ranges, p.range_m))
            solved = solve(shared.covariance(replace(p, crop=0.0), patterns[r]), self._trend)
            pull = solved.weighed @ trend.variance
            a = solved.inverse @ (self._samples.value - self._trend @ trend.mean)
            projected = solved.inverse - pull @ solved.weighed.T
            scaled = columns * self.kinds.scale(p)
            h, moved, inner = _known_forms(a, projected, scaled, pull, trend)
            f.lower[r, :n, :n] += w * p.pattern**2 * (np.outer(a, a) - projected)
            f.cross[r] += w * p.pattern * (np.outer(a, h) - moved)
            f.known += w * (np.outer(h, h) + inner)
            f.weight[r] += w * p.pattern * a
            f.flat += w * h
            f.pattern[r] += w * p.pattern
            f.block, f.valve = f.block + w * p.block, f.valve + w * p.valve
            alpha[k], diagonal[k] = a, np.diag(projected)
            for b, i in members.items():
                blocks[b][k] = projected[i[:, None], i]
        size = f.lower.shape[1]
        f.lower *= np.tri(size) + np.tri(size, k=-1)
        return LeaveOutTerms(alpha, diagonal, blocks)


def _known_forms(
    a: Floats, projected: Floats, scaled: Floats, pull: Floats, trend: Trend
) -> tuple[Floats, Floats, Floats]:
    """Return what h contributes to the mean, and to the variance together with m and with itself.

    Parameters
    ----------
    a : array, shape (n,)
        Projection times readings.
    projected : array, shape (n, n)
        The projection.
    scaled : array, shape (n, c)
        Covariance of the readings with each kind [bar²].
    pull : array, shape (n, p)
        Weight of the trend.
    trend : Trend
        Mean and variance of the trend.
    """
    c = scaled.shape[1]
    h = np.concatenate([scaled.T @ a, trend.mean])
    moved = np.hstack([projected @ scaled, pull])
    inner = np.zeros((len(h), len(h)))
    inner[:c] = -scaled.T @ moved
    inner[c:, :c] = inner[:c, c:].T
    inner[c:, c:] = trend.variance
    return h, moved, inner


def _shared(code: Ints) -> float:
    """Return the chance that two cells taken at random share a code."""
    _, count = counted(code)
    return float(np.sum((count / len(code)) ** 2))


def krige_with_known_parameters(
    samples: Samples, parameters: Parameters, correlation: Correlation
) -> KrigingSystem:
    """Krige from readings whose parameters are known, with an estimated mean: ordinary kriging.

    Parameters
    ----------
    samples : Samples
        Readings.
    parameters : Parameters
        Variances [bar²] and range [m].
    correlation : Correlation
        Of the pattern.

    Returns
    -------
    KrigingSystem

    Raises
    ------
    LinAlgError
        If the covariance of the readings is singular.

    Examples
    --------
    >>> none = np.zeros(2, dtype=np.int64)
    >>> places = Places(np.array([[0.0, 0.0], [100.0, 0.0]]), none, none, none)
    >>> from stressmap.geostat.covariance import SPHERICAL
    >>> known = Parameters(0.0, 0.0, 1.0, 0.0, 0.0, 80.0)
    >>> system = krige_with_known_parameters(Samples(places, np.array([1.0, 3.0]), none), known, SPHERICAL)
    >>> out = np.empty((2, 1))
    >>> system.points(np.array([[50.0, 0.0]]), np.zeros(1), places, out)
    >>> float(out[0, 0].round(6))
    2.0
    """
    index, drift = np.arange(len(samples)), np.zeros(len(samples))
    levels = Levels(np.unique(samples.places.crop), parameters.crop)
    shared, columns = shared_structure(samples, index), levels.columns(samples.places, drift)
    pattern = correlation(shared.distance, parameters.range_m)
    solved = solve(shared.covariance(replace(parameters, crop=0.0), pattern), columns)
    trend = levels.estimate([(solved.information, solved.weighed.T @ samples.value)])
    return KrigingSystem(
        samples, index, drift, ParameterNodes((parameters,), np.ones(1), (trend,), levels, correlation)
    )
