"""Where a reading belongs: swapped coordinates mended, the crew's word before the GPS's, doubt marked."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_names import row_names
from stressmap.core.settings import Reading
from stressmap.intake.known_names import BLOCK_WORDS, VALVE_WORDS, KnownNames
from stressmap.quality.spatial_join import site

Reach = tuple[shapely.STRtree, float]
"""The blocks and how near to one a reading still belongs to it [m]."""
FAR_M = 50.0
"""A reading this far from the block that its row names has a wrong block or wrong coordinates."""


def place(
    readings: pd.DataFrame,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    reading: Reading,
) -> Noted[gpd.GeoDataFrame]:
    """Place readings in blocks and valve zones.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.
    blocks, valves : GeoDataFrame
        In the working CRS; valves with their block resolved.
    reading : settings.Reading
        ``gps_m`` and ``gps_accuracy_m``.

    Returns
    -------
    Noted of GeoDataFrame
        Indexed like ``readings``: ``geometry`` (points in the working CRS, None where there is no place),
        ``block``, ``valve`` (names or None), ``swapped``, ``near_boundary``, ``outside`` (bool), and ``lon``,
        ``lat`` as mended [degree]. Says which names the crew wrote that no block or valve has.
    """
    crs = CRS(blocks.crs)
    lon, lat = readings["lon"].to_numpy(float), readings["lat"].to_numpy(float)
    points = _points(lon, lat, crs)
    reach = shapely.STRtree(blocks.geometry.to_numpy()), reading.gps_m
    swapped = _swapped(points, lon, lat, reach, crs)
    lon, lat = np.where(swapped, lat, lon), np.where(swapped, lon, lat)
    if swapped.any():
        points = _points(lon, lat, crs)
    series = gpd.GeoSeries(points, index=readings.index, crs=crs)
    sited = site(series, blocks, valves, reading.gps_m)
    notes = NoteList()
    block, valve, contradicted, wrote = notes.keep(_crews_word(readings, sited, blocks, valves))
    notes.add(_far_apart(row_names(readings), series, block, sited["block"], blocks))
    accuracy = readings["gps_accuracy_m"].fillna(reading.gps_accuracy_m).to_numpy(float)
    doubtful = _doubtful(series, sited, blocks, valves, accuracy) & ~wrote
    found = {
        "block": block,
        "valve": valve,
        "lon": lon,
        "lat": lat,
        "swapped": swapped,
        "near_boundary": sited["near_boundary"].to_numpy(bool) | contradicted | doubtful,
        "outside": sited["outside"].to_numpy(bool),
    }
    return notes.beside(gpd.GeoDataFrame(found, index=readings.index, geometry=series, crs=crs))


def _points(lon: NDArray[np.float64], lat: NDArray[np.float64], crs: CRS) -> Any:
    """Make points in the working CRS, None where there is no place or the CRS does not reach."""
    points = np.full(len(lon), None, dtype=object)
    there = (np.abs(lon) <= 180) & (np.abs(lat) <= 90)
    change = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    x, y = change.transform(lon[there], lat[there])
    sound = np.isfinite(x) & np.isfinite(y)
    index = np.flatnonzero(there)[sound]
    points[index] = shapely.points(np.asarray(x)[sound], np.asarray(y)[sound])
    return points


def _swapped(
    points: Any, lon: NDArray[np.float64], lat: NDArray[np.float64], reach: Reach, crs: CRS
) -> NDArray[np.bool_]:
    """Find coordinates that are off the ranch as written and on it when swapped."""
    given = np.isfinite(lon) & np.isfinite(lat)
    off = given & ~_on(points, reach)
    swapped = np.zeros(len(lon), dtype=bool)
    if off.any():
        other = _points(np.where(off, lat, np.nan), np.where(off, lon, np.nan), crs)
        swapped = off & _on(other, reach)
    return swapped


def _on(points: Any, reach: Reach) -> NDArray[np.bool_]:
    tree, gps_m = reach
    on = np.zeros(len(points), dtype=bool)
    on[tree.query(points, predicate="dwithin", distance=max(gps_m, 1e-6))[0]] = True
    return on


def _crews_word(
    readings: pd.DataFrame,
    sited: pd.DataFrame,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
) -> Noted[tuple[pd.Series, pd.Series, NDArray[np.bool_], NDArray[np.bool_]]]:
    """Let the block and valve that the crew wrote win over the GPS's; say where they contradict."""
    notes = NoteList()
    by_block = notes.keep(_resolve(readings["block"], blocks["block"].tolist(), "block"))
    by_valve = notes.keep(_resolve(readings["valve"], valves["valve"].tolist(), "valve"))
    owner = dict(zip(valves["valve"], valves["block"], strict=True))
    # a valve name settles the block, unless the crew wrote another block beside it
    by_block = by_block.fillna(by_valve.map(owner, na_action="ignore"))
    at_odds = by_valve.notna() & (by_valve.map(owner, na_action="ignore") != by_block)
    by_valve = by_valve.mask(at_odds, None)
    here = ~sited["outside"] & sited["block"].notna()
    block = by_block.where(here & by_block.notna(), sited["block"])
    moved = here & by_block.notna() & (by_block != sited["block"])
    valve = sited["valve"].mask(moved, None)
    wrote_valve = here & by_valve.notna()
    differs = wrote_valve & ~moved & sited["valve"].notna() & (by_valve != sited["valve"])
    valve = by_valve.where(wrote_valve, valve)
    valve = _only_valve(block, valve, moved, valves)
    contradicted = (moved | differs | (at_odds & here)).to_numpy(bool)
    wrote = (wrote_valve | (here & by_block.notna() & (sited["block"] == sited["valve"]))).to_numpy(bool)
    return notes.beside((block, valve, contradicted, wrote))


