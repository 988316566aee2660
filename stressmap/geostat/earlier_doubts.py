"""Gross errors in the readings of earlier visits: they count less in memory too."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stressmap.geostat.gross_errors import find_doubts
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.visit_series import VisitSeries


def with_earlier_doubts(series: VisitSeries, today: StructuredSurface) -> VisitSeries:
    """Find which readings of each earlier visit its others contradict, by the model of the last visit.

    Parameters
    ----------
    series : VisitSeries
        Readings of all visits.
    today : StructuredSurface
        Fitted to the last one alone.

    Returns
    -------
    VisitSeries
        The same one where nothing is doubted.

    Notes
    -----
    Each visit is judged by itself, so that a place that has changed since is not taken for an error.
    """
    centred, doubt = series.centred(), np.zeros(len(series.samples))
    z = today.drift.standardised(series.samples.places)
    for v in range(len(series) - 1):
        index = np.flatnonzero(series.visit == v)
        trend = np.column_stack([np.ones(len(index)), z[index]])[:, : 1 + bool(today.drift.sd)]
        found = find_doubts(centred.take(index), trend, today.fit.model, today.fit.best)
        if found is not None:
            doubt[index] = found.for_map
    return replace(series, samples=replace(series.samples, doubt=doubt)) if doubt.any() else series
