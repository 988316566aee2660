"""Interface that every fitted mapping method implements: prediction, cross-validation, error covariance."""

from __future__ import annotations

from typing import Any, Protocol

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Note
from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.zone_covariance import ZoneCovariance


class ZonePredictor(Protocol):
    """What predicts zone means, if nothing else."""

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones made of cells; as :meth:`Surface.predict_zones`."""


class Surface(Protocol):
    """A fitted method: predicts points and zone means, and cross-validates on its own readings.

    Attributes
    ----------
    method : str
        The one used: ``"structured"``, ``"ordinary"``, ``"block average"`` or ``"ranch average"``.
    notes : tuple of Note
        What the user must know (a fallback and its reason, a fit that hit a bound).
    """

    @property
    def method(self) -> str:
        """The method that was used."""

    @property
    def notes(self) -> tuple[Note, ...]:
        """What the user must know."""

    def predict(self, places: Places) -> Estimate:
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

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
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

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of the prediction errors of zone means, at the best-fitting parameters.

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
        ZoneCovariance
            Of ``count`` zones.
        """

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
