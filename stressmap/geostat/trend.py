"""Trend (drift) of the kriging model: a level per crop and a covariate, by generalised least squares.

Crops scatter about a common level with a variance that is given, not fitted, so that a crop with one reading,
or none, still has a level, and an uncertain one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.samples import Places


def count_codes(code: Ints) -> tuple[Ints, Ints]:
    """Count codes; those of a zone's cells are mostly all the same, which is found without sorting them.

    Parameters
    ----------
    code : array of int, shape (m,)
        At least one.

    Returns
    -------
    kinds, counts : array of int
        The different codes, sorted, and how often each is there.

    Examples
    --------
    >>> [part.tolist() for part in count_codes(np.array([7, 7, 3]))]
    [[3, 7], [1, 2]]
    """
    if (code == code[0]).all():
        return code[:1], np.array([len(code)])
    return np.unique(code, return_counts=True)


def code_shares(code: Ints, among: Ints) -> Floats:
    """Give the share of each wanted code among some codes.

    Parameters
    ----------
    code : array of int, shape (m,)
        Codes of places.
    among : array of int, shape (k,)
        Codes looked for, sorted.

    Returns
    -------
    array, shape (k,)

    Examples
    --------
    >>> code_shares(np.array([3, 9, 3, 4]), np.array([3, 4])).tolist()
    [0.5, 0.25]
    """
    kinds, counts = count_codes(code)
    return np.asarray((among[:, None] == kinds) @ counts / len(code))


@dataclass(frozen=True)
class Trend:
    """Estimated trend coefficients under one set of parameters.

    Parameters
    ----------
    mean : array, shape (C + 1,)
        Level of each crop, and the covariate's coefficient [bar].
    variance : array, shape (C + 1, C + 1)
        Of these [bar²].
    """

    mean: Floats
    variance: Floats


@dataclass(frozen=True)
class MeanModel:
    """Model of the mean: crops with readings, variance between crops, use of a covariate.

    Parameters
    ----------
    crop : array of int, shape (C,)
        Codes, sorted.
    variance : float
        Between crops [bar²].
    covariate : bool
        Whether one takes part.
    """

    crop: Ints
    variance: float
    covariate: bool = False

    def design_matrix(self, places: Places, drift: Floats) -> Floats:
        """Give the trend functions at some places.

        Parameters
        ----------
        places : Places
            m of them.
        drift : array, shape (m,)
            Standardised covariate.

        Returns
        -------
        array, shape (m, C + 1)
            1 for the place's crop, or for a crop without a reading the average of all; then the drift.

        Examples
        --------
        >>> none = np.zeros(2, dtype=np.int64)
        >>> places = Places(np.zeros((2, 2)), none, none, np.array([3, 9]))
        >>> MeanModel(np.array([3, 4]), 9.0).design_matrix(places, np.array([0.0, 1.5])).tolist()
        [[1.0, 0.0, 0.0], [0.5, 0.5, 1.5]]
        """
        own = (places.crop[:, None] == self.crop).astype(float)
        own[self.crops_without_readings(places)] = 1.0 / len(self.crop)
        return np.column_stack([own, drift])

    def mean_design(self, places: Places, drift: Floats) -> Floats:
        """Return the mean of :meth:`columns` over some places, shape (C + 1,)."""
        own = code_shares(places.crop, self.crop)
        return np.append(own + (1.0 - own.sum()) / len(self.crop), drift.mean())

    def crops_without_readings(self, places: Places) -> Ints:
        """Return the indices of places whose crop has no reading."""
        return np.flatnonzero(~np.isin(places.crop, self.crop))

    def unseen_crop_variance(self, places: Places) -> float:
        """Return the variance [bar²] that crops without a reading add to the mean over some places."""
        kinds, counts = count_codes(places.crop)
        share = counts[~(kinds[:, None] == self.crop).any(axis=1)] / len(places)
        return self.variance * float(np.sum(share**2) + share.sum() ** 2 / len(self.crop))

    def prior_precision(self) -> Floats:
        """Return the prior precision [1/bar²]: crops vary about a common level with a flat prior."""
        count = len(self.crop)
        total = np.zeros((count + 1, count + 1))
        if self.variance > 0:
            total[:count, :count] = (np.eye(count) - 1.0 / count) / self.variance
        total[count, count] = 0.0 if self.covariate else 1.0
        return total

    def estimate(self, parts: Iterable[tuple[Floats, Floats]]) -> Trend:
        """Estimate levels and coefficient by generalised least squares.

        Parameters
        ----------
        parts : iterable of (array, array)
            For each part of the ranch X'K⁻¹X, shape (C + 1, C + 1), and X'K⁻¹z, shape (C + 1,).

        Returns
        -------
        Trend
        """
        information, right = self.prior_precision(), np.zeros(len(self.crop) + 1)
        for squares, products in parts:
            information += squares
            right += products
        variance = np.asarray(np.linalg.inv(information))
        return Trend(np.asarray(variance @ right), variance)
