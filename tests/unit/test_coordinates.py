"""The UTM zone of a ranch is the one that a search among all CRS finds."""

import geopandas as gpd
import pytest
from shapely import box

from stressmap.intake.coordinates import middle_degrees, utm_zone

SOUTH_OF_THE_LINE, FIJI = "EPSG:32755", "EPSG:3460"


@pytest.mark.parametrize(
    ("bounds", "crs"),
    [
        ((-120.61, 36.99, -120.59, 37.01), "EPSG:4326"),
        ((5.0, 59.9, 7.0, 60.1), "EPSG:4326"),
        ((17.0, -1.0, 19.0, 1.0), "EPSG:4326"),
        ((-180.0, 64.0, -180.0, 64.0), "EPSG:4326"),
        ((179.0, 64.0, 181.0, 64.0), "EPSG:4326"),
        ((-121.0, 36.0, -120.9, 36.1), "EPSG:4269"),
        ((600_000, 6_100_000, 601_000, 6_101_000), SOUTH_OF_THE_LINE),
        ((-13_400_000, 4_400_000, -13_399_000, 4_401_000), "EPSG:3857"),
        ((2_100_000, 3_900_000, 2_200_000, 4_000_000), FIJI),
    ],
)
def test_the_zone_is_that_of_a_search(bounds, crs):
    ranch = gpd.GeoSeries([box(*bounds)], crs=crs)
    assert utm_zone(*middle_degrees(bounds, ranch.crs)) == ranch.estimate_utm_crs()


@pytest.mark.parametrize(("lon", "lat"), [(0, 84.1), (0, -80.1), (180.1, 0), (-180.1, 0), (float("nan"), 0)])
def test_no_zone_holds_a_pole_or_a_place_off_the_earth(lon, lat):
    with pytest.raises(ValueError, match="no UTM zone holds longitude"):
        utm_zone(lon, lat)
