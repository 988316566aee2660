"""Ordinary kriging (PyKrige) of residuals from the crops' means, with an automatic spherical variogram.

Uses neither blocks nor valve zones. PyKrige is called in chunks, because it holds readings x points several
times over; the nugget, which its variances keep even when it filters the mean, is subtracted to give those of
the signal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import LinAlgError, cho_factor, cho_solve
from scipy.spatial.distance import cdist, pdist
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Note
from stressmap.core.parallel import each
from stressmap.geostat.change_of_support import cells_by_zone, discretise
from stressmap.geostat.samples import Estimate, Places, Samples
from stressmap.geostat.zone_covariance import (
    ZoneCovariance,
    constant_trend,
    nearest_readings,
    universal_kriging_covariance,
)

MODEL = "spherical"
CHUNK_NUMBERS = 1_000_000
"""Readings x points in one call of PyKrige, which makes about five arrays of that many numbers."""
MOST_MAPPED = 3_000
"""Readings that a map may be kriged from: PyKrige holds six arrays of readings x readings in each thread."""
LEAST_NUGGET_SHARE = 1e-3
"""Of the variance of the readings: keeps two readings at one place from making the system singular."""
UNKNOWN_CROP_BAR2 = 9.0
"""Variance between crops [bar²] for a crop without a reading; common practice, no source."""


@dataclass(frozen=True)
class Variogram:
    """Spherical variogram.

    Parameters
    ----------
    sill : float
        Partial sill [bar²].
    range_m : float
        Distance at which the sill is reached [m].
    nugget : float
        Nugget variance [bar²], taken as error.
    """

    sill: float
    range_m: float
    nugget: float

    def covariance(self, distance: Floats) -> Floats:
        """Return the covariance of the signal [bar²] at a distance [m].

        Parameters
        ----------
        distance : array of float
            [m].

        Returns
        -------
        array of float

        Examples
        --------
        >>> Variogram(2.0, 100.0, 0.5).covariance(np.array([0.0, 100.0, 150.0])).tolist()
        [2.0, 0.0, 0.0]
        """
        u = np.minimum(distance / self.range_m, 1.0)
        return np.asarray(self.sill * (1.0 - 1.5 * u + 0.5 * u**3))


class OrdinarySurface:
    """Ordinary kriging fitted to readings.

    Parameters
    ----------
    samples : Samples
        At least three, not all equal and not all at one place.
    variogram : Variogram, optional
        Default: PyKrige's automatic one.
    jobs : int
        Threads; the result does not depend on it.

    Raises
    ------
    ValueError
        If PyKrige can make no variogram of the readings.

    Notes
    -----
    Pickles as readings and variogram; the kriging system is solved again after loading.
    """

    method = "ordinary"

    def __init__(self, samples: Samples, variogram: Variogram | None = None, *, jobs: int = 1) -> None:
        self.samples, self.jobs = samples, jobs
        self.notes: tuple[Note, ...] = ()
        self._centre()
        first = samples.value - (self._trend / self._trend.sum(axis=0)) @ (self._trend.T @ samples.value)
        self.variogram = variogram or automatic_variogram(self._xy, first)
        with threadpool_limits(1):
            self._solve()

    def __getstate__(self) -> dict[str, Any]:
        """Return what is pickled: readings and variogram."""
        return {name: getattr(self, name) for name in ("samples", "jobs", "notes", "variogram")}

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Take what was pickled and solve the kriging system again."""
        vars(self).update(state)
        self._centre()
        with threadpool_limits(1):
            self._solve()

    def predict(self, places: Places) -> Estimate:
        """Estimate the signal at points; as :meth:`Surface.predict`."""
        mean, variance = np.empty(len(places)), np.empty(len(places))
        offset, extra = self._crop_offsets(places.crop)
        chunk = max(len(self.samples), CHUNK_NUMBERS // len(self.samples))

        def fill(start: int) -> None:
            part = slice(start, start + chunk)
            x, y = (places.xy[part] - self._origin).T
            m, v = self._pykrige.execute("points", x, y, backend="vectorized")
            mean[part] = np.asarray(m) + offset[part]
            variance[part] = np.asarray(v) - self.variogram.nugget + extra[part]

        each(fill, range(0, len(places), chunk), jobs=self.jobs)
        return Estimate(mean, np.maximum(variance, 0.0))

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones made of cells; as :meth:`Surface.predict_zones`.

        The kriging system is solved for the mean covariance between a zone's cells and the readings; the
        covariance within the zone is that between its cells (or its discretisation points).
        """
        mean, variance = np.full(count, np.nan), np.full(count, np.nan)
        offset, extra = self._crop_offsets(places.crop)
        for code, cells in cells_by_zone(zone, count):
            xy = places.xy[cells] - self._origin
            right = self._mean_covariance(xy)
            mean[code] = right @ self._alpha + self._level + offset[cells].mean()
            points = xy[discretise(xy)]
            pairs = self.variogram.covariance(pdist(points)).sum() * 2 + len(points) * self.variogram.sill
            known = right @ self._inverse @ right
            weight_left = 1.0 - right @ self._inverse.sum(axis=1)
            variance[code] = pairs / len(points) ** 2 - known + weight_left**2 * self._level_variance
            variance[code] += extra[cells].mean()
        return Estimate(mean, np.maximum(variance, 0.0))

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the others; as :meth:`Surface.leave_one_out`."""
        return self._leave_out(np.arange(len(self.samples)))

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; as :meth:`leave_one_out`."""
        return self._leave_out(self.samples.places.block)

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of zone means' errors; as :meth:`Surface.zone_covariance`."""
        near = nearest_readings(self.samples, places)

        def covariance(a: Places, b: Places) -> Floats:
            return self.variogram.covariance(cdist(a.xy, b.xy))

        noise = self.variogram.nugget * np.eye(len(near))
        return universal_kriging_covariance(
            self.samples.take(near), (places, zone, count), covariance, noise, constant_trend
        )

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
        return {
            "method": self.method,
            "readings": len(self.samples),
            "variogram": MODEL,
            "partial_sill_bar2": round(self.variogram.sill, 6),
            "range_m": round(self.variogram.range_m, 3),
            "nugget_bar2": round(self.variogram.nugget, 6),
        }

    def _centre(self) -> None:
        """Lay out coordinates about the middle of the readings, and the crops' indicator columns."""
        places = self.samples.places
        self._origin = places.xy.mean(axis=0)
        self._xy = places.xy - self._origin
        self._crops, crop = np.unique(places.crop, return_inverse=True)
        self._trend = np.eye(len(self._crops))[crop]

    def _solve(self) -> None:
        """Solve the system once: crop means by generalised least squares, weights, and PyKrige's kriger."""
        n, v = len(self.samples), self.variogram
        # one array of readings x readings stays, two more are made; the transpose of a symmetric matrix is
        # itself in the order LAPACK works in, so that it can be factorised where it is
        covariance = cdist(self._xy, self._xy)
        for row in covariance:
            row[:] = v.covariance(row)
        covariance[np.diag_indices(n)] += v.nugget
        factor = cho_factor(covariance.T, lower=True, overwrite_a=True)
        self._inverse = cho_solve(factor, np.eye(n, order="F"), overwrite_b=True)
        del covariance, factor
        weighed = self._inverse @ self._trend
        crop_variance = np.linalg.inv(self._trend.T @ weighed)
        means = crop_variance @ (weighed.T @ self.samples.value)
        residual = self.samples.value - self._trend @ means
        self._level_variance = float(1.0 / self._inverse.sum())
        self._alpha = self._inverse @ residual
        self._trend_weight, self._weighed = weighed @ crop_variance, weighed
        # with one crop its mean is PyKrige's own; with several, the variance beyond that of one common mean
        extra = np.maximum(np.diag(crop_variance) - self._level_variance, 0.0)
        self._level = float(means.mean())
        self._offset = dict(
            zip(self._crops.tolist(), zip(means - self._level, extra, strict=True), strict=True)
        )
        self._pykrige = _pykrige(self._xy, residual + self._level, v)

    def _crop_offsets(self, crop: Ints) -> tuple[Floats, Floats]:
        """Return what to add for each crop to the common level [bar] and to the variance [bar²]."""
        crops, which = np.unique(crop, return_inverse=True)
        table = np.array([self._offset.get(int(c), (0.0, UNKNOWN_CROP_BAR2)) for c in crops]).reshape(-1, 2)
        return table[which, 0], table[which, 1]

    def _mean_covariance(self, xy: Floats) -> Floats:
        total = np.zeros(len(self.samples))
        chunk = max(1, CHUNK_NUMBERS // len(self.samples))
        for start in range(0, len(xy), chunk):
            total += self.variogram.covariance(cdist(xy[start : start + chunk], self._xy)).sum(axis=0)
        return total / len(xy)

    def _leave_out(self, left_out: Ints) -> tuple[Floats, Floats]:
        """Predict from the rest in closed form, one group of readings left out at a time."""
        predicted, error = np.full(len(self.samples), np.nan), np.ones(len(self.samples))
        for group in np.unique(left_out):
            out = np.flatnonzero(left_out == group)
            inner = self._inverse[np.ix_(out, out)] - self._trend_weight[out] @ self._weighed[out].T
            try:
                covariance = cho_solve(cho_factor(inner + 0.0), np.eye(len(out)))
            except LinAlgError:
                covariance = np.full((len(out), len(out)), np.inf)
            if not np.all(np.diag(covariance) < 1e6 * (self.variogram.sill + self.variogram.nugget)):
                self._leave_crop_out(out, predicted, error)
                continue
            predicted[out] = self.samples.value[out] - covariance @ self._alpha[out]
            error[out] = np.diag(covariance)
        return predicted, (self.samples.value - predicted) / np.sqrt(error)

    def _leave_crop_out(self, out: Ints, predicted: Floats, error: Floats) -> None:
        """Predict readings that were all there was of their crop: from the others' level, with wide error."""
        rest = np.setdiff1d(np.arange(len(self.samples)), out)
        if len(rest):
            predicted[out] = self.samples.value[rest].mean()
            error[out] = UNKNOWN_CROP_BAR2 + self.variogram.sill + self.variogram.nugget


def automatic_variogram(xy: Floats, value: Floats) -> Variogram:
    """Fit a spherical variogram by PyKrige, bounded so that the system can be solved.

    Parameters
    ----------
    xy : array of float, shape (n, 2)
        [m].
    value : array of float, shape (n,)
        [bar].

    Returns
    -------
    Variogram

    Raises
    ------
    ValueError
        If no variogram can be made: all at one place, or too few.
    """
    from pykrige.ok import OrdinaryKriging

    if len(value) < 3 or np.ptp(xy, axis=0).max() < 1e-3:
        msg = "no variogram can be made of fewer than three readings or of readings all at one place"
        raise ValueError(msg)
    total = float(np.var(value))
    fit = OrdinaryKriging(*xy.T, value, variogram_model=MODEL)
    sill, range_m, nugget = map(float, fit.variogram_model_parameters)
    if not np.all(np.isfinite([sill, range_m, nugget])):
        msg = "PyKrige's automatic variogram is not finite"
        raise ValueError(msg)
    least = float(pdist(xy).max()) * 1e-3
    return Variogram(max(sill, 1e-6 * total), max(range_m, least), max(nugget, LEAST_NUGGET_SHARE * total))


def _pykrige(xy: Floats, value: Floats, variogram: Variogram) -> Any:
    from pykrige.ok import OrdinaryKriging

    parameters = {"psill": variogram.sill, "range": variogram.range_m, "nugget": variogram.nugget}
    return OrdinaryKriging(
        *xy.T, value, variogram_model=MODEL, variogram_parameters=parameters, exact_values=False
    )
