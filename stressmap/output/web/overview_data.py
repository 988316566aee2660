"""What ``district.html`` holds: ranches, blocks and valve zones as plain numbers and text, kept short."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from stressmap.core.antimeridian import around, middle_longitude
from stressmap.core.errors import Problem
from stressmap.core.ranch_result import RanchResult
from stressmap.output.text.problem_words import phrase
from stressmap.output.text.words import Language, half_up
from stressmap.output.view.district_content import DistrictContent
from stressmap.output.view.quantities import page_rules
from stressmap.output.view.ranch_folders import WGS84, MappedRanch
from stressmap.output.view.rows import rows
from stressmap.output.web.coded_numbers import fixed, outlines, short_names, vlq

SIMPLER_M = 3.0
"""Corners that change the outline of a block by less are left out [m]."""
SIMPLER_ZONES_M = 8.0
"""For valve zones, whose common borders stay common: the root of the area of a corner left out [m]."""
PAST = 5
"""Code of a valve zone past what its crop bears; else its priority, 0 where the block was not measured."""
NO_DAY = 0
"""Days count back, that of the newest visit being 1; those after it are negative."""
Drawn = tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]
"""Blocks and valve zones of a ranch, in degrees."""
NO_FIGURE = -30_000
"""Stands for a figure that is missing, in tenths of a bar."""


def overview_data(content: DistrictContent) -> tuple[dict[str, Any], Iterator[tuple[str, str]]]:
    """Gather what the page shows, and what it shows of valve zones as far as there is room.

    Parameters
    ----------
    content : DistrictContent
        Of a district.

    Returns
    -------
    dict
        Numbers, text and lists only. ``blocks`` and ``valves`` hold a text a column
        (:mod:`stressmap.output.web.coded_numbers`), ranch by ranch in the order of ``ranches``, valves block
        by block.
    iterator of (str, str)
        The place of a ranch among those that were mapped, and the outlines of its valve zones; the most
        urgent ranch first.
    """
    newest = max((one.visit[1] for one in content.results if one.visit), default=None)
    place = {ranch.result.slug: at for at, ranch in enumerate(content.ranches)}
    middle = _middle(content.ranches)
    drawn = [_drawn(ranch, content.valves, middle) for ranch in content.ranches]
    crops = sorted({str(crop) for blocks, _ in drawn for crop in blocks["crop"]})
    data = {
        "name": content.name,
        "units": content.units,
        "quantities": page_rules(content.units),
        "newest": None if newest is None else newest.isoformat(),
        "crops": crops,
        "ranches": [
            _ranch(result, title, content, drawn, place.get(result.slug))
            for result, title in zip(content.results, content.titles, strict=True)
        ],
        "blocks": _blocks([blocks for blocks, _ in drawn], crops),
        "valves": _valves(drawn, newest),
    }
    return data, _zones([valves for _, valves in drawn])


def _drawn(ranch: MappedRanch, ranked: gpd.GeoDataFrame, middle: float) -> Drawn:
    """Give the blocks and valve zones of a ranch in degrees, valves in the order of their blocks."""
    blocks = ranch.blocks.sort_values("block", ignore_index=True)
    valves = ranked[ranked["ranch"] == ranch.title].to_crs(blocks.crs)
    place = {block: at for at, block in enumerate(blocks["block"])}
    valves = valves.assign(_at=[place.get(block, len(place)) for block in valves["block"]])
    valves = valves.sort_values(["_at", "valve"], ignore_index=True)
    valves = valves[valves["_at"] < len(place)]
    zones = valves.geometry.to_numpy()
    if len(zones) and shapely.coverage_is_valid(zones):
        zones = shapely.coverage_simplify(zones, SIMPLER_ZONES_M)
    else:
        zones = shapely.simplify(zones, SIMPLER_M)
    outer = shapely.simplify(blocks.geometry.to_numpy(), SIMPLER_M)
    return _in_degrees(blocks, outer, middle), _in_degrees(valves, zones, middle)


def _in_degrees(table: gpd.GeoDataFrame, shapes: np.ndarray[Any, Any], middle: float) -> gpd.GeoDataFrame:
    """Give a table other shapes, in degrees without a jump where the meridian of 180 degrees is."""
    degrees = gpd.GeoSeries(shapes, crs=table.crs).to_crs(WGS84).to_numpy()

    def joined(corners: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        return np.column_stack([around(corners[:, 0], middle), corners[:, 1]])

    moved = shapely.transform(degrees, joined)
    return table.set_geometry(gpd.GeoSeries(moved, index=table.index, crs=WGS84))


def _middle(ranches: Sequence[MappedRanch]) -> float:
    boxes = [ranch.valves.total_bounds for ranch in ranches if len(ranch.valves)]
    if not boxes:
        return 0.0
    west, _, east, _ = np.array(boxes).T
    return middle_longitude(float(west.min()), float(east.max()))


def _ranch(
    result: RanchResult,
    title: str,
    content: DistrictContent,
    drawn: Sequence[Drawn],
    place: int | None,
) -> dict[str, Any]:
    told: dict[str, Any] = {
        "name": title,
        "folder": result.slug,
        "visit": None if result.visit is None else [day.isoformat() for day in result.visit],
        "problems": [[p.where, p.row, p.column, p.what, p.remedy] for p in result.problems],
    }
    if result.problems:
        told["said"] = {lang: _said(result.problems, lang) for lang in content.languages if lang != "en"}
    if place is None:
        return told
    ranch, (blocks, valves) = content.ranches[place], drawn[place]
    return (
        told
        | ({"lenders": ranch.lenders} if ranch.lenders else {})
        | {
            "mapped": True,
            "rankBy": ranch.rank_by,
            "used": ranch.counts.get("used"),
            "area": _decimal(float(valves["area_ha"].astype(float).sum()), 2),
            "blocks": len(blocks),
            "water": _water(content, result.slug),
            "planned": _planned(content, result.slug),
        }
    )


def _said(problems: Sequence[Problem], language: Language) -> list[list[str | None]]:
    """Say what is wrong and what to do in a language; None where only English has words for it."""
    return [[phrase("what", one.what, language), phrase("remedy", one.remedy, language)] for one in problems]


def _water(content: DistrictContent, slug: str) -> list[float | None] | None:
    """Give a ranch's part of the shared volume, equal parts by area, and its need [m3]."""
    if content.shared is None:
        return None
    own = [row for row in rows(content.shared.table) if row["slug"] == slug]
    if not own:
        return None
    names = ("share_m3", "equal_share_m3", "need_m3")
    return [None if own[0][name] is None else _decimal(own[0][name], 1) for name in names]


