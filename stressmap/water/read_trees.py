"""The trees that a visit's figures rest on: when each valve zone was last read, and how many trees were."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd

from stressmap.quality.tree_identity import tree_codes
from stressmap.water.measured_water_per_bar import WaterPerBar

TREES_TO_PLAN = 3
"""Trees read in a block from which on amounts are worked out: 3 to 5 a block at least, 10 better (the sources
of sample sizes in ``docs/references.md``)."""


@dataclass(frozen=True)
class ReadTrees:
    """What is known of the trees that were read.

    Parameters
    ----------
    at : mapping of str to Timestamp
        Last used reading of each valve zone; where it has none, of its block (by the block's name).
    by_valve, by_block : mapping of str to int
        Trees read; None where that is not known.
    before : date or None
        Last day of the visit before, where the valves' change since then is known.
    learnt : mapping of str to WaterPerBar
        What the season taught of the water per bar of valve zones.
    lent : mapping of str to WaterPerBar
        What other ranches lend of it, by soil.
    not_relieved : frozenset of str
        Valve zones whose water did not relieve their trees in the season.
    """

    at: Mapping[str, pd.Timestamp] = field(default_factory=dict)
    by_valve: Mapping[str, int] | None = None
    by_block: Mapping[str, int] | None = None
    before: dt.date | None = None
    learnt: Mapping[str, WaterPerBar] = field(default_factory=dict)
    lent: Mapping[str, WaterPerBar] = field(default_factory=dict)
    not_relieved: frozenset[str] = frozenset()

    @classmethod
    def of(cls, readings: gpd.GeoDataFrame, before: dt.date | None = None) -> ReadTrees:
        """Gather them from checked readings.

        Parameters
        ----------
        readings : GeoDataFrame
            As :data:`stressmap.core.schemas.CHECKED_READINGS`.
        before : date, optional
            Last day of the visit before.

        Returns
        -------
        ReadTrees
        """
        used = readings[readings["used"].astype(bool)]
        places = used.geometry.to_crs("EPSG:4326")
        codes = tree_codes(pd.DataFrame(used[["tree_id", "block"]]).assign(lon=places.x, lat=places.y))
        last = {
            str(name): moment
            for by in ("block", "valve")
            for name, moment in used.groupby(by)["time"].max().items()
            if pd.notna(moment)
        }
        counts = [{str(k): int(n) for k, n in codes.groupby(used[by]).nunique().items()} for by in
                  ("valve", "block")]  # fmt: skip
        return cls(last, counts[0], counts[1], before)

    def in_valve(self, valve: str) -> int:
        """Give the trees read in a valve zone; 0 where that is not known.

        Parameters
        ----------
        valve : str
            Its name.

        Returns
        -------
        int
        """
        return 0 if self.by_valve is None else self.by_valve.get(valve, 0)

    def too_few(self, block: str) -> bool:
        """Tell whether a block is known to rest on too few trees for amounts.

        Parameters
        ----------
        block : str
            Its name.

        Returns
        -------
        bool
        """
        return self.by_block is not None and self.by_block.get(block, 0) < TREES_TO_PLAN
