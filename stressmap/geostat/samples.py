"""Arrays that mapping methods take and return: places, samples (readings at places), estimates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from stressmap.core.arrays import Floats, Ints


@dataclass(frozen=True)
class Places:
    """Locations with their block, valve zone, crop and covariate.

    Parameters
    ----------
    xy : array of float, shape (n, 2)
        Easting and northing [m].
    block : array of int, shape (n,)
        Block code, 0 and up.
    valve : array of int, shape (n,)
        Valve-zone code, -1 where no valve waters the place.
    crop : array of int, shape (n,)
        Crop code; readings of different crops have different means.
    covariate : array of float, shape (n,), optional
        Value of a covariate raster (soil, canopy), in any unit, NaN where it has none; None without a
        covariate.
    """

    xy: Floats
    block: Ints
    valve: Ints
    crop: Ints
    covariate: Floats | None = None

    def __len__(self) -> int:
        """Return n."""
        return len(self.xy)

    def take(self, index: Any) -> Places:
        """Return some of the places.

        Parameters
        ----------
        index : slice or array of int or bool
            Which.

        Returns
        -------
        Places
        """
        covariate = None if self.covariate is None else self.covariate[index]
        return Places(self.xy[index], self.block[index], self.valve[index], self.crop[index], covariate)

    def followed_by(self, more: Places) -> Places:
        """Put other places behind these.

        Parameters
        ----------
        more : Places
            With a covariate if these have one.

        Returns
        -------
        Places
        """
        both = {
            name: np.concatenate([getattr(self, name), getattr(more, name)])
            for name, value in vars(self).items()
            if value is not None
        }
        return Places(**both)


@dataclass(frozen=True)
class Samples:
    """Readings that may be used.

    Parameters
    ----------
    places : Places
        Where, n of them.
    value : array of float, shape (n,)
        The mapped figure [bar]; finite.
    tree : array of int, shape (n,)
        Tree code; readings with the same code are leaves of one tree.
    doubt : array of float, shape (n,), optional
        Variance of each reading's error beyond that of all readings [bar²]; None for none.
    """

    places: Places
    value: Floats
    tree: Ints
    doubt: Floats | None = None

    def __len__(self) -> int:
        """Return n."""
        return len(self.value)

    def take(self, index: Any) -> Samples:
        """Return some of the readings.

        Parameters
        ----------
        index : slice or array of int or bool
            Which.

        Returns
        -------
        Samples
        """
        doubt = None if self.doubt is None else self.doubt[index]
        return Samples(self.places.take(index), self.value[index], self.tree[index], doubt)


@dataclass(frozen=True)
class Estimate:
    """Mean and variance of the signal (reading error left out).

    Parameters
    ----------
    mean : array of float, shape (m,)
        [bar].
    variance : array of float, shape (m,)
        [bar²]; never negative.
    """

    mean: Floats
    variance: Floats
