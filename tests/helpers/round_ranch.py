"""A ranch of three blocks with rows, and a surface of known errors, for rounds. All figures invented."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import shapely

from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.zone_covariance import ZoneCovariance
from stressmap.rounds.round import (
    CrewRules,
    HourlyTargets,
    ReadingHours,
    RoundTask,
    SeasonWants,
    StandingTree,
)
from stressmap.zoning.grid_cells import lattice
from stressmap.zoning.mapping import RanchLayout
from stressmap.zoning.ranking import ZoneMeans
from stressmap.zoning.value_of_information import WateringDecision

ZONE = ZoneInfo("America/Los_Angeles")
CRS = "EPSG:32610"
X, Y = 600_000.0, 4_000_000.0
NOISE = 0.8


class KnownErrors:
    """Errors of two parts: one shared by a valve zone, one fading over 100 m. The mean is 2 bar anywhere."""

    method = "structured"
    notes = ()

    def predict(self, places: Places) -> Estimate:
        return Estimate(np.full(len(places), 2.0), np.full(len(places), 1.5))

    def zone_covariance(self, places: Places, zone: np.ndarray, count: int) -> ZoneCovariance:
        inside = zone >= 0
        mean = np.zeros((count, int(inside.sum())))
        mean[zone[inside], np.arange(mean.shape[1])] = 1.0
        mean /= mean.sum(axis=1, keepdims=True)
        xy, valve = places.xy[inside], places.valve[inside]
        apart = np.hypot(*np.moveaxis(xy[:, None] - xy[None], -1, 0))
        each = 0.7 * np.equal.outer(valve, valve) + 0.8 * np.exp(-apart / 100)
        return ZoneCovariance(mean @ each @ mean.T, NOISE)


def ground(*, rows: bool = True) -> RanchLayout:
    boxes = [shapely.box(X + a, Y, X + a + 280, Y + 240) for a in (0, 300, 600)]
    halves = [shapely.box(X + a + h, Y, X + a + h + 140, Y + 240) for a in (0, 300, 600) for h in (0, 140)]
    known = {"row_spacing_m": 6.0, "tree_spacing_m": 5.0, "row_bearing": 0.0} if rows else {}
    blocks = gpd.GeoDataFrame({"block": ["A", "B", "C"], "crop": "almond", **known}, geometry=boxes, crs=CRS)
    named = {"valve": ["A1", "A2", "B1", "B2", "C1", "C2"], "block": list("AABBCC")}
    valves = gpd.GeoDataFrame(named, geometry=halves, crs=CRS)
    return RanchLayout(blocks, valves, lattice(blocks, 20.0, "ranch.toml"))


STANDING = tuple(
    StandingTree(name, (X + x, Y + y), name[0], valve, visits, at_last=visits > 1)
    for name, x, y, valve, visits in (
        ("A-1", 60, 100, "A1", 3), ("A-2", 200, 60, "A2", 1), ("B-1", 370, 120, "B1", 2),
        ("B-2", 500, 150, "B2", 1), ("B-edge", 303, 120, "B1", 2), ("C-1", 680, 90, "C1", 1),
    )
)  # fmt: skip


def task(**changed: object) -> RoundTask:
    """Make a task of one crew from 13:00 to 15:00, bags from 12:40 on."""
    at = [
        dt.datetime(2026, 7, 21, hour, minute, tzinfo=ZONE) for hour, minute in ((13, 0), (15, 0), (12, 40))
    ]
    figures = ZoneMeans(np.array([2.0, 3.0, 2.4, 2.6, 5.0, 0.0]), np.full(6, 1.0))
    usual = {
        "surface": KnownErrors(),
        "ground": ground(),
        "decision": WateringDecision(figures, np.full(6, 3.4), 2.5),
        "hours": ReadingHours(*at),
        "rules": CrewRules(),
        "standing": STANDING,
        "wants": SeasonWants(),
        "targets": HourlyTargets(np.array([0.0, 120.0]), np.array([[10.0, 11.0]] * 3)),
    }
    return RoundTask(**(usual | changed))  # type: ignore[arg-type]
