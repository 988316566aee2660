"""What the season must know of each valve zone: its crop, soil and system, rate and how dry it may become."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.agronomy.crops import edges_for
from stressmap.agronomy.orchard import Orchard
from stressmap.core.settings import Settings, Water
from stressmap.core.units import M2_PER_HA
from stressmap.water.hydraulics import hydraulics_of, text_or_none
from stressmap.water.root_zone import texture_class

COLUMNS = (
    "valve", "block", "crop", "soil", "system", "pump", "area_ha", "rate_mm_h", "factor", "allowed_bar",
)  # fmt: skip


def valve_facts(valves: gpd.GeoDataFrame, orchard: Orchard, settings: Settings) -> pd.DataFrame:
    """Gather the facts of valve zones.

    Parameters
    ----------
    valves : GeoDataFrame, Z rows
        As :data:`stressmap.core.schemas.VALVES`, in a CRS in metres.
    orchard : Orchard
        The blocks' crops.
    settings : Settings
        ``[season] allowed_bar``, edges and ranking, ``[water]``.

    Returns
    -------
    DataFrame, Z rows
        :data:`COLUMNS`; ``soil`` is a class of texture or None, ``system`` None where it is not known.
    """
    water, blocks = settings.water or Water(), orchard.blocks.set_index("block")
    area = valves.geometry.area.to_numpy() / M2_PER_HA
    places = {name: blocks.loc[name] for name in blocks.index}
    rows = []
    for k, (_, own) in enumerate(valves.iterrows()):
        place, assumed = places[own["block"]], list[str]()
        hydraulics = hydraulics_of(float(area[k]), own, place, water, assumed)
        soil = text_or_none(place["soil"]) or water.soil
        rows.append(
            (
                own["valve"], own["block"], place["crop"], texture_class(soil or ""),
                None if {"system", "system_not_known"} & set(assumed) else hydraulics.system,
                text_or_none(own["pump"]), float(area[k]), hydraulics.rate, hydraulics.factor,
            )
        )  # fmt: skip
    table = pd.DataFrame(rows, columns=list(COLUMNS[:-1]))
    return table.assign(allowed_bar=table["crop"].map(_allowed(orchard, settings)).astype(np.float64))


def _allowed(orchard: Orchard, settings: Settings) -> dict[str, float]:
    """Give how far stress of each crop may go [bar]: as set, else its third edge."""
    own, chosen = settings.season.allowed_bar, settings.map
    if own is not None:
        return dict.fromkeys(orchard.profiles, own)
    return {
        crop: edges_for(profile, chosen.rank_by, chosen.edges_bar, settings.source)[2]
        for crop, profile in orchard.profiles.items()
    }