def _planned(content: DistrictContent, slug: str) -> bool:
    """Tell whether a ranch has a plan with its part of the shared volume."""
    if content.shared is None:
        return False
    table = content.shared.table
    return bool(table.loc[table["slug"] == slug, "planned_m3"].notna().any())


def _blocks(tables: Sequence[gpd.GeoDataFrame], crops: list[str]) -> dict[str, str]:
    whole = list(_each(tables))
    at = {crop: place for place, crop in enumerate(crops)}
    return {
        "names": short_names([str(row["block"]) for row in whole]),
        "crop": vlq(at[str(row["crop"])] for row in whole),
        "readings": vlq(int(row["readings"]) for row in whole),
        "shapes": outlines(row["geometry"] for row in whole),
    }


def _valves(drawn: Sequence[Drawn], newest: dt.date | None) -> dict[str, str]:
    whole = list(_each(valves for _, valves in drawn))
    counted = [np.bincount(valves["_at"], minlength=len(blocks)) for blocks, valves in drawn]
    return {
        "count": vlq(np.concatenate([np.zeros(0, dtype=int), *counted]).tolist()),
        "names": short_names([str(row["valve"]) for row in whole]),
        "rank": fixed([row["rank"] or 0 for row in whole]),
        "code": vlq(_code(row) for row in whole),
        "stress": vlq(_tenths(row["stress_bar"]) for row in whole),
        "se": vlq(_tenths(row["stress_se_bar"]) for row in whole),
        "readings": vlq(int(row["readings"]) for row in whole),
        "watered": vlq(_days_back(row["last_irrigated"], newest) for row in whole),
        "due": _if_any(_days_back(row["due"], newest) for row in whole),
        "early": _if_any(_days_back(row["due_early"], newest) for row in whole),
        "late": _if_any(_days_back(row["due_late"], newest) for row in whole),
    }


def _zones(tables: Sequence[gpd.GeoDataFrame]) -> Iterator[tuple[str, str]]:
    """Write the valve zones ranch by ranch, the most urgent first."""
    order = sorted(range(len(tables)), key=lambda at: (_first_rank(tables[at]), at))
    return ((str(at), outlines(tables[at].geometry)) for at in order)


def _first_rank(table: gpd.GeoDataFrame) -> float:
    ranks = table["rank"].dropna()
    return float(ranks.min()) if len(ranks) else math.inf


def _each(tables: Iterable[pd.DataFrame]) -> Iterable[Mapping[str, Any]]:
    for table in tables:
        yield from rows(table)


def _code(row: Mapping[str, Any]) -> int:
    if not row["measured"]:
        return 0
    return PAST if row["past_limit"] else int(row["priority"])


def _tenths(bar: float | None) -> int:
    """Round a figure to tenths, as it is shown."""
    return NO_FIGURE if bar is None else int(half_up(bar, 1) * 10)


def _decimal(value: float, digits: int) -> float:
    return float(half_up(value, digits))


def _days_back(moment: Any, newest: dt.date | None) -> int:
    """Count the days from a moment to the day after the newest visit; 0 for none, negative for later."""
    if moment is None or newest is None:
        return NO_DAY
    back = (newest - dt.date.fromisoformat(str(moment)[:10])).days
    return back + 1 if back >= 0 else back


def _if_any(days: Iterable[int]) -> str:
    kept = list(days)
    return vlq(kept) if any(kept) else ""
