"""A finished run as the plain lists that ``map.html`` carries: WGS 84, rounded, no tables past here."""

from __future__ import annotations

import datetime as dt
import math
from decimal import ROUND_DOWN, Decimal
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from stressmap.core.antimeridian import around, middle_longitude
from stressmap.core.row_names import row_names
from stressmap.output.text.note_words import sentence, sentences
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import FEW_TREES
from stressmap.output.view.daily_sets import Spell, spells
from stressmap.output.view.first_look import HOW_CHOSEN
from stressmap.output.view.layout import middle
from stressmap.output.view.palette import DRY_RAMP, UNSURE_RAMP
from stressmap.output.view.plan_dry import why_closed
from stressmap.output.view.quantities import page_rules
from stressmap.output.view.rows import rows
from stressmap.output.view.season_line import due_text, season_line
from stressmap.output.view.selections import (
    clock,
    flag_codes,
    measured_blocks,
    sets_by_valve,
    tied_ranks,
)
from stressmap.output.view.water_words import WaterWords
from stressmap.output.view.where_to_open import opening_places
from stressmap.output.web.other_visits import nearest_in_time, pack_others
from stressmap.output.web.surface_images import Picture, draw_surface
from stressmap.quality.record_spans import QUIET_DAYS
from stressmap.zoning.change import UNCLEAR

WGS84 = "EPSG:4326"
OTHER_VISIT = "outside_visit"
MICRO = 1_000_000
"""Coordinates are whole millionths of a degree, a decimetre."""


def map_data(content: Content) -> dict[str, Any]:
    """Gather everything the map shows.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    dict
        Numbers, text and lists only; figures in bar and hectares; missing ones ``None``.
    """
    middle_of_ranch = _middle_longitude(content.blocks)
    blocks, valves, zones, readings = (
        _degrees(table, middle_of_ranch)
        for table in (content.blocks, content.valves, _smoothed(content), _named_rows(content))
    )
    other = np.array([OTHER_VISIT in flag_codes(flags) for flags in readings["flags"]], dtype=bool)
    others = nearest_in_time(readings[other], content.visit)
    return {
        "ranch": content.ranch.name,
        "visit": [day.isoformat() for day in content.visit],
        "log": _log(content),
        "units": content.ranch.units,
        "zone": content.ranch.timezone,
        "gauge": content.gauge_unit,
        "quantities": page_rules(content.ranch.units),
        "rankBy": content.rank_by,
        "method": content.method,
        "fewTrees": FEW_TREES,
        "heatOut": content.vpd_kpa is not None,
        "edges": {crop: list(edges) for crop, edges in content.edges_bar.items()},
        "notes": {
            language: list(sentences(content.notes, Words(language, content.ranch.units)))
            for language in content.ranch.languages
        },
        "said": {
            language: [sentence(note, Words(language)) for note in content.notes if note.code in HOW_CHOSEN]
            for language in content.ranch.languages
        },
        "blocks": [_block(row) for row in rows(blocks)],
        "valves": _valves(content, rows(valves), _openings(content, middle_of_ranch)),
        "zones": [_zone(row) for row in rows(zones)],
        "readings": [_reading(row) for row in rows(readings[~other])],
        "others": pack_others([_reading(row) for row in rows(others)], int(other.sum())),
        "again": _look_again(content, middle_of_ranch),
        "round": _round_day(content),
        "images": _images(content, middle_of_ranch),
        "basemap": content.basemap,
    }


def _openings(content: Content, middle_of_ranch: float) -> dict[str, list[Any]]:
    """Give where each valve is opened: latitude, longitude, what is there, and the side of its zone."""
    places = opening_places(content)
    points = gpd.GeoDataFrame(geometry=[one.point for one in places.values()], crs=content.valves.crs)
    degrees = _degrees(points, middle_of_ranch).geometry
    return {
        valve: [round(point.y, 6), round(point.x, 6), place.kind, place.side]
        for (valve, place), point in zip(places.items(), degrees, strict=True)
    }


def _valves(
    content: Content, table: list[dict[str, Any]], openings: dict[str, list[Any]]
) -> list[dict[str, Any]]:
    measured, sets = measured_blocks(content), sets_by_valve(content)
    spoken = [WaterWords(language, content.ranch.units) for language in content.ranch.languages]
    plans = {} if content.water_plan is None else {row["valve"]: row for row in rows(content.water_plan)}
    ties = tied_ranks(table)
    trees, in_block = content.trees["valve"], content.trees["block"]
    return [
        _valve(row, measured)
        | {
            "open": openings[row["valve"]],
            "unread": row["valve"] in content.log_unread,
            "trees": trees.get(row["valve"], 0),
            "blockTrees": in_block.get(row["block"], 0),
            "tied": ties.get(row.get("tied_group") or 0),
            "plan": _plan(plans.get(row["valve"]), sets.get(row["valve"], []), spoken),
            "change": _change(row, content.previous_visit),
            "season": _season(row, content),
        }
        for row in table
    ]


