"""Draw the two invented ranches, the same files every time.

``python demo_gis/draw_ranch.py`` redraws them beside this script; ``--out DIR`` draws them elsewhere.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from drawing import irrigation, readings, truth, weather, writing
from drawing.ground import planting, valve_zones
from drawing.plans import Ranch
from drawing.south import SOUTH
from drawing.valley import VALLEY


def draw_valley(folder: Path) -> str:
    """Draw the ranch that the demo runs: US units, valve zones in a GeoPackage."""
    return _draw(VALLEY, folder, geopackage=True)


def draw_south(folder: Path) -> str:
    """Draw the small ranch of the southern hemisphere: metric, decimal commas, Spanish headings."""
    return _draw(SOUTH, folder, geopackage=False)


def _draw(ranch: Ranch, folder: Path, *, geopackage: bool) -> str:
    folder.mkdir(parents=True, exist_ok=True)
    zones = valve_zones(ranch)
    trees = planting(ranch, zones)
    hours = weather.hourly(ranch)
    season = readings.Season(ranch, hours, truth.tree_truth(ranch, zones, trees, hours))
    table = readings.draw(season, trees)
    writing.blocks(zones, folder / "blocks.geojson", ranch)
    if geopackage:
        writing.valves_geopackage(zones, folder / "valves.gpkg", ranch)
    else:
        writing.valves_geojson(zones, folder / "valves.geojson", ranch)
    writing.readings(table, folder / "readings.csv", ranch)
    writing.weather(hours, folder / "weather.csv", ranch.dialect)
    writing.irrigation(irrigation.log(ranch, zones), folder / "irrigation.csv", ranch.dialect)
    faults = truth.fault_truth(ranch, zones)
    writing.truth(truth.valve_truth(ranch, zones, season.truth), table, faults, folder)
    return f"{ranch.name}: {len(zones)} valve zones, {len(trees)} trees, {len(table)} readings"


def main() -> None:
    """Draw both ranches."""
    parser = argparse.ArgumentParser(description="Draw the two invented ranches.")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder to draw into")
    out = parser.parse_args().out
    print(draw_valley(out))
    print(draw_south(out / "south"))


if __name__ == "__main__":
    main()
