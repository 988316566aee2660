"""Repeat leaves averaged by tree before a fit, for methods without a tree effect: each tree counts once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Note
from stressmap.geostat.samples import Estimate, Places, Samples
from stressmap.geostat.surface import Surface
from stressmap.geostat.variance_model import tree_groups
from stressmap.geostat.zone_covariance import ZoneCovariance


def average_by_tree(samples: Samples, fit: Callable[[Samples], Surface]) -> Surface:
    """Fit a method to the average reading of each tree.

    Parameters
    ----------
    samples : Samples
        n readings.
    fit : callable
        Fits the method to readings no two of which are of one tree.

    Returns
    -------
    Surface
        The method itself where no tree was read twice, else one that answers for all n readings.

    Examples
    --------
    >>> from stressmap.geostat.hierarchical import HierarchicalSurface, VarianceComponents
    >>> code = np.zeros(3, dtype=np.int64)
    >>> places = Places(np.zeros((3, 2)), code, code, code)
    >>> leaves = Samples(places, np.array([1.0, 3.0, 8.0]), np.array([7, 7, 9]))
    >>> components = VarianceComponents(9.0, 4.0, 2.0, 1.0)
    >>> surface = average_by_tree(leaves, lambda s: HierarchicalSurface(s, components))
    >>> float(surface.predict(places).mean[0].round(6)), surface.summary()["trees"]
    (5.0, 2)
    """
    code, first, tree = np.unique(tree_groups(samples.tree), return_index=True, return_inverse=True)
    if len(code) == len(samples):
        return fit(samples)
    mean = np.bincount(tree, weights=samples.value) / np.bincount(tree)
    trees = Samples(samples.places.take(first), mean, code)
    return TreeAverages(samples, tree.reshape(-1).astype(np.int64), mean, fit(trees))


class TreeAverages:
    """A method fitted to averages of trees.

    Parameters
    ----------
    samples : Samples
        All readings, n of them.
    tree : array of int, shape (n,)
        Position of each reading's tree among the averages.
    mean : array of float, shape (k,)
        Average reading of each tree [bar].
    surface : Surface
        Fitted to the averages.
    """

    def __init__(self, samples: Samples, tree: Ints, mean: Floats, surface: Surface) -> None:
        self._samples, self._tree, self._mean, self._surface = samples, tree, mean, surface

    @property
    def method(self) -> str:
        """The method that was used."""
        return self._surface.method

    @property
    def notes(self) -> tuple[Note, ...]:
        """What the user must know."""
        return self._surface.notes

    def predict(self, places: Places) -> Estimate:
        """Estimate the signal at points; as :meth:`Surface.predict`."""
        return self._surface.predict(places)

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones; as :meth:`Surface.predict_zones`."""
        return self._surface.predict_zones(places, zone, count)

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of zone means' errors; as :meth:`Surface.zone_covariance`."""
        return self._surface.zone_covariance(places, zone, count)

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other trees; as the interface says."""
        return self._for_readings(*self._surface.leave_one_out())

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; as :meth:`leave_one_out`."""
        return self._for_readings(*self._surface.leave_block_out())

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
        return self._surface.summary() | {"readings": len(self._samples), "trees": len(self._mean)}

    def _for_readings(self, predicted: Floats, z_score: Floats) -> tuple[Floats, Floats]:
        """Compare each reading with its tree's prediction, in standard errors of the tree."""
        miss = self._mean - predicted
        with np.errstate(divide="ignore", invalid="ignore"):
            error = np.where(z_score != 0, miss / z_score, np.inf)
        own = predicted[self._tree]
        return own, (self._samples.value - own) / error[self._tree]
