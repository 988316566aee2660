"""RFC 7946, The GeoJSON Format, section 3.1.9 (Antimeridian Cutting): its own example of a polygon."""

import geopandas as gpd
import pytest
import shapely

from stressmap.core.antimeridian import cut
from stressmap.intake.blocks_and_valves import read_blocks
from stressmap.output.gis.geojson import to_wgs84

EXAMPLE = shapely.MultiPolygon(
    [
        shapely.Polygon([(180, 40), (180, 50), (170, 50), (170, 40)]),
        shapely.Polygon([(-170, 40), (-170, 50), (-180, 50), (-180, 40)]),
    ]
)


@pytest.mark.parametrize("west", [190.0, -170.0])
def test_the_example_of_the_standard(west: float) -> None:
    across = shapely.Polygon([(170, 40), (west, 40), (west, 50), (170, 50)])
    assert cut([across])[0].normalize() == EXAMPLE.normalize()


def test_what_does_not_cross_stays_as_it_is() -> None:
    box = shapely.box(170, 40, 179, 50)
    assert cut([box, None]).tolist() == [box, None]


def test_a_ranch_across_the_antimeridian_has_its_zone_and_is_cut_again(tmp_path) -> None:
    """180 degrees lie between UTM zones 60 (174 to 180 east) and 1; either measures there."""
    sides = [shapely.box(179.995, -16.81, 180, -16.8), shapely.box(-180, -16.81, -179.996, -16.8)]
    table = gpd.GeoDataFrame({"block": ["A"], "crop": ["prune"]}, geometry=[shapely.MultiPolygon(sides)])
    table.set_crs("EPSG:4326").to_file(tmp_path / "blocks.geojson", driver="GeoJSON")
    blocks = read_blocks(tmp_path / "blocks.geojson", None).value
    assert blocks.crs.to_epsg() in {32760, 32701}
    # 0.009 degrees of longitude at 16.805 south by 0.01 of latitude, on a sphere: 0.9579 x 1.112 km
    assert blocks.area.sum() == pytest.approx(0.009 * 111_320 * 0.9573 * 0.01 * 110_650, rel=0.01)
    (shape,) = to_wgs84(blocks).geometry
    assert {part.bounds[0] < 0 for part in shape.geoms} == {True, False}
    assert sum(part.area for part in shape.geoms) == pytest.approx(0.00009, rel=0.001)
