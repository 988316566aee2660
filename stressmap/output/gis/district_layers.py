"""``district.gpkg``: ranches, blocks and valve zones of a district for GIS programs."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd

from stressmap.output.gis.geopackage import write_geopackage
from stressmap.output.view.district_content import DistrictContent, blocks_of, outline_of
from stressmap.output.view.ranch_folders import WGS84


def write_district_layers(content: DistrictContent, path: Path) -> None:
    """Write the layers, in the CRS of the ranches, WGS 84 where they have several.

    Parameters
    ----------
    content : DistrictContent
        Of a district.
    path : Path
        File to write; it must not exist. Layers ``ranches``, ``blocks`` and ``valves``, the last two styled
        by priority.
    """
    write_geopackage(district_layers(content), path)


def district_layers(content: DistrictContent) -> dict[str, gpd.GeoDataFrame]:
    """Put the layers together.

    Parameters
    ----------
    content : DistrictContent
        Of a district.

    Returns
    -------
    dict of str to GeoDataFrame
        ``ranches`` with what was mapped of each, ``blocks`` with the figures of their valve zones,
        ``valves`` as in ``district.csv``. Nothing where no ranch was mapped.
    """
    systems = {ranch.crs for ranch in content.ranches}
    crs = systems.pop() if len(systems) == 1 else WGS84
    blocks = [blocks_of(ranch) for ranch in content.ranches]
    ranches = [
        {
            "ranch": ranch.title,
            "folder": ranch.result.slug,
            "visit_from": _day(ranch.result.visit, 0),
            "visit_to": _day(ranch.result.visit, 1),
            "blocks": len(own),
            "valves": len(ranch.valves),
            "readings": int(ranch.counts.get("used", 0)),
            "area_ha": float(own["area_ha"].sum()),
            "first": int((own_valves(ranch.valves)["priority"] == 1).sum()),
            "next": int((own_valves(ranch.valves)["priority"] == 2).sum()),
            "geometry": outline_of(own.to_crs(crs)),
        }
        for ranch, own in zip(content.ranches, blocks, strict=True)
    ]
    layers = {"ranches": gpd.GeoDataFrame(ranches, geometry="geometry", crs=crs)} if ranches else {}
    if ranches:
        joined = pd.concat([own.to_crs(crs) for own in blocks], ignore_index=True)
        layers["blocks"] = gpd.GeoDataFrame(joined, geometry="geometry", crs=crs)
        layers["valves"] = content.valves.to_crs(crs)
    return layers


def own_valves(valves: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Leave out zones of blocks where no reading was taken: their priority is a guess."""
    return valves[valves["measured"].astype(bool)]


def _day(visit: tuple[object, object] | None, place: int) -> str | None:
    return None if visit is None else str(visit[place])
