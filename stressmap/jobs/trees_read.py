"""The trees of earlier readings: where each stands and what it showed last."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from stressmap.core.errors import NoRowsError
from stressmap.core.settings import Settings
from stressmap.intake.readings import read_readings
from stressmap.jobs.record_of_ranch import record_rows
from stressmap.quality.locate_readings import place
from stressmap.quality.tree_identity import tree_codes

KNOWN = ("tree_id", "block", "valve", "lon", "lat", "last_bar", "last_day")


def known_trees(chosen: Settings, blocks: gpd.GeoDataFrame, valves: gpd.GeoDataFrame) -> pd.DataFrame:
    """List the trees of a ranch's readings with what each showed last.

    Parameters
    ----------
    chosen : Settings
        The ranch's.
    blocks, valves : GeoDataFrame
        In the working CRS.

    Returns
    -------
    DataFrame
        As :func:`trees_of`; a ranch whose readings are still empty has none.

    Raises
    ------
    DataError
        If a readings file cannot be used.
    """
    try:
        readings = read_readings(chosen.files.readings, chosen, record_rows(chosen)).value
    except NoRowsError:
        return pd.DataFrame(columns=list(KNOWN))
    return trees_of(named_readings(readings, chosen, blocks, valves))


def named_readings(
    readings: pd.DataFrame, chosen: Settings, blocks: gpd.GeoDataFrame, valves: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Give the readings that tell of a tree: with a name, place, time and possible pressure.

    Parameters
    ----------
    readings : DataFrame
        As :data:`stressmap.core.schemas.READINGS`.
    chosen : Settings
        The ranch's.
    blocks, valves : GeoDataFrame
        In the working CRS.

    Returns
    -------
    GeoDataFrame
        In the working CRS, in order of time, with ``block`` and ``valve`` settled, ``tree`` (a code, the same
        for one tree) and ``last_bar`` (tension, positive).
    """
    placed = place(readings, blocks, valves, chosen.reading).value
    table = readings.assign(**{name: placed[name] for name in ("block", "valve", "lon", "lat")})
    table["last_bar"] = table["pressure_bar"].abs()
    least, most = chosen.reading.possible_bar
    sound = table["last_bar"].between(least, most) & placed.geometry.notna() & ~placed["outside"]
    sound &= table["tree_id"].notna() & table["time"].notna()
    kept = gpd.GeoDataFrame(table[sound], geometry=placed.geometry[sound], crs=placed.crs)
    ordered: gpd.GeoDataFrame = kept.sort_values(["time", "row"], kind="stable")
    return ordered.assign(tree=tree_codes(ordered) if len(ordered) else pd.Series(dtype=int))


def trees_of(named: gpd.GeoDataFrame) -> pd.DataFrame:
    """List trees with what each showed last.

    Parameters
    ----------
    named : GeoDataFrame
        From :func:`named_readings`.

    Returns
    -------
    DataFrame
        ``tree_id``, ``block``, ``valve``, ``lon``, ``lat``, ``last_bar``, ``last_day``: by block and name.
    """
    if named.empty:
        return pd.DataFrame(columns=list(KNOWN))
    table = pd.DataFrame(named).assign(last_day=named["time"].dt.date)
    last = table.groupby("tree").tail(1)
    ordered: pd.DataFrame = last.sort_values(["block", "tree_id", "tree"], kind="stable")
    return ordered[list(KNOWN)]
