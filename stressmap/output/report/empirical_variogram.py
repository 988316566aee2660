"""Pairs of readings by distance, and what the fitted model says of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.arrays import Floats
from stressmap.geostat.covariance import CORRELATIONS

BINS = 9
LEAST_PAIRS = 3


@dataclass(frozen=True)
class PairCurve:
    """Half the mean square difference of one kind of pairs, by distance.

    Parameters
    ----------
    kind : str
        ``"same_valve"`` or ``"same_block"`` (another valve of the same block).
    distance_m, semivariance_bar2 : array of float, shape (b,)
        Mean distance [m] and half the mean square difference [bar²] of each group.
    pairs : array of int, shape (b,)
        Pairs in each group.
    model_m, model_bar2 : array of float, shape (k,)
        The fitted model; empty where the method that ran has none.
    """

    kind: str
    distance_m: Floats
    semivariance_bar2: Floats
    pairs: NDArray[np.int64]
    model_m: Floats
    model_bar2: Floats


def sample_pairs(readings: gpd.GeoDataFrame, fit: dict[str, Any]) -> tuple[PairCurve, PairCurve]:
    """Group the pairs of used readings inside blocks by distance.

    Parameters
    ----------
    readings : GeoDataFrame
        Readings in the working CRS with ``used``, ``block``, ``valve``, ``tree_id`` and ``stress_bar``.
    fit : dict
        The summary of the fitted surface.

    Returns
    -------
    tuple of PairCurve
        Pairs of one valve zone, and pairs of one block but different valve zones; leaves of one tree are not
        paired. Groups hold about equally many pairs, at least three.
    """
    used = readings[
        readings["used"].astype(bool) & readings["stress_bar"].notna() & readings["block"].notna()
    ]
    gaps, squares, same = _pairs(used)
    longest = float(gaps.max()) if len(gaps) else 0.0
    return (
        _curve("same_valve", gaps[same], squares[same], _model(fit, "same_valve", longest)),
        _curve("same_block", gaps[~same], squares[~same], _model(fit, "same_block", longest)),
    )


def _pairs(used: gpd.GeoDataFrame) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return distance [m], half the squared difference [bar²] and whether in one valve zone, of each pair."""
    found = [np.zeros((0, 3))]
    tree, valve = (pd.factorize(used[name])[0] for name in ("tree_id", "valve"))
    xy = np.column_stack([used.geometry.x, used.geometry.y])
    stress = used["stress_bar"].to_numpy(float)
    for _, rows in pd.Series(np.arange(len(used))).groupby(used["block"].to_numpy(), sort=True):
        one, other = (rows.to_numpy()[side] for side in np.triu_indices(len(rows), 1))
        apart = (tree[one] != tree[other]) | (tree[one] < 0)
        one, other = one[apart], other[apart]
        gaps = np.hypot(*(xy[one] - xy[other]).T)
        found.append(
            np.column_stack([gaps, (stress[one] - stress[other]) ** 2 / 2, valve[one] == valve[other]])
        )
    table = np.vstack(found)
    return table[:, 0], table[:, 1], table[:, 2].astype(bool)


def _curve(kind: str, gaps: Floats, squares: Floats, model: tuple[Floats, Floats]) -> PairCurve:
    groups = max(1, min(BINS, len(gaps) // LEAST_PAIRS))
    parts = [part for part in np.array_split(np.argsort(gaps, kind="stable"), groups) if len(part)]
    distance = np.array([gaps[part].mean() for part in parts])
    semivariance = np.array([squares[part].mean() for part in parts])
    pairs = np.array([len(part) for part in parts], dtype=np.int64)
    return PairCurve(kind, distance, semivariance, pairs, *model)


def _model(fit: dict[str, Any], kind: str, longest: float) -> tuple[Floats, Floats]:
    """Say what the fitted model expects of such pairs."""
    name = fit.get("correlation", fit.get("variogram"))
    if name not in CORRELATIONS or longest <= 0:
        return np.zeros(0), np.zeros(0)
    distance = np.linspace(0.0, longest, 120)
    falls = 1 - CORRELATIONS[name](distance, float(fit["range_m"]))
    if "pattern_sd_bar" not in fit:
        return distance, float(fit["nugget_bar2"]) + float(fit["partial_sill_bar2"]) * falls
    still = fit["tree_sd_bar"] ** 2 + fit["error_sd_bar"] ** 2
    step = fit["valve_sd_bar"] ** 2 if kind == "same_block" else 0.0
    return distance, still + step + fit["pattern_sd_bar"] ** 2 * falls
