"""Readings that all others contradict: set aside or counted less, and what that changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.agronomy.indices import block_figures
from stressmap.core.arrays import Bools
from stressmap.core.notes import Note, NoteList
from stressmap.core.row_names import row_names
from stressmap.core.settings import Settings
from stressmap.geostat.gross_errors import DOUBTED, Doubts
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Samples
from stressmap.geostat.surface import Surface
from stressmap.jobs.assess_visit import Assessed
from stressmap.quality.checks import with_unlike
from stressmap.zoning.ranking import ZoneMeans


@dataclass(frozen=True)
class Fitted:
    """A mapping method fitted to a visit, and the readings it was fitted to.

    Parameters
    ----------
    surface : Surface
        The fit.
    samples : Samples
        The readings that count.
    options : SurfaceOptions
        How it was fitted.
    assessed : Assessed
        The visit, readings that were set aside no longer used, with ``weight`` where some count less.
    notes : tuple of Note
        Which readings count less or not, and by how much the map moved.
    """

    surface: Surface
    samples: Samples
    options: SurfaceOptions
    assessed: Assessed
    notes: tuple[Note, ...] = ()


def set_aside(
    first: Fitted,
    doubts: Doubts,
    settings: Settings,
    fit_again: Callable[[Samples, Doubts], Surface],
    means_of: Callable[[Surface], ZoneMeans],
) -> Fitted:
    """Fit a visit again without the readings that are likely wrong, doubtful ones counting less.

    Parameters
    ----------
    first : Fitted
        To all readings, in full.
    doubts : Doubts
        Of the same readings.
    settings : Settings
        Of the ranch.
    fit_again : callable
        Fits readings with their doubts.
    means_of : callable
        Averages the valve zones on a surface.

    Returns
    -------
    Fitted
    """
    kept = ~doubts.aside
    samples = first.samples.take(kept)
    surface = fit_again(samples, doubts.take(kept))
    readings = judged_readings(first.assessed.readings, doubts)
    held = block_figures(first.assessed.orchard, first.assessed.visit, readings[readings["used"]], settings)
    assessed = replace(first.assessed, readings=readings, blocks=held)
    moved = np.abs(means_of(surface).mean - means_of(first.surface).mean)
    notes = _told(first.assessed.readings, doubts, moved)
    return replace(first, surface=surface, samples=samples, assessed=assessed, notes=notes)


def judged_readings(readings: gpd.GeoDataFrame, doubts: Doubts) -> gpd.GeoDataFrame:
    """Write into the table of readings how much each counts.

    Parameters
    ----------
    readings : GeoDataFrame
        As :data:`stressmap.core.schemas.CHECKED_READINGS`.
    doubts : Doubts
        Of those that are used.

    Returns
    -------
    GeoDataFrame
        With ``weight``, ``predicted_bar``, ``z_score``; ``used`` and ``flags`` renewed.
    """
    used = readings["used"].to_numpy(bool)
    told = {"weight": doubts.weight, "predicted_bar": doubts.predicted, "z_score": doubts.z_score}
    columns = {}
    for name, figures in told.items():
        columns[name] = np.where(used, 0.0, 0.0 if name == "weight" else np.nan)
        columns[name][used] = figures
    unlike, aside = np.zeros(len(used), dtype=bool), np.zeros(len(used), dtype=bool)
    unlike[used], aside[used] = doubts.chance > DOUBTED, doubts.aside
    flags = pd.Series(with_unlike(readings["flags"].tolist(), unlike), index=readings.index, dtype=object)
    return readings.assign(**columns, flags=flags, used=used & ~aside)


def _told(readings: gpd.GeoDataFrame, doubts: Doubts, moved: np.ndarray) -> tuple[Note, ...]:
    """Say which readings count less or not, and by how much valve zones moved."""
    less = ~doubts.aside & (doubts.chance > DOUBTED)
    figures = {"mean_bar": np.nanmean(moved), "most_bar": np.nanmax(moved)}
    notes = NoteList()
    if doubts.aside.any():
        places = _places(readings, doubts.aside)
        notes.say("readings_set_aside", "caution", count=len(places), places=places, **figures)
    if less.any():
        places = _places(readings, less)
        notes.say("readings_count_less", "caution", count=len(places), places=places, **figures)
    return tuple(notes)


def _places(readings: gpd.GeoDataFrame, which: Bools) -> list[tuple[int, str]]:
    used = readings[readings["used"]]
    trees = used["tree_id"].astype(object).where(used["tree_id"].notna(), "")
    names = row_names(readings)[used.index]
    return [(row, tree) for row, tree, on in zip(names, trees, which, strict=True) if on]
