"""Draw the invented district, eight small ranches under one sky, the same files every time.

``python demo_gis/draw_district.py`` redraws them in ``district/`` beside this script; ``--out DIR`` draws
them elsewhere.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import pandas as pd
from drawing import irrigation, readings, truth, weather, writing
from drawing.district import PLACES, SPANISH, Place
from drawing.ground import planting, valve_zones
from drawing.plans import Block

SETTINGS = """\
# Settings of an invented ranch: no ranch, place, crew or tree in it is real. Paths are relative to this file.

[ranch]
name = "{name}"
timezone = "America/Los_Angeles"
units = "us"
languages = [{languages}]

[files]
readings = "readings.csv"
blocks = "blocks.geojson"
valves = "valves.geojson"
weather = "../weather.csv"          # one station for the whole district
{log}
[reading]
chosen = "by plan"                  # spread over the valve zones, not picked because trees look bad
"""


def draw_weather(folder: Path) -> pd.DataFrame:
    """Draw the hours that all ranches share."""
    hours = weather.hourly(PLACES[0].ranch)
    writing.weather(hours, folder / "weather.csv", PLACES[0].ranch.dialect)
    return hours


def draw_place(place: Place, hours: pd.DataFrame, folder: Path) -> str:
    """Draw one ranch: outlines, valve zones, readings, and its log where it keeps one."""
    folder.mkdir(parents=True, exist_ok=True)
    ranch = place.ranch
    zones = valve_zones(ranch)
    trees = planting(ranch, zones)
    season = readings.Season(ranch, hours, truth.tree_truth(ranch, zones, trees, hours))
    table = readings.draw(season, trees)
    told = replace(ranch, blocks=tuple(_told(block, place) for block in ranch.blocks))
    writing.blocks(zones, folder / "blocks.geojson", told)
    writing.valves_geojson(zones, folder / "valves.geojson", ranch)
    writing.readings(table, folder / "readings.csv", ranch)
    if place.has_log:
        writing.irrigation(irrigation.log(ranch, zones), folder / "irrigation.csv", ranch.dialect)
    (folder / "ranch.toml").write_text(_settings(place), encoding="utf-8", newline="\n")
    return f"{ranch.name}: {len(zones)} valve zones, {len(trees)} trees, {len(table)} readings"


def _told(block: Block, place: Place) -> Block:
    return block if place.knows_soil else replace(block, soil="")


def _settings(place: Place) -> str:
    """Write the ranch's settings: only what it has."""
    spanish = place.ranch.dialect is SPANISH
    return SETTINGS.format(
        name=place.ranch.name,
        languages='"es"' if spanish else '"en", "es"',
        log='irrigation = "irrigation.csv"\n' if place.has_log else "",
    )


def main() -> None:
    """Draw the district."""
    parser = argparse.ArgumentParser(description="Draw the invented district.")
    here = Path(__file__).parent / "district"
    parser.add_argument("--out", type=Path, default=here, help="folder to draw into")
    out = parser.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    hours = draw_weather(out)
    for place in PLACES:
        print(draw_place(place, hours, out / place.slug))


if __name__ == "__main__":
    main()