def _season(row: dict[str, Any], content: Content) -> dict[str, list[str]] | None:
    """Say in each language when a valve is due, and how long it has been without water."""
    today = content.season_day
    if today is None:
        return None
    spoken = [Words(language, content.ranch.units) for language in content.ranch.languages]
    return {words.language: [due_text(row, today, words), season_line(row, today, words)] for words in spoken}


def _plan(
    row: dict[str, Any] | None, sets: list[dict[str, Any]], spoken: list[WaterWords]
) -> dict[str, Any] | None:
    if row is None:
        return None
    return {
        "why": None if row["hours"] else {words.language: why_closed(row, words) for words in spoken},
        "hours": _cut(row["hours"], 5),
        "mm": _cut(row.get("mm"), 3),
        "m3": _cut(row.get("m3"), 3),
        "look": list(row.get("inspect") or ()),
        "sets": [_spell(one) for one in spells(sets)],
    }


def _spell(spell: Spell) -> list[Any]:
    """Give opening and closing, and where it is so day after day, how many times and the last day."""
    daily = [spell.count, spell.last.date().isoformat()] if spell.count > 1 else []
    return [clock(spell.start), clock(spell.end), *daily]


def _log(content: Content) -> dict[str, Any] | None:
    """Give the last day of the log, and whether that is long before the visit; None without a log."""
    if content.log_ends is None:
        return None
    early = content.visit[1] - content.log_ends > dt.timedelta(days=QUIET_DAYS)
    return {"ends": content.log_ends.isoformat(), "early": early}


def _change(row: dict[str, Any], since: dt.date | None) -> dict[str, Any] | None:
    bar = row.get("change_bar")
    if since is None or bar is None:
        return None
    return {
        "bar": _cut(bar),
        "gauge": _cut(row.get("gauge_change_bar")),
        "weather": _cut(row.get("weather_change_bar")),
        "target": _cut(row.get("target_change_bar")),
        "clear": row["change"] != UNCLEAR,
        "since": since.isoformat(),
        "watered": row.get("irrigated_between"),
    }


def _round_day(content: Content) -> dict[str, str] | None:
    """Give the day of the next round in each language, where one is planned."""
    if content.next_round is None:
        return None
    ranch = content.ranch
    return {name: Words(name, ranch.units).day(content.next_round.day) for name in ranch.languages}


def _look_again(content: Content, middle_of_ranch: float) -> list[dict[str, Any]]:
    """Give the stops of the next round where one is planned, else the places to look again."""
    if content.next_round is not None:
        table = content.next_round.stops
        stops = _spots(table, middle_of_ranch)
        clocks = zip(table["bag_clock"], table["read_clock"], strict=True)
        return [stop | {"bag": bag, "read": read} for stop, (bag, read) in zip(stops, clocks, strict=True)]
    return [] if content.look_again is None else _spots(content.look_again, middle_of_ranch)


def _spots(table: gpd.GeoDataFrame, middle_of_ranch: float) -> list[dict[str, Any]]:
    return [
        {
            "tree": None if row.get("tree_id") is None else str(row["tree_id"]),
            "block": row.get("block"),
            "valve": row.get("valve"),
            "at": [round(row["geometry"].y, 6), round(row["geometry"].x, 6)],
        }
        for row in rows(_degrees(table, middle_of_ranch))
    ]


def _middle_longitude(blocks: gpd.GeoDataFrame) -> float:
    west, _, east, _ = blocks.to_crs(WGS84).total_bounds
    return middle_longitude(float(west), float(east))