def _far_apart(
    row: pd.Series,
    points: gpd.GeoSeries,
    block: pd.Series,
    by_gps: pd.Series,
    blocks: gpd.GeoDataFrame,
) -> tuple[Note, ...]:
    """Say which readings lie far from the block that the crew wrote: one of the two is wrong."""
    moved = np.flatnonzero(block.notna() & (block != by_gps))
    outlines = dict(zip(blocks["block"], blocks.geometry, strict=True))
    theirs = np.array([outlines[name] for name in block.iloc[moved]], dtype=object)
    far = moved[shapely.distance(points.to_numpy()[moved], theirs) > FAR_M] if len(moved) else moved
    if not len(far):
        return ()
    rows = row.iloc[far].tolist()
    return (Note.of("far_from_written_block", "warning", metres=FAR_M, count=len(rows), rows=rows),)


def _only_valve(block: pd.Series, valve: pd.Series, moved: pd.Series, valves: gpd.GeoDataFrame) -> pd.Series:
    """Give a reading moved by the crew's word the valve of its block, where that has one only."""
    counts = valves.groupby("block")["valve"].agg(["size", "first"])
    single = counts.loc[counts["size"] == 1, "first"].to_dict()
    return valve.where(~(moved & valve.isna()), block.map(single))


def _resolve(written: pd.Series, names: list[str], what: str) -> Noted[pd.Series]:
    """Find the block or valve that each text means, spelled alike but for case, blanks and zeros in front."""
    known = KnownNames(names, BLOCK_WORDS if what == "block" else VALVE_WORDS)
    meant = {text: known.one(str(text)) for text in written.dropna().unique()}
    unknown = [str(text) for text, name in meant.items() if name is None]
    notes = NoteList()
    if unknown:
        notes.say("unknown_names", "caution", kind=f"{what}s", names=[name[:40] for name in unknown])
    found = written.map(meant, na_action="ignore").astype(object)
    return notes.beside(found.where(found.notna(), None))


def _doubtful(
    points: gpd.GeoSeries,
    sited: pd.DataFrame,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    accuracy_m: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Find readings with another block or valve zone within the accuracy of their position."""
    doubtful = np.zeros(len(points), dtype=bool)
    asked = np.flatnonzero(sited["block"].notna() & (accuracy_m > 0))
    for table, name in ((blocks, "block"), (valves, "valve")):
        shapes, labels = table.geometry.to_numpy(), table[name].to_numpy()
        if not len(asked) or not len(shapes):
            continue
        tree = shapely.STRtree(shapes)
        i, j = tree.query(points.to_numpy()[asked], predicate="dwithin", distance=accuracy_m[asked])
        other = labels[j] != sited[name].to_numpy()[asked[i]]
        doubtful[asked[i[other]]] = True
    return doubtful
