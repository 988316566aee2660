"""Drying and water per bar by soil that a ranch tells and borrows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.notes import Note, Noted
from stressmap.geostat.drying_by_soil import ToldOfSoil, told_as_plain, told_from_plain
from stressmap.geostat.drying_slopes import BLOCK_SD, SLOPE_BAR_MM, VALVE_SD, DryingPriors
from stressmap.jobs.assess_visit import Assessed
from stressmap.season.dryness import SOIL_CLASS
from stressmap.season.season import Season
from stressmap.water.measured_water_per_bar import WaterPerBar

MAIN_SHARE = 0.75
"""Share of the readings from which on a crop is the ranch's."""
ZONES_SPREAD = float(np.hypot(BLOCK_SD, VALVE_SD)) / SLOPE_BAR_MM
"""Spread of a valve zone's water per bar about its ranch's on one soil, in the logarithm: that of drying."""
LEAST_TOLD = 0.05
"""A weight of what was borrowed under this is not worth a sentence."""


def main_crop(assessed: Assessed) -> str | None:
    """Give the crop of most of the readings that count; None where no crop has three quarters of them.

    Parameters
    ----------
    assessed : Assessed
        The visit that is mapped.

    Returns
    -------
    str or None
    """
    share = assessed.readings.loc[assessed.readings["used"], "crop"].value_counts(normalize=True)
    return str(share.index[0]) if len(share) and share.iloc[0] >= MAIN_SHARE else None


def lent_by_valve(facts: pd.DataFrame, drying: DryingPriors, crop: str | None) -> dict[str, WaterPerBar]:
    """Give the water per bar that other ranches lend for the soil of each valve zone.

    Parameters
    ----------
    facts : DataFrame
        Valve zones with ``valve``, ``crop`` and ``soil``, from
        :func:`stressmap.season.valve_facts.valve_facts`.
    drying : DryingPriors
        As it is lent.
    crop : str or None
        The ranch's, from :func:`main_crop`: zones of others borrow nothing.

    Returns
    -------
    dict of str to WaterPerBar
        With the spread from zone to zone.
    """
    found = {}
    for valve, own, soil in zip(facts["valve"], facts["crop"], facts["soil"], strict=True):
        lent = drying.soils.get(soil_class(soil))
        if lent is not None and own == crop:
            found[str(valve)] = WaterPerBar(lent.mm_per_bar, float(np.hypot(lent.mm_spread, ZONES_SPREAD)))
    return found


def soil_class(texture: object) -> str:
    """Give the class of a soil; what is not known is taken for a loam."""
    return SOIL_CLASS.get(str(texture), "loam")


def with_soils(
    page: dict[str, Any] | None, drying: DryingPriors, season: Season
) -> Noted[dict[str, Any] | None]:
    """Say what was borrowed for each soil of a ranch, and from how many irrigations it tells of its own.

    Parameters
    ----------
    page : dict or None
        From :func:`stressmap.jobs.borrowed_strength.what_was_borrowed`.
    drying : DryingPriors
        What was believed of drying beforehand.
    season : Season
        So far.

    Returns
    -------
    Noted of dict
        For ``run.json``; None for a ranch by itself.
    """
    if page is None or page["told"] is None:
        return Noted(page)
    blocks = season.blocks.assign(kind=[soil_class(one) for one in season.blocks["soil"]])
    own = told_from_plain(page["told"]["soils"])
    if page["lent"] is None:  # what a ranch that borrows tells was counted before it did
        seen = blocks[blocks["crop"] == page["crop"]].groupby("kind")["cycles_seen"].sum()
        own = {soil: replace(one, cycles=int(seen.get(soil, 0))) for soil, one in own.items()}
    page = page | {"told": {**page["told"], "soils": told_as_plain(own)}}
    area = blocks[blocks["kind"].isin(list(drying.soils))].groupby("kind")["area_ha"].sum()
    if area.empty:
        return Noted(page | {"soils": {}})
    told = {str(soil): _of_soil(str(soil), drying, own) for soil in area.index}
    weight = float(np.average([one["weight"] for one in told.values()], weights=area))
    lenders = [drying.soils[soil] for soil in told]
    figures = {
        "ranches": max(one.ranches for one in lenders),
        "cycles": sum(one.cycles for one in lenders),
        "percent": round(100 * weight),
    }
    said = (Note.of("soils_borrowed", **figures),) if weight >= LEAST_TOLD else ()
    return Noted(page | {"soils": told}, said)


def _of_soil(soil: str, drying: DryingPriors, own: Mapping[str, ToldOfSoil]) -> dict[str, Any]:
    lent, alone = drying.soils[soil], own.get(soil)
    return {
        "alone_bar_per_mm": None if alone is None else round(alone.bar_mm, 4),
        "lent_bar_per_mm": round(lent.bar_mm, 4),
        "lent_mm_per_bar": round(lent.mm_per_bar, 2),
        "ranches": lent.ranches,
        "cycles": lent.cycles,
        "weight": round(lent.weight(alone), 4),
    }
