"""Cross-validation (leave one out, leave block out) of a method beside ordinary kriging and block means."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.special import gammaincinv

from stressmap.core.arrays import Floats
from stressmap.core.notes import Note, NoteList
from stressmap.geostat.hierarchical import HierarchicalSurface, variance_components
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.ordinary_kriging import OrdinarySurface
from stressmap.geostat.repeat_leaves import average_by_tree
from stressmap.geostat.samples import Samples
from stressmap.geostat.search_neighbourhood import likelihood_groups
from stressmap.geostat.surface import Surface

Z_50, Z_90 = 0.6744897501960817, 1.6448536269514722
"""Normal quantiles of 50 and 90 % intervals."""
LEAST_JUDGED = 10
"""Readings below which nothing is said of z-scores."""
MOST_METHODS = 3
"""Compared with each other."""
MOST_TOGETHER, IN_PARTS_OF = 1_500, 600
"""Readings up to which ordinary kriging is compared by one system, and in parts of how many beyond: the time
of one grows with their cube, its memory with their square."""
LeftOut = tuple[Floats, Floats]
"""Predictions of readings left out, and their z-scores."""


@dataclass(frozen=True)
class Scores:
    """Cross-validation statistics.

    Parameters
    ----------
    readings : int
        How many were predicted.
    rmse_bar, mean_error_bar : float
        Root mean square and mean of reading less prediction [bar].
    mean_squared_z : float
        1 for calibrated standard errors, above it when they are too small.
    covered_50, covered_90 : float
        Share of readings inside their 50 and 90 % intervals.
    """

    readings: int
    rmse_bar: float
    mean_error_bar: float
    mean_squared_z: float
    covered_50: float
    covered_90: float


def score(value: Floats, predicted: Floats, z_score: Floats) -> Scores:
    """Score predictions of readings that were left out.

    Parameters
    ----------
    value, predicted : array, shape (n,)
        [bar]; a prediction is NaN where there was nothing to predict from.
    z_score : array, shape (n,)
        (value - predicted) / standard error.

    Returns
    -------
    Scores

    Examples
    --------
    >>> score(np.array([1.0, 3.0]), np.array([2.0, 2.0]), np.array([-0.5, 2.0])).covered_90
    0.5
    """
    known = np.isfinite(predicted)
    if not known.any():
        return Scores(0, *[float("nan")] * 5)
    residual, z = value[known] - predicted[known], z_score[known]
    return Scores(
        int(known.sum()),
        float(np.sqrt(np.mean(residual**2))),
        float(np.mean(residual)),
        float(np.mean(z**2)),
        float(np.mean(np.abs(z) <= Z_50)),
        float(np.mean(np.abs(z) <= Z_90)),
    )


@dataclass(frozen=True)
class Comparison:
    """Scores of several methods on the same readings.

    Parameters
    ----------
    one_out, block_out : dict of Scores
        By method: each reading left out alone, and with its whole block.
    notes : tuple of Note
        What must be said of them.
    """

    one_out: dict[str, Scores]
    block_out: dict[str, Scores]
    notes: tuple[Note, ...]

    def as_numbers(self) -> dict[str, Any]:
        """Give the scores as plain numbers for ``run.json``, rounded, None where there are none."""
        return {
            kind: {method: _rounded(one) for method, one in table.items()}
            for kind, table in (("leave_one_out", self.one_out), ("leave_block_out", self.block_out))
        }


def cross_validate(
    surface: Surface,
    samples: Samples,
    options: SurfaceOptions | None = None,
    *,
    step: Callable[[], None] = lambda: None,
) -> Comparison:
    """Cross-validate a fitted method, ordinary kriging and block averages on the same readings.

    Parameters
    ----------
    surface : Surface
        What was fitted to the readings.
    samples : Samples
        The readings.
    options : SurfaceOptions, optional
        As for the fit.
    step : callable
        Called as each of the methods has been tried, :data:`MOST_METHODS` times at most.

    Returns
    -------
    Comparison
        With a note when the method's z-scores are out of line, and one when it predicts readings no better
        than block averages do.
    """
    options = options or SurfaceOptions()
    tried: dict[str, Callable[[], tuple[LeftOut, LeftOut]]] = {surface.method: lambda: _left_out(surface)}
    if "ordinary" not in tried:
        tried["ordinary"] = lambda: _ordinary(samples, options.jobs)
    if surface.method not in {"block average", "ranch average"}:
        tried["block average"] = lambda: _left_out(
            average_by_tree(samples, lambda s: HierarchicalSurface(s, variance_components(s, options.priors)))
        )
    one_out, block_out = {}, {}
    for name, predict in tried.items():
        # Ordinary kriging of readings all at one place has no solution: the others are set side by side then.
        with contextlib.suppress(np.linalg.LinAlgError):
            alone, together = predict()
            one_out[name], block_out[name] = score(samples.value, *alone), score(samples.value, *together)
        step()
    return Comparison(one_out, block_out, _remarks(surface.method, one_out))


def _left_out(surface: Surface) -> tuple[LeftOut, LeftOut]:
    return surface.leave_one_out(), surface.leave_block_out()


def _ordinary(samples: Samples, jobs: int) -> tuple[LeftOut, LeftOut]:
    """Leave readings out of ordinary kriging, of all of them or of parts of neighbouring blocks.

    A part without a variogram is left out; where all are, it is a LinAlgError.
    """
    most = len(samples) if len(samples) <= MOST_TOGETHER else IN_PARTS_OF
    alone, together = np.full((2, len(samples)), np.nan), np.full((2, len(samples)), np.nan)
    for part in likelihood_groups(samples.places.xy, samples.places.block, most):
        with contextlib.suppress(ValueError, np.linalg.LinAlgError):
            surface = average_by_tree(samples.take(part), lambda s: OrdinarySurface(s, jobs=jobs))
            alone[:, part], together[:, part] = _left_out(surface)
    if np.isnan(alone).all():
        msg = "the readings make no variogram"
        raise np.linalg.LinAlgError(msg)
    return (alone[0], alone[1]), (together[0], together[1])


def _remarks(method: str, scores: dict[str, Scores]) -> tuple[Note, ...]:
    own, notes = scores[method], NoteList()
    if own.readings < LEAST_JUDGED:
        return ()
    # Quantiles of a chi-squared variable over its degrees of freedom, here so many readings.
    low, high = 2 * gammaincinv(own.readings / 2, [0.005, 0.995]) / own.readings
    if not low <= own.mean_squared_z <= high:
        factor = own.mean_squared_z**0.5
        if own.mean_squared_z > high:
            notes.say("intervals_too_narrow", "warning", method=method, factor=factor)
        else:
            notes.say("intervals_too_wide", "caution", method=method, factor=factor)
    average = scores.get("block average")
    kriged = [s.rmse_bar for name, s in scores.items() if name != "block average"]
    if average is not None and kriged and average.rmse_bar < min(kriged):
        notes.say("kriging_no_better", "caution", kriging_bar=min(kriged), average_bar=average.rmse_bar)
    return tuple(notes)


def _rounded(scores: Scores) -> dict[str, Any]:
    rounded = {name: round(value, 4) for name, value in asdict(scores).items()}
    return {name: value if np.isfinite(value) else None for name, value in rounded.items()}