def _degrees(table: gpd.GeoDataFrame, middle_of_ranch: float) -> gpd.GeoDataFrame:
    """Bring a table to longitudes and latitudes without a jump where the meridian of 180 degrees is."""
    degrees = table.to_crs(WGS84)

    def joined(places: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack([around(places[:, 0], middle_of_ranch), places[:, 1]])

    shapes = shapely.transform(degrees.geometry.to_numpy(), joined)
    return degrees.set_geometry(gpd.GeoSeries(shapes, index=degrees.index, crs=WGS84))


def _block(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "block": row["block"],
        "crop": row.get("crop"),
        "readings": row.get("readings"),
        "shape": _shape(row["geometry"]),
    }


def _valve(row: dict[str, Any], measured: set[str]) -> dict[str, Any]:
    point = middle(row["geometry"])
    return {
        "rank": row["rank"],
        "valve": row["valve"],
        "block": row["block"],
        "crop": row["crop"],
        "measured": row["block"] in measured,
        "priority": row["priority"],
        "readings": row["readings"],
        "area": _cut(row["area_ha"], 5),
        "stress": _cut(row["stress_bar"]),
        "se": _cut(row["stress_se_bar"]),
        "low": _cut(row["low_bar"]),
        "high": _cut(row["high_bar"]),
        "swp": _cut(row["swp_bar"]),
        "target": _cut(row["target_bar"]),
        "allowance": _cut(row.get("allowance_bar")),
        "pastLimit": bool(row.get("past_limit")),
        "baseline": _cut(row["baseline_bar"]),
        "pFirst": _chance(row["p_first"]),
        "confidence": _chance(row["confidence"]),
        "last": clock(row.get("last_irrigated")),
        "at": [round(point.y, 6), round(point.x, 6)],
        "shape": _shape(row["geometry"]),
    }


def _zone(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "block": row["block"],
        "measured": row["measured"],
        "priority": row["priority"],
        "area": _cut(row["area_ha"], 5),
        "stress": _cut(row["stress_bar"]),
        "se": _cut(row["stress_se_bar"]),
        "confidence": _chance(row["confidence"]),
        "shape": _shape(row["geometry"]),
    }


def _named_rows(content: Content) -> gpd.GeoDataFrame:
    """Give the readings, their rows with the file where there are several."""
    return content.readings.assign(row=row_names(content.readings))


def _reading(row: dict[str, Any]) -> dict[str, Any]:
    place = row.get("geometry")
    at = None if place is None or place.is_empty else [round(place.y, 6), round(place.x, 6)]
    return {
        "row": row["row"],
        "tree": None if row.get("tree_id") is None else str(row["tree_id"]),
        "time": clock(row.get("time")),
        "used": bool(row["used"]),
        "flags": flag_codes(row.get("flags")),
        "block": row.get("block"),
        "valve": row.get("valve"),
        "pressure": _cut(row.get("pressure_bar"), 3),
        "swp": _cut(row.get("swp_bar")),
        "stress": _cut(row.get("stress_bar")),
        "predicted": _cut(row.get("predicted_bar")),
        "vpd": _cut(row.get("vpd_kpa")),
        "tooWet": bool(row.get("too_wet")),
        "at": at,
    }


def _cut(value: Any, digits: int = 2) -> float | None:
    """Shorten a figure towards zero: unlike rounding, that cannot change how its first decimals round."""
    if value is None:
        return None
    return float(Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), ROUND_DOWN)) + 0.0


def _chance(value: Any) -> float | None:
    """Shorten a chance, so that one that is not quite nothing does not become nothing."""
    return None if value is None else max(_cut(value, 3) or 0.0, min(float(value), 0.001))


def _shape(geometry: BaseGeometry) -> list[list[list[int]]]:
    """Encode polygons, their rings, and each ring as steps of latitude and longitude [1e-6 degrees]."""
    parts = getattr(geometry, "geoms", [geometry])
    return [[_steps(ring) for ring in (part.exterior, *part.interiors)] for part in parts]


def _steps(ring: Any) -> list[int]:
    corners = np.rint(shapely.get_coordinates(ring)[:-1, ::-1] * MICRO).astype(np.int64)
    corners[1:] -= corners[:-1].copy()
    steps: list[int] = corners.ravel().tolist()
    return steps


def _smoothed(content: Content) -> gpd.GeoDataFrame:
    """Take the cells' stair-steps out of the drawn zones, shared borders staying shared."""
    zones = content.zones
    if zones.empty or not shapely.coverage_is_valid(zones.geometry.to_numpy()):
        return zones
    drawn = shapely.coverage_simplify(zones.geometry.to_numpy(), content.raster.cell_m / 2)
    return zones.set_geometry(gpd.GeoSeries(drawn, index=zones.index, crs=zones.crs))


def _images(content: Content, middle_of_ranch: float) -> dict[str, dict[str, Any]]:
    raster = content.raster
    if not len(raster.stress_bar) or not np.isfinite(raster.stress_bar).any():
        return {}
    edges = [edge for edges in content.edges_bar.values() for edge in edges]
    stress = draw_surface(
        raster, raster.stress_bar, DRY_RAMP, _span(raster.stress_bar, at_least=(min(edges), max(edges)))
    )
    unsure = draw_surface(raster, raster.stress_se_bar, UNSURE_RAMP, _span(raster.stress_se_bar))
    return {"surface": _image(stress, middle_of_ranch), "uncertainty": _image(unsure, middle_of_ranch)}


def _span(values: Any, *, at_least: tuple[float, float] | None = None) -> tuple[float, float]:
    """Choose the ends of a ramp [bar], on whole halves, so that two visits look alike."""
    low, high = np.nanpercentile(values, [1, 99])
    if at_least is not None:
        low, high = min(low, at_least[0]), max(high, at_least[1])
    low, high = math.floor(2 * low) / 2, math.ceil(2 * high) / 2
    return (low, high) if high > low else (low, low + 0.5)


def _image(picture: Picture, middle_of_ranch: float) -> dict[str, Any]:
    south, west, north, east = picture.corners
    west, east = around(np.array([west, east]), middle_of_ranch).round(7).tolist()
    return {
        "uri": picture.uri,
        "corners": [south, west, north, east],
        "low": picture.low,
        "high": picture.high,
    }
