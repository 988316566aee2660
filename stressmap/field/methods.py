"""Which method maps these readings: the one that was asked for, or what they still allow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stressmap.field.averages import AverageSurface, spread_of
from stressmap.field.options import FieldOptions
from stressmap.field.ordinary import OrdinarySurface
from stressmap.field.surface import Samples, Surface

LEAST_READINGS = 5
ALIKE_BAR = 1e-6


def fit_surface(samples: Samples, *, method: str, options: FieldOptions | None = None) -> Surface:
    """Fit the method that was asked for, or the plainest one that the readings still allow.

    Parameters
    ----------
    samples : Samples
        Readings that may be used.
    method : {"structured", "ordinary"}
        What was asked for.
    options : FieldOptions, optional
        Priors, known reading error, threads.

    Returns
    -------
    Surface
        Its ``method`` says what really ran, its ``notes`` why.

    Raises
    ------
    ValueError
        If there is no reading, or the method is unknown.

    Examples
    --------
    >>> from stressmap.field.surface import Places
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
    options = options or FieldOptions()
    if len(samples) < LEAST_READINGS:
        return _average(samples, options, f"Only {len(samples)} usable readings, too few for kriging")
    if np.ptp(samples.value) < ALIKE_BAR:
        return _average(samples, options, "All usable readings are the same, which kriging cannot work with")
    try:
        surface = OrdinarySurface(samples, jobs=options.jobs)
        if method == "structured":
            surface.notes = ("The structured method is not built yet: plain ordinary kriging was used.",)
        return surface
    except (ValueError, np.linalg.LinAlgError) as error:
        return _average(samples, options, f"Ordinary kriging could not be fitted ({error})")


def _average(samples: Samples, options: FieldOptions, why: str) -> AverageSurface:
    surface = AverageSurface(samples, spread_of(samples, options.priors))
    several = len(np.unique(samples.places.block)) > 1
    what = "block averages, drawn towards the ranch's," if several else "the average of the readings"
    note = f"{why}: the map shows {what} with wide intervals."
    return replace(surface, method="block average" if several else "ranch average", notes=(note,))
