"""Rate and flow of a valve zone, and what the depth for the trees is divided by; what was missing is told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.settings import Water
from stressmap.water import irrigation_system

RATE_TOLERANCE = 0.10
"""Rate and flow that differ by more than this share are reported."""


@dataclass(frozen=True)
class Hydraulics:
    """How water comes out at a valve zone.

    Parameters
    ----------
    system : str
        Key of :data:`stressmap.water.irrigation_system.UNIFORMITY`.
    rate : float
        [mm/h].
    flow : float
        [m3/h].
    factor : float
        Uniformity or efficiency, 0 to 1.
    """

    system: str
    rate: float
    flow: float
    factor: float


def hydraulics_of(
    area_ha: float, data: pd.Series, place: pd.Series, water: Water, assumed: list[str]
) -> Hydraulics:
    """Settle rate and flow (a stated flow goes before a stated rate) and what the depth is divided by.

    Parameters
    ----------
    area_ha : float
        [ha].
    data, place : Series
        The valve's row of :data:`stressmap.core.schemas.VALVES`, its block's of ``BLOCKS``.
    water : Water
        ``[water]``.
    assumed : list of str
        Codes of what was assumed are added to it.

    Returns
    -------
    Hydraulics
    """
    kind = text_or_none(place["irrigation"])
    if kind not in irrigation_system.UNIFORMITY:
        assumed.append("system" if kind is None else "system_not_known")
        kind = irrigation_system.DEFAULT_SYSTEM
    by_ranch, usual = (
        (water.uniformity, irrigation_system.UNIFORMITY)
        if water.divide_by == "uniformity"
        else (water.efficiency, irrigation_system.EFFICIENCY)
    )
    ours: Mapping[str, float] = {str(name): share for name, share in by_ranch.items()}
    if kind not in ours:
        assumed.append(water.divide_by)
    factor = ours.get(kind, usual[kind])
    rate, flow = number_or(data["rate_mm_h"], np.nan), number_or(data["flow_m3_h"], np.nan)
    if flow > 0:
        by_flow = irrigation_system.rate_mm_h(flow, area_ha)
        if abs(by_flow - rate) > RATE_TOLERANCE * by_flow:
            assumed.append("flow_not_rate")
        return Hydraulics(kind, by_flow, flow, factor)
    if not rate > 0:
        assumed.append("rate")
        rate = irrigation_system.USUAL_RATE_MM_H[kind]
    return Hydraulics(kind, rate, irrigation_system.flow_m3_h(rate, area_ha), factor)


def number_or(value: Any, other: float) -> float:
    """Give a cell of a table as a number, or another where it is empty.

    Parameters
    ----------
    value : float or None
        The cell.
    other : float
        What stands in for it.

    Returns
    -------
    float
    """
    return float(value) if value is not None and np.isfinite(value) else other


def text_or_none(value: Any) -> str | None:
    """Give a cell of a table as text, None where it is empty.

    Parameters
    ----------
    value : str or None
        The cell.

    Returns
    -------
    str or None
    """
    return str(value).strip() or None if isinstance(value, str) else None
