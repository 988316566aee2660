"""The round that was planned from a visit, where it lies below the folder one is in."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd

from stressmap.core.errors import DataError
from stressmap.core.settings import Settings
from stressmap.intake.planned_work import read_round
from stressmap.jobs.assess_visit import Visit
from stressmap.output.staging.output_folder import rounds_of
from stressmap.output.staging.result_files import MARK
from stressmap.output.view.next_round import NextRound

COLUMNS = ["tree_id", "block", "valve", "stop", "bag_clock", "read_clock"]


def next_round(chosen: Settings, visit: Visit) -> NextRound | None:
    """Find the latest round that was planned from a visit, and lies after it.

    Parameters
    ----------
    chosen : Settings
        Of the ranch.
    visit : tuple of date
        The visit.

    Returns
    -------
    NextRound or None
        None where there is none, or it cannot be read: nothing depends on it.
    """
    places = (Path(), Path(chosen.source).parent)
    for day, folder in reversed(rounds_of(chosen.ranch.name, places)):
        if day > visit[1] and _planned_from(folder) == [one.isoformat() for one in visit]:
            try:
                stops = read_round(folder / "round.csv")
            except DataError:
                return None
            placed = stops[stops["lon"].notna() & stops["lat"].notna()]
            order = placed["stop"].astype(float).to_numpy().argsort(kind="stable")
            points = gpd.points_from_xy(placed["lon"], placed["lat"])
            table = gpd.GeoDataFrame(placed[COLUMNS], geometry=points, crs="EPSG:4326")
            return NextRound(day, table.iloc[order]) if len(table) else None
    return None


def _planned_from(folder: Path) -> object:
    """Give the visit that a round's record names; None where there is no such record."""
    try:
        page = json.loads((folder / MARK).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return page.get("visit") if isinstance(page, dict) and page.get("job") == "round" else None
