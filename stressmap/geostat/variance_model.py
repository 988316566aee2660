"""Variance model of the readings: free variance components, their priors, the covariance matrix they give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist
from scipy.special import ndtr, ndtri

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.covariance import MATERN32, Correlation, Parameters
from stressmap.geostat.options import Priors
from stressmap.geostat.samples import Samples

LEAST_ERROR_BAR = 0.05
"""No chamber is read closer than this [bar]; common practice, no source."""
VARIANCES = ("block", "valve", "pattern", "tree", "error")
HALF_NORMAL = frozenset({"block", "valve", "pattern"})
"""Variances that may well be none: the prior of their standard deviations is half-normal."""
RANGE = "range"
"""What the range is called among the parameters, of which it is the last."""


@dataclass(frozen=True)
class VarianceModel:
    """Free variance components and the prior density of a set of parameters.

    A set is a vector of logarithms: the standard deviations of the free variances in the order of
    :data:`VARIANCES`, then the range.

    Parameters
    ----------
    free : tuple of str
        Names of the free variances.
    priors : Priors
        Prior distributions.
    error_bar : float
        Standard deviation of one reading [bar] where it is not free; 0 when it is one with the tree's.
    correlation : Correlation
        Of the pattern.
    """

    free: tuple[str, ...]
    priors: Priors
    error_bar: float
    correlation: Correlation = MATERN32

    def parameters(self, u: Floats) -> Parameters:
        """Turn a vector of logarithms, shape (k,), into a set of parameters."""
        variance = dict.fromkeys(VARIANCES, 0.0) | {"error": self.error_bar**2}
        variance |= {name: float(np.exp(2 * x)) for name, x in zip(self.free, u, strict=False)}
        return Parameters(**variance, range_m=float(np.exp(u[-1])), crop=self.priors.crop_bar**2)

    def prior_centre(self) -> Floats:
        """Return the prior scale of every free parameter as a vector of logarithms, shape (k,)."""
        return np.array([np.log(self._prior_scale(name)) for name in (*self.free, RANGE)])

    def prior_spread(self) -> Floats:
        """Return the spread of every free parameter's logarithm, shape (k,); 0 for a half-normal prior."""
        return np.array([self._prior_spread(name) for name in (*self.free, RANGE)])

    def log_prior(self, u: Floats) -> tuple[float, Floats, Floats]:
        """Give the log prior density of a vector, up to a constant, with derivatives.

        Parameters
        ----------
        u : array, shape (k,)
            Logarithms.

        Returns
        -------
        value : float
            Logarithm of the density.
        gradient : array, shape (k,)
            First derivatives.
        curvature : array, shape (k,)
            Its negative second derivatives.
        """
        value, gradient, curvature = np.empty(len(u)), np.empty(len(u)), np.empty(len(u))
        for i, (x, centre, s) in enumerate(zip(u, self.prior_centre(), self.prior_spread(), strict=True)):
            if s:
                value[i], gradient[i], curvature[i] = (
                    -0.5 * ((x - centre) / s) ** 2,
                    (centre - x) / s**2,
                    s**-2,
                )
            else:
                ratio = np.exp(2 * (x - centre))
                value[i], gradient[i], curvature[i] = x - 0.5 * ratio, 1 - ratio, 2 * ratio
        return float(value.sum()), gradient, curvature

    def prior_quantiles(self, z: Floats) -> Floats:
        """Map standard normal scores, shape (m, k), to vectors with the prior distribution."""
        spread = self.prior_spread()
        half_normal = np.log(ndtri(0.5 + 0.5 * np.clip(ndtr(z), 1e-6, 1 - 1e-6)))
        return np.asarray(self.prior_centre() + np.where(spread == 0.0, half_normal, spread * z))

    def _prior_spread(self, name: str) -> float:
        if name == RANGE:
            return self.priors.range_spread
        return 0.0 if name in HALF_NORMAL else self.priors.noise_spread

    def _prior_scale(self, name: str) -> float:
        if name == RANGE:
            return self.priors.range_m
        if name == "tree" and self.error_bar == 0.0 and "error" not in self.free:
            return self.priors.noise_bar
        return float(getattr(self.priors, f"{name}_bar"))


