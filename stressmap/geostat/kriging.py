"""Universal kriging of points and zone means (block kriging), averaged over the covariance parameters.

With r the correlations of a place with the readings and x its design row (indicators of block and valve zone,
trend functions), mean and variance under every set of parameters are quadratic forms in (r, x). Sets with the
same range share r, so their weighted average collapses to one form per range: a map averaged over two hundred
sets costs as much as a handful.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.change_of_support import ZoneCells
from stressmap.geostat.covariance import Correlation, Parameters
from stressmap.geostat.reml import solve
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.trend import MeanModel, Trend, code_shares, count_codes
from stressmap.geostat.variance_model import CovarianceStructure, covariance_structure, valve_groups


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
    mean_model : MeanModel
        Of the trend: crop levels and drift.
    correlation : Correlation
        Of the pattern.
    """

    parameters: tuple[Parameters, ...]
    weight: Floats
    trends: tuple[Trend, ...]
    mean_model: MeanModel
    correlation: Correlation

    @property
    def ranges(self) -> Floats:
        """The distinct ranges [m], rising, shape (R,)."""
        return np.unique([p.range_m for p in self.parameters])


@dataclass(frozen=True)
class GroupIndicators:
    """Blocks and valve groups of a system's readings: the random-effect columns of the design row x."""

    block: Ints
    valve: Ints

    def design_matrix(self, places: Places) -> Floats:
        """Return 1 where a place lies in a group, shape (n, number of groups)."""
        valve = valve_groups(places.block, places.valve)
        pairs = ((places.block, self.block), (valve, self.valve))
        return np.concatenate([(a[:, None] == b[None, :]).astype(float) for a, b in pairs], axis=1)

    def mean_design(self, places: Places) -> Floats:
        """Return the share of some places that lies in each group: the mean of :meth:`design_matrix`."""
        valve = valve_groups(places.block, places.valve)
        pairs = ((places.block, self.block), (valve, self.valve))
        return np.concatenate([code_shares(code, among) for code, among in pairs])

    def variances(self, parameters: Parameters) -> Floats:
        """Return the variance of each column [bar²]."""
        return np.repeat([parameters.block, parameters.valve], (len(self.block), len(self.valve)))


