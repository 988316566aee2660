"""Choice of the mapping method: the one asked for, or hierarchical means where readings cannot be kriged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from stressmap.core.notes import Note
from stressmap.geostat.cross_validation import score
from stressmap.geostat.fit import log_ranges
from stressmap.geostat.gross_errors import FAR_Z, Doubts
from stressmap.geostat.hierarchical import HierarchicalSurface, variance_components
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.ordinary_kriging import OrdinarySurface
from stressmap.geostat.prior_scale import follow_spread
from stressmap.geostat.repeat_leaves import average_by_tree
from stressmap.geostat.samples import Samples
from stressmap.geostat.surface import Surface

LEAST_READINGS = 5
LEAST_SPREAD_BAR = 1e-6
LEAST_GAIN = 0.02
"""Share by which a covariate must lower the error of left-out readings to take part."""


def fit_surface(
    samples: Samples,
    *,
    method: str,
    options: SurfaceOptions | None = None,
    doubts: Doubts | None = None,
    step: Callable[[], None] = lambda: None,
) -> Surface:
    """Fit the method that was asked for, or the plainest one that the readings still allow.

    Parameters
    ----------
    samples : Samples
        Readings that may be used.
    method : {"structured", "ordinary"}
        What was asked for.
    options : SurfaceOptions, optional
        Priors, known reading error, threads.
    doubts : Doubts, optional
        Of the readings; the structured method then lets them count less.
    step : callable
        Called as each range of the structured method has been tried; see :func:`count_steps`.

    Returns
    -------
    Surface
        Its ``method`` says which was used, its ``notes`` why.

    Raises
    ------
    ValueError
        If there is no reading, or the method is unknown.

    Examples
    --------
    >>> from stressmap.geostat.surface import Places
    >>> one = np.zeros(1, dtype=np.int64)
    >>> reading = Samples(Places(np.array([[0.0, 0.0]]), one, one, one), np.array([3.0]), one)
    >>> fit_surface(reading, method="structured").method
    'ranch average'
    """
    if method not in {"structured", "ordinary"}:
        msg = f"{method!r} is not a mapping method; use 'structured' or 'ordinary'"
        raise ValueError(msg)
    if len(samples) == 0:
        msg = "there is no reading to map"
        raise ValueError(msg)
    options = options or SurfaceOptions()
    if len(samples) < LEAST_READINGS:
        return _fall_back(samples, options, Note.of("too_few_readings", "warning", count=len(samples)))
    if np.ptp(samples.value) < LEAST_SPREAD_BAR:
        return _fall_back(samples, options, Note.of("readings_alike", "warning"))
    options = replace(options, priors=follow_spread(options.priors, samples))
    if method == "structured":
        return _structured(samples, options, doubts, step)
    try:
        return average_by_tree(samples, lambda trees: OrdinarySurface(trees, jobs=options.jobs))
    except (ValueError, np.linalg.LinAlgError) as error:
        return _fall_back(samples, options, Note.of("ordinary_not_fitted", "warning", error=str(error)))


def count_steps(samples: Samples, method: str, options: SurfaceOptions | None = None) -> int | None:
    """Count how often, at most, :func:`fit_surface` calls its ``step``.

    Parameters
    ----------
    samples, method, options
        As for :func:`fit_surface`.

    Returns
    -------
    int or None
        None where it does not, because there is little to do.
    """
    if method != "structured" or len(samples) < LEAST_READINGS:
        return None
    fits = 1 if samples.places.covariate is None else 2
    return fits * len(log_ranges((options or SurfaceOptions()).priors))


def doubts_of(surface: Surface, far_z: float = FAR_Z) -> Doubts | None:
    """Find which readings of a fit the others contradict.

    Parameters
    ----------
    surface : Surface
        Fitted to all of them, in full.
    far_z : float
        Standard errors within which none is to be set aside.

    Returns
    -------
    Doubts or None
        None where none is, and for methods other than the structured one, which know no error law.
    """
    from stressmap.geostat.mixed_model_kriging import StructuredSurface

    found = surface.find_doubts() if isinstance(surface, StructuredSurface) else None
    return None if found is None else replace(found, far_z=far_z)


def _structured(
    samples: Samples, options: SurfaceOptions, doubts: Doubts | None, step: Callable[[], None]
) -> Surface:
    """Fit the structured method, with the covariate as drift where it lowers the leave-one-out error."""
    from stressmap.geostat.mixed_model_kriging import StructuredSurface, standardise

    plain = StructuredSurface(samples, options, doubts=doubts, step=step)
    if samples.places.covariate is None:
        return plain
    drift = standardise(samples)
    if not drift.sd:
        plain.notes += (Note.of("covariate_flat", "caution"),)
        return plain
    drifting = StructuredSurface(samples, options, drift, doubts=doubts, step=step)
    without, with_it = (score(samples.value, *one.leave_one_out()).rmse_bar for one in (plain, drifting))
    figures = {"with_bar": with_it, "without_bar": without}
    if with_it > (1 - LEAST_GAIN) * without:
        plain.notes += (Note.of("covariate_left_out", **figures),)
        return plain
    drifting.notes += (Note.of("covariate_used", **figures),)
    return drifting


def _fall_back(samples: Samples, options: SurfaceOptions, why: Note) -> Surface:
    several = len(np.unique(samples.places.block)) > 1
    method = "block average" if several else "ranch average"
    note = Note(why.code, (*why.values, ("method", method)), why.severity)
    return average_by_tree(
        samples,
        lambda trees: HierarchicalSurface(trees, variance_components(trees, options.priors), method, (note,)),
    )
