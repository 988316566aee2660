"""How many trees stand behind the figures of blocks and valve zones."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from stressmap.quality.tree_identity import tree_codes

WGS84 = "EPSG:4326"


def trees_used(readings: gpd.GeoDataFrame, by: str) -> dict[str, int]:
    """Count the trees behind the figures of each block or valve zone; two leaves of a tree are one tree.

    Parameters
    ----------
    readings : GeoDataFrame
        Checked readings: ``used``, ``tree_id``, ``block``, the column ``by``, and their places.
    by : str
        ``"block"`` or ``"valve"``.

    Returns
    -------
    dict of str to int
        Only where at least one tree was used.
    """
    used = readings[readings["used"].astype(bool)]
    degrees = used.geometry.to_crs(WGS84)
    table = pd.DataFrame(used[["tree_id", "block"]]).assign(lon=degrees.x, lat=degrees.y)
    counts = tree_codes(table).groupby(used[by]).nunique()
    return {str(name): int(count) for name, count in counts.items()}