@dataclass(frozen=True)
class CovarianceStructure:
    """Indicator matrices and distances from which the covariance of some readings is built.

    Parameters
    ----------
    same : dict of array, shape (n, n)
        1 where two readings share the block, valve, tree, error (the leaf), or crop.
    distance : array, shape (n, n)
        [m].
    """

    same: dict[str, Floats]
    distance: Floats
    doubt: Floats | None = None

    def pattern(self, model: VarianceModel, range_m: float) -> Floats:
        """Return the pattern's correlation, shape (n, n)."""
        return model.correlation(self.distance, range_m)

    def covariance(self, parameters: Parameters, pattern: Floats) -> Floats:
        """Return the covariance of the readings [bar²], shape (n, n)."""
        total = parameters.pattern * pattern
        for name, same in self.same.items():
            if variance := float(getattr(parameters, name)):
                total += variance * same
        if self.doubt is not None:
            total[np.diag_indices(len(total))] += self.doubt
        return np.asarray(total)


def choose_model(samples: Samples, priors: Priors, error_bar: float | None) -> VarianceModel:
    """Choose which variance components these readings can identify.

    Without a valve on the ranch there is no valve term. Tree and error variance can be separated only
    where a tree was measured more than once, or the reading error is known; else they are one component.

    Parameters
    ----------
    samples : Samples
        Readings.
    priors : Priors
        Prior distributions.
    error_bar : float or None
        Known standard deviation of one reading [bar].

    Returns
    -------
    VarianceModel
    """
    tree = samples.tree[samples.tree >= 0]
    repeated = len(np.unique(tree)) < len(tree)
    free = ["block", "valve", "pattern", "tree"]
    if not np.any(samples.places.valve >= 0):
        free.remove("valve")
    if error_bar is not None:
        return VarianceModel(tuple(free), priors, max(error_bar, LEAST_ERROR_BAR))
    if repeated:
        free.append("error")
    return VarianceModel(tuple(free), priors, 0.0)


def valve_groups(block: Ints, valve: Ints) -> Ints:
    """Give every place a valve group: its valve, or, without one, the part of its block that has none.

    Trees that no valve on file waters still share their water; they are taken as one group per block.

    Parameters
    ----------
    block, valve : array of int, shape (n,)
        Codes, valve -1 for none.

    Returns
    -------
    array of int, shape (n,)

    Examples
    --------
    >>> valve_groups(np.array([0, 0, 1]), np.array([4, -1, -1])).tolist()
    [4, -2, -3]
    """
    return np.where(valve >= 0, valve, -2 - block)


def tree_groups(tree: Ints) -> Ints:
    """Give every reading a tree of its own where its tree is not known.

    Parameters
    ----------
    tree : array of int, shape (n,)
        Codes, -1 for none.

    Returns
    -------
    array of int, shape (n,)

    Examples
    --------
    >>> tree_groups(np.array([4, 4, -1, -1])).tolist()
    [4, 4, -3, -4]
    """
    return np.where(tree >= 0, tree, -1 - np.arange(len(tree)))


def covariance_structure(samples: Samples, index: Ints) -> CovarianceStructure:
    """Build the covariance structure of some of the readings.

    Parameters
    ----------
    samples : Samples
        Readings.
    index : array of int
        Which of them, n.

    Returns
    -------
    CovarianceStructure
    """
    places = samples.places.take(index)
    tree = tree_groups(samples.tree)[index]
    codes: dict[str, Ints] = {
        "block": places.block,
        "valve": valve_groups(places.block, places.valve),
        "tree": tree,
        "error": np.arange(len(index)),
        "crop": places.crop,
    }
    same = {name: (code[:, None] == code[None, :]).astype(float) for name, code in codes.items()}
    doubt = None if samples.doubt is None else samples.doubt[index]
    return CovarianceStructure(same, cdist(places.xy, places.xy), doubt)


def reading_noise(samples: Samples, parameters: Parameters) -> Floats:
    """Give the covariance of what readings do not share with their place: tree, error and doubt.

    Parameters
    ----------
    samples : Samples
        n readings.
    parameters : Parameters
        Variances.

    Returns
    -------
    array, shape (n, n)
        [bar²].
    """
    tree = tree_groups(samples.tree)
    noise = parameters.tree * np.equal.outer(tree, tree) + parameters.error * np.eye(len(samples))
    if samples.doubt is not None:
        noise[np.diag_indices(len(noise))] += samples.doubt
    return np.asarray(noise)
