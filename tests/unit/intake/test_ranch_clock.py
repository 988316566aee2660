"""Zones and their offsets are those of the IANA time zone database, as the interpreter carries it."""

import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from helpers.told import english

from stressmap.intake.ranch_clock import check_ranch_clock

CALIFORNIA, GALICIA, FIJI = (-121.0, 38.0), (-8.5, 42.9), (179.99, -16.6)


def said(place: tuple[float, float], zone: str, day: str = "2026-07-14") -> list[str]:
    lon, lat = place
    around = GeoDataFrame(geometry=[shapely.box(lon, lat, lon + 0.005, lat + 0.005)], crs="EPSG:4326")
    times = pd.Series(pd.to_datetime([f"{day} 13:30", f"{day} 14:00", None])).dt.tz_localize(zone)
    return english(check_ranch_clock(around.to_crs(around.estimate_utm_crs()), times, zone))


@pytest.mark.parametrize(
    ("zone", "hours"),
    [
        ("UTC", "7 h ahead of"),
        ("America/New_York", "3 h ahead of"),
        ("America/Denver", "1 h ahead of"),
        ("Pacific/Auckland", "19 h ahead of"),
        ("Pacific/Honolulu", "3 h behind"),
    ],
)
def test_a_zone_hours_away_from_the_place_is_said(zone: str, hours: str) -> None:
    (told,) = said(CALIFORNIA, zone)
    assert told.startswith(f"The clock of {zone} is {hours} the clock at the blocks, America/Los_Angeles.")


@pytest.mark.parametrize(
    ("place", "zone", "day"),
    [
        (CALIFORNIA, "America/Los_Angeles", "2026-07-14"),
        (CALIFORNIA, "America/Los_Angeles", "2026-01-14"),
        (CALIFORNIA, "America/Tijuana", "2026-07-14"),
        (GALICIA, "Europe/Madrid", "2026-07-14"),
        (FIJI, "Pacific/Fiji", "2026-07-14"),
    ],
)
def test_a_zone_with_the_clock_of_the_place_passes(place: tuple[float, float], zone: str, day: str) -> None:
    assert said(place, zone, day) == []


def test_without_times_nothing_is_said() -> None:
    none = pd.Series([pd.NaT]).dt.tz_localize("UTC")
    assert (
        check_ranch_clock(GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs="EPSG:32610"), none, "UTC")
        == ()
    )
