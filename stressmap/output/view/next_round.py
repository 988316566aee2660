"""A measuring round that was planned from the visit that is mapped, as maps show it."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass

import geopandas as gpd


@dataclass(frozen=True)
class NextRound:
    """The stops of a round.

    Parameters
    ----------
    day : date
        Of the round.
    stops : GeoDataFrame
        In WGS 84, by number: ``tree_id``, ``block``, ``valve``, ``stop``, ``bag_clock``, ``read_clock``,
        point.
    """

    day: dt.date
    stops: gpd.GeoDataFrame

    def as_plain(self) -> dict[str, str]:
        """Tell one round from another: its day, and a fingerprint of its stops."""
        stops = self.stops.to_csv(index=False, lineterminator="\n")
        return {"day": self.day.isoformat(), "sha256": hashlib.sha256(stops.encode()).hexdigest()}
