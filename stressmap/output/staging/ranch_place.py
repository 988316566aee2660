"""What the place of a ranch tells of it: its time zone, and the language and units that people there use."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd

from stressmap.core.antimeridian import middle_longitude
from stressmap.core.units import System
from stressmap.output.text.words import Language

_US = frozenset({
    "Los_Angeles", "Denver", "Phoenix", "Boise", "Chicago", "New_York", "Detroit", "Menominee",
    "Anchorage", "Juneau", "Nome",
})  # fmt: skip
_SPANISH_ZONES = frozenset({
    "Madrid", "Ceuta", "Canary", "Santiago", "Punta_Arenas", "Coyhaique", "Lima", "Bogota",
    "Caracas", "Guayaquil", "La_Paz", "Montevideo", "Asuncion", "Mexico_City", "Tijuana",
    "Hermosillo", "Chihuahua", "Ciudad_Juarez", "Ojinaga", "Monterrey", "Matamoros", "Mazatlan",
    "Bahia_Banderas", "Merida", "Cancun", "Guatemala", "El_Salvador", "Tegucigalpa", "Managua",
    "Costa_Rica", "Panama", "Havana", "Santo_Domingo",
})  # fmt: skip


@dataclass(frozen=True)
class RanchPlace:
    """What is set from the place of a new ranch.

    Parameters
    ----------
    zone : str or None
        Time zone; None where none is found.
    language : str
        The ranch's first.
    units : str
        What people see: ``"us"`` or ``"metric"``.
    """

    zone: str | None
    language: Language
    units: System


def place_of(blocks: gpd.GeoDataFrame, language: Language | None = None) -> RanchPlace:
    """Find time zone, language and units from where the blocks lie.

    Parameters
    ----------
    blocks : GeoDataFrame
        The blocks, in any CRS.
    language : str, optional
        The ranch's first, where it is known.

    Returns
    -------
    RanchPlace
    """
    from timezonefinder import TimezoneFinder

    lon, lat = _middle(blocks)
    zone: str | None = TimezoneFinder().timezone_at(lng=lon, lat=lat)
    spanish = zone is not None and _speaks_spanish(zone)
    american = zone is not None and _in_united_states(zone)
    return RanchPlace(zone, language or ("es" if spanish else "en"), "us" if american else "metric")


def _middle(blocks: gpd.GeoDataFrame) -> tuple[float, float]:
    west, south, east, north = blocks.to_crs("EPSG:4326").total_bounds
    return middle_longitude(float(west), float(east)), float((south + north) / 2)


def _speaks_spanish(zone: str) -> bool:
    return zone.startswith("America/Argentina/") or zone.rsplit("/", maxsplit=1)[-1] in _SPANISH_ZONES


def _in_united_states(zone: str) -> bool:
    """Tell whether people there speak of acres and gallons."""
    states = ("America/Indiana/", "America/Kentucky/", "America/North_Dakota/")
    return (
        zone.startswith(states)
        or (zone.startswith("America/") and zone.rsplit("/", maxsplit=1)[-1] in _US)
        or zone == "Pacific/Honolulu"
    )
