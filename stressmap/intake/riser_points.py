"""Where the risers of valves are: columns of the valve file, or points beside its zones."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import ToldRow
from stressmap.core.sources import SQLITE, InputSource
from stressmap.intake.columns import Table, match
from stressmap.intake.drawn_layers import DrawnLayer, drawn_layers
from stressmap.intake.heading_recognition import Field
from stressmap.intake.polygon_files import Outlines

WGS84 = "EPSG:4326"
FAR_M = 300.0
"""A riser further than this from the zone of its valve is a slip of the pen: a judgement [m]."""
Spot = tuple[float, float]


def without_points(
    outlines: Outlines, fields: Mapping[str, Field], columns: Mapping[str, str]
) -> tuple[Outlines, list[DrawnLayer]]:
    """Part the points of a valve file from its zones.

    Parameters
    ----------
    outlines : Outlines
        As the file has them.
    fields : mapping of str to Field
        The columns that may be there.
    columns : mapping of str to str
        ``[columns]`` of the settings.

    Returns
    -------
    tuple of (Outlines, list of DrawnLayer)
        The zones, with the rows of points told; and the points as a layer, none where there is no zone too.
    """
    kinds = np.array(["" if shape is None else shape.geom_type for shape in outlines.shapes])
    point = kinds == "Point"
    if not point.any() or point.all():
        return outlines, []
    sheet = outlines.sheet
    table = match(sheet, fields, columns, required=())
    names = table.text("valve") if table.has("valve") else [None] * len(sheet.frame)
    zones = {_folded(name) for name, is_point in zip(names, point, strict=True) if name and not is_point}
    told = [
        ToldRow.of(row, "riser_point", valve=name)
        if name and _folded(name) in zones
        else ToldRow.of(row, "riser_unknown", valve=name or "")
        for row, name, is_point in zip(sheet.frame.index, names, point, strict=True)
        if is_point
    ]
    points = DrawnLayer(
        dataclasses.replace(sheet, frame=sheet.frame[point]), outlines.shapes[point], outlines.crs
    )
    rest = dataclasses.replace(sheet, frame=sheet.frame[~point], told=(*sheet.told, *told))
    return dataclasses.replace(outlines, sheet=rest, shapes=outlines.shapes[~point]), [points]


def point_layers(source: InputSource) -> list[DrawnLayer]:
    """Read the layers of points that a GeoPackage holds beside its zones.

    Parameters
    ----------
    source : InputSource
        The valve file.

    Returns
    -------
    list of DrawnLayer
        None of another kind of file.
    """
    return drawn_layers(source, "Point") if source.head().startswith(SQLITE) else []


def riser_spots(
    layers: list[DrawnLayer], fields: Mapping[str, Field], columns: Mapping[str, str]
) -> dict[str, Spot]:
    """Give the points that bear the name of a valve.

    Parameters
    ----------
    layers : list of DrawnLayer
        Points beside the zones.
    fields : mapping of str to Field
        The columns that may be there.
    columns : mapping of str to str
        ``[columns]`` of the settings.

    Returns
    -------
    dict of str to tuple of float
        Folded name of the valve -> longitude and latitude [degrees]; of several points of a name the first.
    """
    found: dict[str, Spot] = {}
    for layer in layers:
        table = match(layer.sheet, {"valve": fields["valve"]}, columns, required=())
        if not table.has("valve"):
            continue
        placed = gpd.GeoSeries(layer.shapes, crs=layer.crs).to_crs(WGS84)
        for name, shape in zip(table.text("valve"), placed, strict=True):
            if name and shape.geom_type == "Point":
                found.setdefault(_folded(name), (float(shape.x), float(shape.y)))
    return found


def spots_of_columns(table: Table) -> list[Spot | None]:
    """Read the columns ``riser_lon`` and ``riser_lat``.

    Parameters
    ----------
    table : Table
        Of the valve file.

    Returns
    -------
    list of (tuple of float) or None
        Longitude and latitude of each row [degrees].

    Raises
    ------
    DataError
        Where a cell is no longitude or latitude.
    """
    lon, lat = table.numbers("riser_lon"), table.numbers("riser_lat")
    table.refuse("riser_lon", lon.abs() > 180, "is no longitude", "Write degrees, as -120.5951")
    table.refuse("riser_lat", lat.abs() > 90, "is no latitude", "Write degrees, as 36.9981")
    known = (lon.notna() & lat.notna()).tolist()
    spots = zip(lon.tolist(), lat.tolist(), known, strict=True)
    return [(float(x), float(y)) if here else None for x, y, here in spots]


def near_zones(valves: gpd.GeoDataFrame, where: str) -> Noted[gpd.GeoDataFrame]:
    """Take away risers that lie far from the zone of their valve, and say so.

    Parameters
    ----------
    valves : GeoDataFrame
        As :data:`stressmap.core.schemas.VALVES`, in the working CRS.
    where : str
        File, for the note.

    Returns
    -------
    Noted of GeoDataFrame
    """
    notes = NoteList()
    known = (valves["riser_lon"].notna() & valves["riser_lat"].notna()).to_numpy()
    lon, lat = (valves[name].to_numpy()[known] for name in ("riser_lon", "riser_lat"))
    spots = gpd.GeoSeries(gpd.points_from_xy(lon, lat), crs=WGS84).to_crs(valves.crs).to_numpy()
    placed = np.isfinite(shapely.get_coordinates(spots)).all(axis=1)
    spots[~placed] = shapely.Point(0, 0)
    far = np.zeros(len(valves), dtype=bool)
    far[known] = ~placed | (shapely.distance(spots, valves.geometry.to_numpy()[known]) > FAR_M)
    if far.any():
        names = valves["valve"][far].tolist()
        notes.say("riser_far", "warning", file=where, names=names, count=len(names), metres=FAR_M)
        valves = valves.copy()
        valves.loc[far, ["riser_lon", "riser_lat"]] = np.nan
    return notes.beside(valves)


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()
