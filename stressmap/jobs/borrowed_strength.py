"""What a run borrowed from the other ranches of its district, in words and in figures."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from stressmap.core.notes import Note, Noted
from stressmap.geostat.borrowed_model import lent_persistence
from stressmap.geostat.borrowed_priors import BorrowedPriors, OwnEvidence
from stressmap.geostat.fit import Fit
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.series_evidence import series_evidence, soil_evidence
from stressmap.geostat.surface import Surface
from stressmap.geostat.variance_model import RANGE
from stressmap.jobs.assess_visit import Assessed
from stressmap.jobs.borrowed_soils import LEAST_TOLD, main_crop
from stressmap.jobs.recall_visits import Remembered

NOTHING = {
    "ranches": 0,
    "readings": 0,
    "weight": 0.0,
    "parameters": {},
    "soils": {},
    "lent": None,
    "told": None,
}
"""Of a ranch whose readings could not be fitted by the structured method."""


def what_was_borrowed(
    today: Surface, made: Remembered, assessed: Assessed, lent: BorrowedPriors | None
) -> Noted[dict[str, Any] | None]:
    """Say how much of a fit was borrowed, and what the ranch tells for others.

    Parameters
    ----------
    today : Surface
        Fitted to the visit alone.
    made : Remembered
        With earlier visits, where there are any.
    assessed : Assessed
        The visit; a ranch without a main crop neither lends nor borrows.
    lent : BorrowedPriors or None
        By the other ranches; None for a ranch by itself.

    Returns
    -------
    Noted of dict
        For ``run.json``; None for a ranch by itself.
    """
    if lent is None:
        return Noted(None)
    crop = main_crop(assessed)
    told = today.fit.told if isinstance(today, StructuredSurface) else None
    if not isinstance(today, StructuredSurface) or told is None:
        return Noted({"crop": crop, **NOTHING})
    series = series_evidence(made.surface, lent_persistence(lent))
    told = replace(told, series=series, soils=soil_evidence(made.surface))
    page = {
        "crop": crop,
        "ranches": lent.ranches,
        "readings": lent.readings,
        "weight": round(told.borrowed, 4),
        "parameters": _moved(today.fit, told, lent),
        "soils": {},
        "lent": replace(lent, own=None).as_plain() if lent else None,
        "told": told.as_plain() if lent.own is None else dict(lent.own),
    }
    if told.borrowed < LEAST_TOLD:
        return Noted(page)
    figures = {"count": told.readings, "ranches": lent.ranches, "others": lent.readings}
    return Noted(page, (Note.of("borrowed", **figures, percent=round(100 * told.borrowed)),))


def _moved(fit: Fit, told: OwnEvidence, lent: BorrowedPriors) -> dict[str, dict[str, float | None]]:
    """Give each parameter by the ranch's own readings, as it is lent, and as it came out [bar], range [m]."""
    found: dict[str, dict[str, float | None]] = {}
    for name in told.names if lent else ():
        column, known = told.column(name), (lent.parameters or {}).get(name)
        assert column is not None
        found[name] = {
            "alone": round(float(np.exp(told.weight @ column)), 4),
            "lent": None if known is None else round(known.median, 4),
            "with": round(_average(fit, name), 4),
        }
    return found


def _average(fit: Fit, name: str) -> float:
    """Return the weighted geometric mean of one parameter, of the sets that have it."""
    of = {RANGE: "range_m", "noise": "tree"}.get(name, name)
    value = np.array([getattr(node, of) + (node.error if name == "noise" else 0.0) for node in fit.nodes])
    there = value > 0
    if not there.any():
        return 0.0
    power = 1.0 if name == RANGE else 0.5
    return float(np.exp(power * (fit.weight[there] @ np.log(value[there])) / fit.weight[there].sum()))
