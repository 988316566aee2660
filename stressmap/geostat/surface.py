"""What every method of this room takes and gives, so that the rooms above need not know which one ran."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from stressmap.geostat.zone_covariance import Joint

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Places:
    """Where something is, and in what.

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
        What an extra raster says there (soil, canopy), in any unit, NaN where it says nothing; None without
        one.
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
    """

    places: Places
    value: Floats
    tree: Ints

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
        return Samples(self.places.take(index), self.value[index], self.tree[index])


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


class Surface(Protocol):
    """A fitted method: ask it for points, for zone means, and how well it does on its own readings.

    Attributes
    ----------
    method : str
        What really ran: ``"structured"``, ``"ordinary"``, ``"block average"`` or ``"ranch average"``.
    notes : tuple of str
        Plain sentences about what the user must know (a fallback and its reason, a fit that hit a bound).
    """

    @property
    def method(self) -> str:
        """What really ran."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user must know."""

    def at(self, places: Places) -> Estimate:
        """Estimate the signal at points, chunk by chunk.

        Parameters
        ----------
        places : Places
            m of them; memory stays bounded whatever m is.

        Returns
        -------
        Estimate
            Of m.
        """

    def zone_means(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones made of cells, with change of support.

        Parameters
        ----------
        places : Places
            Cell centres, m of them.
        zone : array of int, shape (m,)
            Zone of each cell, -1 for none.
        count : int
            Number of zones; a zone without a cell gets NaN.

        Returns
        -------
        Estimate
            Of ``count``.
        """

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the readings of other trees.

        Returns
        -------
        predicted : array of float, shape (n,)
            [bar]; NaN where there is no other.
        z_score : array of float, shape (n,)
            (reading - predicted) / its standard error, the reading's own error included.
        """

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; shapes and units as :meth:`leave_one_out`."""

    def joint(self, places: Places, zone: Ints, count: int) -> Joint:
        """Tell how the errors of zone means hang together, under the best-fitting parameters.

        Parameters
        ----------
        places : Places
            Cells, m of them.
        zone : array of int, shape (m,)
            Zone of each cell, -1 for none; every zone has a cell.
        count : int
            Number of zones, a few dozen.

        Returns
        -------
        Joint
            Of ``count`` zones.
        """

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
