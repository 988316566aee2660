"""The map of a ranch on both sides of the meridian of 180 degrees: all in one piece and at its place."""

import base64
import io

import numpy as np
import pytest
from helpers.across_180 import across
from helpers.drawn_content import full
from PIL import Image
from pyproj import Geod

from stressmap.output.gis.geojson import to_wgs84
from stressmap.output.web.map_data import MICRO, map_data
from stressmap.output.web.map_page import render

ZONES = pytest.mark.parametrize("zone", ["EPSG:32760", "EPSG:32701"], ids=["from the west", "from the east"])


def longitudes(data: dict) -> np.ndarray:
    """Every longitude of the map's data: corners of shapes, places and pictures."""
    rings = [
        np.cumsum(np.reshape(ring, (-1, 2)), axis=0)[:, 1] / MICRO
        for name in ("blocks", "valves", "zones")
        for item in data[name]
        for part in item["shape"]
        for ring in part
    ]
    places = [
        one["at"][1]
        for name in ("valves", "readings", "again")
        for one in data[name]
        if one["at"] is not None
    ]
    pictures = [image["corners"][side] for image in data["images"].values() for side in (1, 3)]
    return np.concatenate([*rings, places, pictures])


@ZONES
def test_everything_lies_together(zone: str) -> None:
    content = across(zone)
    found = longitudes(map_data(content))
    assert np.ptp(found) < 0.02
    both = to_wgs84(content.readings).geometry.dropna().x
    assert both.min() < 0 < both.max(), "the ranch does not lie on both sides"


@ZONES
def test_readings_on_both_sides_lie_where_they_were_taken(zone: str) -> None:
    """Distances on the WGS 84 ellipsoid are those of the UTM grid but for its scale, up to 1.001 there."""
    content = across(zone)
    data = map_data(content)
    at = np.array([one["at"] for one in data["readings"] if one["at"] is not None])
    grid = content.readings.geometry.dropna()
    assert len(at) == len(grid) > 10
    first = np.repeat(at[:1], len(at), axis=0)
    on_globe = Geod(ellps="WGS84").inv(first[:, 1], first[:, 0], at[:, 1], at[:, 0])[2]
    assert on_globe == pytest.approx(grid.distance(grid.iloc[0]).to_numpy(), rel=0.0015, abs=0.3)
    back = np.column_stack([at[:, 0], (at[:, 1] + 180) % 360 - 180])
    degrees = grid.to_crs("EPSG:4326")
    assert back == pytest.approx(np.column_stack([degrees.y, degrees.x]), abs=1e-6)


@ZONES
def test_the_surface_is_one_picture_over_the_ranch(zone: str) -> None:
    content = across(zone)
    data = map_data(content)
    raster, image = content.raster, data["images"]["surface"]
    south, west, north, east = image["corners"]
    wide = Geod(ellps="WGS84").inv(west, (south + north) / 2, east, (south + north) / 2)[2]
    width, height = raster.shape[1] * raster.cell_m, raster.shape[0] * raster.cell_m
    assert wide == pytest.approx(width, abs=np.tan(np.radians(1.5)) * height + 3 * raster.cell_m)
    read = Image.open(io.BytesIO(base64.b64decode(image["uri"].split(",")[1]))).convert("RGBA")
    opaque = np.asarray(read)[:, :, 3].astype(bool)
    assert opaque.mean() == pytest.approx(len(raster.row) * raster.cell_m**2 / (width * height), rel=0.1)
    rows, columns = opaque.shape
    inside = [
        opaque[
            min(int((north - one["at"][0]) / (north - south) * rows), rows - 1),
            min(int((one["at"][1] - west) / (east - west) * columns), columns - 1),
        ]
        for one in data["valves"]
    ]
    assert inside == [True] * len(data["valves"])


def test_the_page_opens_over_the_ranch() -> None:
    page = render(across("EPSG:32760"))
    centre = page.split("center: [")[1].split("]")[0].split(", ")
    assert float(centre[0]) == pytest.approx(-16.8, abs=0.01)
    assert abs(float(centre[1])) == pytest.approx(180.0, abs=0.01)


def test_a_ranch_elsewhere_is_written_as_before() -> None:
    content = full()
    degrees = content.readings.geometry.dropna().to_crs("EPSG:4326")
    at = [one["at"] for one in map_data(content)["readings"] if one["at"] is not None]
    assert at == [[round(y, 6), round(x, 6)] for x, y in zip(degrees.x, degrees.y, strict=True)]
