"""A drawn ranch that was read before: the change of each valve zone, and a reading of then in every block."""

import dataclasses
import datetime as dt
from collections.abc import Sequence

import geopandas as gpd
import pandas as pd

from helpers.drawn_content import CRS, ZONE
from stressmap.output.view.content import Content

BEFORE = dt.date(2026, 6, 30)
SLOPE_PART = 0.2
"""Error of the weather's part, of a bar: as ``agronomy.visit_weather`` has it."""


def moved(content: Content, gauge_bar: float | Sequence[float], weather_bar: float = 0.0) -> Content:
    """Let the gauge of every valve zone show so much more than then, the target moving with the weather."""
    valves, se = content.valves, 0.6
    gauge = pd.Series(gauge_bar, index=valves.index, dtype=float)
    trees = gauge - weather_bar
    both = (valves["stress_se_bar"] ** 2 + se**2 + (SLOPE_PART * weather_bar) ** 2) ** 0.5
    said = ["drier" if t > 1.6 * e else "relieved" if t < -1.6 * e else "no clear change"
            for t, e in zip(trees, both, strict=True)]  # fmt: skip
    changed = valves.assign(
        gauge_change_bar=gauge, weather_change_bar=weather_bar, trees_change_bar=trees, change_bar=trees,
        change_se_bar=both, change=said, target_change_bar=weather_bar, irrigated_between=True,
    )  # fmt: skip
    old = content.readings[content.readings["block"].notna()].drop_duplicates("block")
    old = old.assign(time=pd.Timestamp("2026-06-30 13:20", tz=ZONE), used=False, flags="outside_visit")
    old["tree_id"] = [f"old/{k}" for k in range(len(old))]
    readings = gpd.GeoDataFrame(pd.concat([content.readings, old], ignore_index=True), crs=CRS)
    return dataclasses.replace(content, valves=changed, readings=readings, previous_visit=BEFORE)
