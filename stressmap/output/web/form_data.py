"""What the field form is filled with, as plain lists: WGS 84, rounded, no tables past here."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from stressmap.agronomy.crops import CropProfile
from stressmap.core.settings import Settings
from stressmap.core.units import BAR_PER
from stressmap.output.text.form_words import form_texts
from stressmap.output.text.words import Words
from stressmap.output.view.crop_words import crop_title

DECIMALS = {"bar": (2, 1), "MPa": (3, 2), "kPa": (0, 0), "psi": (1, 0)}
"""Decimals that may be typed, and that are shown, by the unit of the gauge."""
OUTLINE_M = 1.0
"""Corners of outlines nearer to a straight line than this are left out."""
PLACES = 6
"""Decimals of a degree in outlines: a tenth of a metre."""


@dataclass(frozen=True)
class FormContent:
    """What a ranch gives its form.

    Parameters
    ----------
    settings : Settings
        The ranch's.
    key : str
        The ranch's name, harmless as a name of the phone's store.
    blocks, valves : GeoDataFrame
        As :mod:`stressmap.core.schemas` states them.
    profiles : mapping of str to CropProfile
        Of the crops that are grown.
    trees : DataFrame
        ``tree_id``, ``block``, ``valve``, ``lon``, ``lat``, ``last_bar``, ``last_day``: a row per tree known.
    stops : DataFrame or None
        As :func:`stressmap.intake.planned_work.read_round` gives them.
    sets : DataFrame or None
        As :func:`stressmap.intake.planned_work.read_timetable` gives them.
    """

    settings: Settings
    key: str
    blocks: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    profiles: Mapping[str, CropProfile]
    trees: pd.DataFrame
    stops: pd.DataFrame | None = None
    sets: pd.DataFrame | None = None


def form_data(content: FormContent) -> dict[str, Any]:
    """Gather all that the form's page needs to know.

    Parameters
    ----------
    content : FormContent
        Of one ranch.

    Returns
    -------
    dict
        Plain numbers and text, the same for the same content.
    """
    ranch = content.settings.ranch
    crops = dict(zip(content.blocks["block"], content.blocks["crop"], strict=True))
    return {
        "ranch": {
            "name": ranch.name,
            "key": content.key,
            "zone": ranch.timezone,
            "temperature": "F" if ranch.units == "us" else "C",
            "length": "feet" if ranch.units == "us" else "metres",
        },
        "languages": list(ranch.languages),
        "rules": _rules(content.settings),
        "blocks": _outlines(content.blocks, "block", "crop"),
        "valves": _outlines(content.valves, "valve", "block"),
        "trees": _trees(content, crops),
        "sets": _sets(content.sets),
        "words": {language: _texts(content, Words(language, ranch.units)) for language in ranch.languages},
    }


def _texts(content: FormContent, words: Words) -> dict[str, dict[str, str]]:
    crops = {crop: crop_title(crop, content.profiles, words) for crop in content.profiles}
    return form_texts(words.language) | {"crop": crops}


def _rules(settings: Settings) -> dict[str, Any]:
    reading = settings.reading
    typed, shown = DECIMALS[reading.unit]
    return {
        "unit": reading.unit,
        "barPerUnit": BAR_PER[reading.unit],
        "decimals": typed,
        "shownDecimals": shown,
        "window": [_minutes(clock) for clock in reading.window],
        "windowText": [clock.strftime("%H:%M") for clock in reading.window],
        "bagMinutes": reading.bag_minutes,
        "recheckBar": reading.recheck_bar,
        "possibleBar": list(reading.possible_bar),
    }


def _minutes(clock: dt.time) -> float:
    return clock.hour * 60 + clock.minute + clock.second / 60


def _outlines(table: gpd.GeoDataFrame, name: str, beside: str) -> list[dict[str, Any]]:
    plain = table.geometry.simplify(OUTLINE_M).to_crs("EPSG:4326")
    columns = zip(table[name], table[beside], plain, strict=True)
    return [{"name": own, beside: _text(other), "rings": _rings(shape)} for own, other, shape in columns]


def _rings(shape: Any) -> list[list[list[float]]]:
    parts = shapely.get_parts(shape)
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return [np.round(shapely.get_coordinates(ring), PLACES).tolist() for ring in rings]


def _trees(content: FormContent, crops: Mapping[str, str]) -> list[dict[str, Any]]:
    """List the trees known and those of the round, each once."""
    found: dict[str, dict[str, Any]] = {}
    for row in content.trees.to_dict("records"):
        tree = _tree(row, crops) | {"last": _number(row["last_bar"], 2), "lastDay": str(row["last_day"])}
        found[_free(_key(tree), found)] = tree
    if content.stops is not None:
        for order, row in enumerate(content.stops.to_dict("records")):
            key = _key(row)
            found[key] = found.get(key, _tree(row, crops)) | _stop(row, order)
    return [tree | {"key": key} for key, tree in found.items()]


def _tree(row: Mapping[Hashable, Any], crops: Mapping[str, str]) -> dict[str, Any]:
    block = _text(row["block"])
    place = {"lon": _number(row["lon"], 7), "lat": _number(row["lat"], 7)}
    tree = {"tree_id": str(row["tree_id"]), "block": block, "valve": _text(row["valve"]), **place}
    return tree | {"crop": None if block is None else crops.get(block)}


def _stop(row: Mapping[Hashable, Any], order: int) -> dict[str, Any]:
    figures = {"expected": "expected", "low": "expected_low", "high": "expected_high"}
    return {
        "stop": _text(row["stop"]) or str(order + 1),
        "order": order,
        "crew": _text(row["crew"]),
        "row": _text(row["row"]),
        "bagClock": _text(row["bag_clock"]),
        "readClock": _text(row["read_clock"]),
        "why": {language: _text(row[f"why_{language}"]) for language in ("en", "es")},
        **{own: _number(row[theirs], 2) for own, theirs in figures.items()},
    }


def _key(tree: Mapping[Any, Any]) -> str:
    """Name a tree the same in every form of the ranch."""
    return f"{_text(tree['block']) or ''} / {str(tree['tree_id']).strip()}".lower()


def _free(key: str, taken: Mapping[str, Any]) -> str:
    """Tell trees of one name in one block apart."""
    count = 1
    while (own := key if count == 1 else f"{key} #{count}") in taken:
        count += 1
    return own


def _sets(sets: pd.DataFrame | None) -> list[dict[str, Any]]:
    if sets is None:
        return []
    texts = [{name: _text(row[name]) or "" for name in ("code", "valve", "block", "pump")}
             for row in sets.to_dict("records")]  # fmt: skip
    times = zip(sets["start"], sets["end"], strict=True)
    return [
        one | {"plannedStart": _milliseconds(start), "plannedEnd": _milliseconds(end)}
        for one, (start, end) in zip(texts, times, strict=True)
    ]


def _milliseconds(when: dt.datetime) -> int:
    return round(when.timestamp() * 1000)


def _text(value: Any) -> str | None:
    """Give a cell as text, None where it is empty."""
    missing = value is None or (isinstance(value, float) and math.isnan(value)) or value == ""
    return None if missing else str(value)


def _number(value: Any, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits)
