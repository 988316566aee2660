"""What a season taught of each block: how fast it dries, its water per bar, what a set brings back."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.geostat.samples import Estimate
from stressmap.season.zone_courses import Z_90
from stressmap.water.measured_water_per_bar import WaterPerBar

YEAR_LOG_SD = math.log(1.25)
"""How much the water per bar of a block differs from year to year, as a factor: a judgement, no source."""
UNTOLD_LOG_SD = 5.0
"""Water per bar whose logarithm has a larger standard error is not known: the slope could as well be none."""
LEAST_SEEN = 2
"""Irrigations with readings on both sides, from which on a block's own drying is called learnt."""


def water_per_bar(slope: Estimate, soil: Floats, use_share: Floats) -> tuple[Floats, Floats]:
    """Turn slopes of stress on dryness into water per bar.

    Parameters
    ----------
    slope : Estimate
        Of Z zones [bar/mm of dryness].
    soil : array of float, shape (Z,)
        The measure by which dryness of their soil counts.
    use_share : array of float, shape (Z,)
        What trees use of the reference evapotranspiration.

    Returns
    -------
    mm, log_sd : array of float, shape (Z,)
        Water that brings trees back by one bar, and the standard error of its logarithm; NaN where the slope
        is not told from none (:data:`UNTOLD_LOG_SD`).

    Examples
    --------
    >>> mm, log_sd = water_per_bar(Estimate(np.array([0.05]), np.array([0.0001])), np.ones(1), np.ones(1))
    >>> mm.tolist(), log_sd.round(2).tolist()
    ([20.0], [0.2])
    """
    sd = np.sqrt(slope.variance)
    rising = np.where((slope.mean > 0) & (sd <= UNTOLD_LOG_SD * slope.mean), slope.mean, np.nan)
    return np.asarray(use_share / (rising * soil)), np.asarray(sd / rising)


def with_last_season(now: tuple[float, float], before: tuple[float, float] | None) -> tuple[float, float]:
    """Put this season's water per bar together with last season's, by their variances on the logarithm.

    Parameters
    ----------
    now, before : tuple of float
        Water per bar [mm] and the standard error of its logarithm; None without a last season.

    Returns
    -------
    tuple of float
        The same of both.

    Examples
    --------
    >>> mm, log_sd = with_last_season((20.0, 0.3), (10.0, 0.1))
    >>> round(mm, 1), round(log_sd, 2)
    (13.2, 0.19)
    """
    if before is None or not np.isfinite(before).all():
        return now
    if not np.isfinite(now).all():
        return before[0], math.hypot(before[1], YEAR_LOG_SD)
    first, second = now[1] ** -2, 1.0 / (before[1] ** 2 + YEAR_LOG_SD**2)
    log_mm = (first * math.log(now[0]) + second * math.log(before[0])) / (first + second)
    return math.exp(log_mm), (first + second) ** -0.5


def block_table(
    facts: pd.DataFrame,
    per_bar: tuple[Floats, Floats],
    slope: Floats,
    season: Mapping[str, Mapping[str, float]],
    cycles: pd.DataFrame,
    last_season: Mapping[str, tuple[float, float]],
) -> pd.DataFrame:
    """Put together what each block's season came to and taught.

    Parameters
    ----------
    facts : DataFrame, Z rows
        From :func:`stressmap.season.valve_facts.valve_facts`.
    per_bar : tuple of array of float, shape (Z,)
        From :func:`water_per_bar`.
    slope : array of float, shape (Z,)
        Stress that a mm of evapotranspiration brings [bar/mm].
    season : mapping of str to mapping
        By block: ``visits``, ``readings``, ``water_mm``, ``over_target_bar_days``, ``alarms``.
    cycles : DataFrame
        From :func:`stressmap.season.irrigation_cycles.cycle_table`.
    last_season : mapping of str to (float, float)
        Water per bar and the standard error of its logarithm, by block.

    Returns
    -------
    DataFrame
        A row per block: the columns of :data:`stressmap.core.season_schemas.SEASON_BLOCKS`, and
        ``mm_per_bar_log_sd``.
    """
    own_block = facts["block"].to_numpy()
    of_cycle = own_block[cycles["zone"].to_numpy(np.int64)] if len(cycles) else np.zeros(0, dtype=object)
    rows = []
    for block, zones in facts.groupby("block", sort=False):
        at = zones.index.to_numpy()
        area = zones["area_ha"].to_numpy()
        mine = cycles[of_cycle == block]
        both = mine[mine["seen"] == "both"]
        now = _mean(per_bar[0][at], area), _mean(per_bar[1][at], area)
        mm, log_sd = with_last_season(now, last_season.get(str(block)))
        told = season[str(block)]
        rows.append(
            {
                "block": block,
                "crop": zones["crop"].iloc[0],
                "soil": zones["soil"].iloc[0],
                "system": zones["system"].iloc[0],
                "area_ha": float(area.sum()),
                "visits": int(told["visits"]),
                "readings": int(told["readings"]),
                "cycles": len(mine),
                "cycles_seen": len(both),
                "water_mm": told["water_mm"],
                "over_target_bar_days": told["over_target_bar_days"],
                "alarms": int(told["alarms"]),
                "drying_bar_per_mm": _mean(slope[at], area),
                "mm_per_bar": mm,
                "mm_per_bar_low": mm * math.exp(-Z_90 * log_sd),
                "mm_per_bar_high": mm * math.exp(Z_90 * log_sd),
                "relief_bar": float(both["relief_bar"].median()) if len(both) else math.nan,
                "recovered": float(both["recovered"].median()) if len(both) else math.nan,
                "prior_used": str(block) in last_season,
                "mm_per_bar_log_sd": log_sd,
            }
        )
    return pd.DataFrame(rows)


def _mean(value: Floats, weight: Floats) -> float:
    known = np.isfinite(value)
    return float(np.average(value[known], weights=weight[known])) if known.any() else math.nan


def learnt_by_valve(blocks: pd.DataFrame, facts: pd.DataFrame) -> dict[str, WaterPerBar]:
    """Give the water per bar of valves that a water plan may take in the place of soil and roots.

    Parameters
    ----------
    blocks : DataFrame
        From :func:`block_table`.
    facts : DataFrame
        Valves with their block.

    Returns
    -------
    dict of str to WaterPerBar
        Of blocks with enough irrigations seen on both sides, or with a last season.
    """
    known = blocks[(blocks["cycles_seen"] >= LEAST_SEEN) | blocks["prior_used"]]
    columns = zip(known["block"], known["mm_per_bar"], known["mm_per_bar_log_sd"], strict=True)
    figure = {
        block: WaterPerBar(float(mm), float(log_sd))
        for block, mm, log_sd in columns
        if np.isfinite([mm, log_sd]).all()
    }
    pairs = zip(facts["valve"], facts["block"], strict=True)
    return {valve: figure[block] for valve, block in pairs if block in figure}