@dataclass
class QuadraticForms:
    """Averaged quadratic forms of the signal's mean and second moment, in correlations r and design row x.

    Parameters
    ----------
    quadratic : array, shape (R, p, p)
        Between r and r, as a lower triangle with its off-diagonal doubled, padded to a multiple of four.
    cross : array, shape (R, n, c)
        Between r and x.
    design : array, shape (c, c)
        Between x and x.
    correlation_weight : array, shape (R, n)
        Of r in the mean.
    design_weight : array, shape (c,)
        Of x in the mean.
    pattern : array, shape (R,)
        Variance of the pattern [bar²] with each range's share of the weight.
    block, valve : float
        Average variances [bar²].
    """

    quadratic: Floats
    cross: Floats
    design: Floats
    correlation_weight: Floats
    design_weight: Floats
    pattern: Floats
    block: float = 0.0
    valve: float = 0.0

    @classmethod
    def zeros(cls, ranges: int, n: int, size: int) -> QuadraticForms:
        """Make forms of zeros for so many ranges, readings and entries of x."""
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
    """Terms of closed-form leave-one-out for each set of parameters: weights and projection.

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
    """A kriging system: readings of one search neighbourhood, solved for every set of parameters.

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
        self.groups = GroupIndicators(
            np.unique(places.block),
            np.unique(valve_groups(places.block, places.valve)),
        )
        self._trend = nodes.mean_model.design_matrix(places, drift[index])
        self._ranges = nodes.ranges
        self.leave_out_terms = self._build(covariance_structure(samples, index))

    @property
    def nbytes(self) -> int:
        """Bytes of what is held, beside the readings themselves."""
        terms = self.leave_out_terms
        arrays = [*vars(self.forms).values(), terms.alpha, terms.diagonal, *terms.blocks.values()]
        return sum(a.nbytes for a in arrays if isinstance(a, np.ndarray))

    @property
    def readings_xy(self) -> Floats:
        """Places of the readings, shape (n, 2) [m]."""
        return np.asarray(self._xy + self._origin)

    @property
    def shortest_m(self) -> float:
        """The shortest range [m]."""
        return float(self._ranges[0])

    def design_rows(self, places: Places, drift: Floats) -> Floats:
        """Return design rows x of places, shape (m, groups + crops + 1), the drift last."""
        return np.column_stack(
            [self.groups.design_matrix(places), self._nodes.mean_model.design_matrix(places, drift)]
        )

    def predict_points(self, xy: Floats, drift: Floats, kind: Places, out: Floats) -> None:
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
        x = self.design_rows(kind, np.zeros(1))[0]
        across = f.design @ x
        constant = float(x @ across) + f.block + f.valve + float(f.pattern.sum())
        constant += self._nodes.mean_model.unseen_crop_variance(kind)
        flat = np.array(
            [f.design_weight @ x, f.design_weight[-1], constant, 2 * across[-1], f.design[-1, -1]]
        )
        lines = np.zeros((len(self._ranges), 3, f.quadratic.shape[1]))
        n = len(self._xy)
        lines[:, 0, :n] = 2 * f.cross @ x
        lines[:, 1, :n] = 2 * f.cross[:, :, -1]
        lines[:, 2, :n] = f.correlation_weight
        reach = self._ranges * self._nodes.correlation.reach
        cells = xy - self._origin
        code = self._nodes.correlation.code
        krige_cells(cells, drift, self._xy, code, self._ranges, reach, f.quadratic, lines, flat, out)

    def predict_mean(self, zone: ZoneCells, drift: Floats) -> tuple[float, float]:
        """Krige the mean over some cells, whatever blocks, valve zones and crops they lie in.

        Parameters
        ----------
        zone : ZoneCells
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
        f, places = self.forms, zone.places
        x = np.concatenate(
            [self.groups.mean_design(places), self._nodes.mean_model.mean_design(places, drift)]
        )
        valve = valve_groups(places.block, places.valve)
        mean = float(f.design_weight @ x)
        total = float(x @ f.design @ x)
        total += f.block * same_code_probability(places.block) + f.valve * same_code_probability(valve)
        total += self._nodes.mean_model.unseen_crop_variance(places)
        between, within = self._mean_correlations(zone)
        for k, r in enumerate(between):
            mean += float(f.correlation_weight[k] @ r)
            total += float(r @ (f.quadratic[k, : len(r), : len(r)] @ r) + 2 * r @ (f.cross[k] @ x))
        total += float(f.pattern @ within)
        return mean, max(total - mean**2, 0.0)

    def _mean_correlations(self, zone: ZoneCells) -> tuple[Floats, Floats]:
        """Return mean correlations of cells with readings, shape (R, n), and among themselves, (R,)."""
        from stressmap.geostat.kernels import mean_correlation, mean_pair_correlation

        known = zone.correlations.get(id(self._xy))  # the change of two visits is kriged from the same places
        if known is not None:
            return known[1:]
        code, ranges = self._nodes.correlation.code, self._ranges
        between, within = np.empty((len(ranges), len(self._xy))), np.zeros(len(ranges))
        middle, share = zone.gathered(float(ranges[0]))
        reach = ranges * self._nodes.correlation.reach
        mean_correlation(middle - self._origin, share, self._xy, code, ranges, reach, between)
        mean_pair_correlation(*zone.pairs, code, ranges, within)
        zone.correlations[id(self._xy)] = self._xy, between, within
        return between, within

    def _build(self, shared: CovarianceStructure) -> LeaveOutTerms:
        """Solve for every set of parameters and sum the weighted forms."""
        nodes, n = self._nodes, len(self.index)
        columns = self.groups.design_matrix(self._samples.places)
        self.forms = f = QuadraticForms.zeros(len(self._ranges), n, columns.shape[1] + self._trend.shape[1])
        patterns = [nodes.correlation(shared.distance, float(r)) for r in self._ranges]
        alpha, diagonal = np.empty((len(nodes.weight), n)), np.empty((len(nodes.weight), n))
        codes, counts = np.unique(self._samples.places.block[self._own], return_counts=True)
        blocks = {int(b): np.empty((len(nodes.weight), k, k)) for b, k in zip(codes, counts, strict=True)}
        members = {b: np.flatnonzero((self._samples.places.block == b) & self._own) for b in blocks}
        for k, (p, w, trend) in enumerate(zip(nodes.parameters, nodes.weight, nodes.trends, strict=True)):
            r = int(np.searchsorted(self._ranges, p.range_m))
            solved = solve(shared.covariance(replace(p, crop=0.0), patterns[r]), self._trend)
            trend_weight = solved.weighed @ trend.variance
            a = solved.inverse @ (self._samples.value - self._trend @ trend.mean)
            projection = solved.inverse - trend_weight @ solved.weighed.T
            scaled = columns * self.groups.variances(p)
            x, cross, design = design_terms(a, projection, scaled, trend_weight, trend)
            f.quadratic[r, :n, :n] += w * p.pattern**2 * (np.outer(a, a) - projection)
            f.cross[r] += w * p.pattern * (np.outer(a, x) - cross)
            f.design += w * (np.outer(x, x) + design)
            f.correlation_weight[r] += w * p.pattern * a
            f.design_weight += w * x
            f.pattern[r] += w * p.pattern
            f.block, f.valve = f.block + w * p.block, f.valve + w * p.valve
            alpha[k], diagonal[k] = a, np.diag(projection)
            for b, i in members.items():
                blocks[b][k] = projection[i[:, None], i]
        size = f.quadratic.shape[1]
        f.quadratic *= np.tri(size) + np.tri(size, k=-1)
        return LeaveOutTerms(alpha, diagonal, blocks)


def design_terms(
    a: Floats, projection: Floats, scaled: Floats, trend_weight: Floats, trend: Trend
) -> tuple[Floats, Floats, Floats]:
    """Give the design row's weight in the mean, its cross terms with r, and its own quadratic form.

    Parameters
    ----------
    a : array, shape (n,)
        Projection times readings.
    projection : array, shape (n, n)
        The projection.
    scaled : array, shape (n, c)
        Covariance of the readings with each group effect [bar²].
    trend_weight : array, shape (n, p)
        Weight of the trend.
    trend : Trend
        Mean and variance of the trend.

    Returns
    -------
    tuple of array
        Shapes (c + p,), (n, c + p) and (c + p, c + p).
    """
    c = scaled.shape[1]
    x = np.concatenate([scaled.T @ a, trend.mean])
    cross = np.hstack([projection @ scaled, trend_weight])
    design = np.zeros((len(x), len(x)))
    design[:c] = -scaled.T @ cross
    design[c:, :c] = design[:c, c:].T
    design[c:, c:] = trend.variance
    return x, cross, design


def same_code_probability(code: Ints) -> float:
    """Give the probability that two cells taken at random share a code.

    Parameters
    ----------
    code : array of int, shape (m,)
        Of cells.

    Returns
    -------
    float

    Examples
    --------
    >>> same_code_probability(np.array([1, 1, 2, 2]))
    0.5
    """
    _, count = count_codes(code)
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
    >>> system.predict_points(np.array([[50.0, 0.0]]), np.zeros(1), places, out)
    >>> float(out[0, 0].round(6))
    2.0
    """
    index, drift = np.arange(len(samples)), np.zeros(len(samples))
    mean_model = MeanModel(np.unique(samples.places.crop), parameters.crop)
    shared, columns = covariance_structure(samples, index), mean_model.design_matrix(samples.places, drift)
    pattern = correlation(shared.distance, parameters.range_m)
    solved = solve(shared.covariance(replace(parameters, crop=0.0), pattern), columns)
    trend = mean_model.estimate([(solved.information, solved.weighed.T @ samples.value)])
    return KrigingSystem(
        samples, index, drift, ParameterNodes((parameters,), np.ones(1), (trend,), mean_model, correlation)
    )
