"""Awkward outline files of one small ranch: each name says what is awkward about the file.

All hold the two blocks of :data:`TWIN`, or what cannot be taken for them.
"""

import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely
from shapely.geometry import box, mapping

CRS = "EPSG:32610"
X, Y = 600_000.0, 4_300_000.0
YARD = box(X + 50, Y + 50, X + 70, Y + 80)
SHAPES = [shapely.difference(box(X, Y, X + 200, Y + 200), YARD), box(X + 220, Y, X + 420, Y + 200)]
TWIN = gpd.GeoDataFrame(
    {"block": ["Cañada", "South 2"], "crop": ["prune", "almond"]}, geometry=SHAPES, crs=CRS
)
KML = '<?xml version="1.0" encoding="{encoding}"?>\n<kml{space}><Document>{body}</Document></kml>'
SPACE = ' xmlns="http://www.opengis.net/kml/2.2"'
DATA = '<ExtendedData><Data name="crop"><value>{crop}</value></Data></ExtendedData>'
POINT = "<Placemark><name>Gate</name><Point><coordinates>-121.8,38.8</coordinates></Point></Placemark>"


def degrees(shapes: list[Any]) -> list[Any]:
    """Outlines in WGS 84."""
    return list(gpd.GeoSeries(shapes, crs=CRS).to_crs("EPSG:4326"))


def feature(shape: Any, **properties: object) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": None if shape is None else mapping(shape),
    }


def features(shapes: list[Any] = SHAPES) -> list[dict[str, Any]]:
    rows = zip(TWIN["block"], TWIN["crop"], degrees(shapes), strict=True)
    return [feature(shape, block=block, crop=crop) for block, crop, shape in rows]


def geojson(path: Path, held: list[dict[str, Any]], mark: str = "") -> None:
    text = json.dumps({"type": "FeatureCollection", "features": held}, ensure_ascii=False)
    path.write_text(mark + text, encoding="utf-8")


def more(path: Path, shape: Any, **properties: object) -> None:
    """The twin with one outline more."""
    geojson(path, [*features(), feature(None if shape is None else degrees([shape])[0], **properties)])


def ring(coordinates: Any, last: int | None = None) -> str:
    words = " ".join(f"{x:.9f},{y:.9f},12" for x, y in list(coordinates)[:last])
    return f"<LinearRing><coordinates>{words}</coordinates></LinearRing>"


def polygon(shape: Any, last: int | None = None) -> str:
    inner = "".join(f"<innerBoundaryIs>{ring(r.coords, last)}</innerBoundaryIs>" for r in shape.interiors)
    outer = f"<outerBoundaryIs>{ring(shape.exterior.coords, last)}</outerBoundaryIs>"
    return f"<Polygon>{outer}{inner}</Polygon>"


def marks(about: str = "<name>{block}</name>" + DATA, last: int | None = None) -> list[str]:
    rows = zip(TWIN["block"], TWIN["crop"], degrees(SHAPES), strict=True)
    return [
        f"<Placemark>{about.format(block=block, crop=crop)}{polygon(shape, last)}</Placemark>"
        for block, crop, shape in rows
    ]


def kml(body: str, encoding: str = "UTF-8", space: str = SPACE) -> bytes:
    return KML.format(body=body, encoding=encoding, space=space).encode(encoding)


def folders(path: Path) -> None:
    first, second = marks()
    inner = f"<Folder><name>2026</name><Folder><name>North side</name>{first}</Folder>{POINT}</Folder>"
    path.write_bytes(kml(f"<name>My places</name>{inner}<Folder><name>South side</name>{second}</Folder>"))


def multigeometry(path: Path) -> None:
    inside = "<MultiGeometry><Point><coordinates>-121.8,38.8</coordinates></Point><Polygon>"
    wrapped = [mark.replace("<Polygon>", inside) for mark in marks()]
    path.write_bytes(kml("".join(m.replace("</Polygon>", "</Polygon></MultiGeometry>") for m in wrapped)))


def packed(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as held:
        held.writestr("files/picture.png", b"\x89PNG")
        held.writestr("doc.kml", kml("".join(marks())))


def shapefile(path: Path, *, encoding: str = "cp1252", without: tuple[str, ...] = ()) -> None:
    TWIN.to_file(path.with_suffix(".shp"), encoding=encoding)
    with zipfile.ZipFile(path, "w") as held:
        for part in sorted(path.parent.glob(f"{path.stem}.*")):
            if part != path and part.suffix not in without:
                held.write(part, part.name)


def layers(path: Path, second: str) -> None:
    TWIN.to_file(path, layer="blocks")
    other = TWIN.set_geometry(TWIN.geometry.centroid) if second == "trees" else TWIN.iloc[:1]
    other.to_file(path, layer=second)


def turned(path: Path) -> None:
    geojson(path, features([shapely.reverse(shape) for shape in SHAPES]))


def unclosed(path: Path) -> None:
    held = features()
    for one in held:
        one["geometry"]["coordinates"] = [list(r)[:-1] for r in one["geometry"]["coordinates"]]
    geojson(path, held)


def corners_twice(path: Path) -> None:
    held = features()
    for one in held:
        one["geometry"]["coordinates"] = [
            [p for p in r for _ in "ab"] for r in one["geometry"]["coordinates"]
        ]
    geojson(path, held)


def spike(path: Path) -> None:
    x, y = X + 420, Y + 200
    spiked = shapely.Polygon([(X + 220, Y), (X + 420, Y), (x, y), (x, y + 50), (x, y), (X + 220, y)])
    geojson(path, features([SHAPES[0], spiked]))


def mixed(path: Path) -> None:
    first, second = degrees(SHAPES)
    line = shapely.LineString([(first.bounds[0], first.bounds[1]), (first.bounds[2], first.bounds[1])])
    held = [feature(shapely.GeometryCollection([first, line]), block="Cañada", crop="prune"),
            feature(shapely.MultiPolygon([second]), block="South 2", crop="almond")]  # fmt: skip
    geojson(path, held)


def slivers(path: Path) -> None:
    slips = degrees([box(X + 200, Y + 10 * k, X + 200.02, Y + 10 * k + 5) for k in range(6)])
    apart = degrees([box(X + 205, Y, X + 206, Y + 2)])
    held = [feature(one, block="Cañada", crop="") for one in (*slips, *apart)]
    geojson(path, [*held[:3], *features(), *held[3:]])


def crumbs(path: Path) -> None:
    held = [shapely.MultiPolygon([one, box(one.bounds[0], Y - 9 - k, one.bounds[0] + 1, Y - 8)])
            for k, one in enumerate(SHAPES)]  # fmt: skip
    geojson(path, features(held))


def swapped(path: Path) -> None:
    held = features()
    for one in held:
        one["geometry"]["coordinates"] = [[p[::-1] for p in r] for r in one["geometry"]["coordinates"]]
    geojson(path, held)


def metres(path: Path) -> None:
    geojson(path, [feature(shape, block=b, crop="prune") for b, shape in zip("AB", SHAPES, strict=True)])


def tall(path: Path) -> None:
    geojson(path, features([shapely.force_3d(shape, 41.5) for shape in SHAPES]))


OUTLINES: dict[str, Callable[[Path], None]] = {
    "as_a_program_writes_it.geojson": lambda path: geojson(path, features()),
    "byte_order_mark.geojson": lambda path: geojson(path, features(), "\N{ZERO WIDTH NO-BREAK SPACE}"),
    "corners_twice.geojson": corners_twice,
    "crumbs_beside_both.geojson": crumbs,
    "geopackage_with_a_layer_of_trees.gpkg": lambda path: layers(path, "trees"),
    "geopackage_with_two_layers_of_polygons.gpkg": lambda path: layers(path, "old blocks"),
    "heights_of_every_corner.geojson": tall,
    "kml_crop_in_a_description.kml": lambda path: path.write_bytes(
        kml("".join(marks("<name>{block}</name><description>crop: {crop}; rows=40</description>")))
    ),
    "kml_in_folders_with_a_point.kml": folders,
    "kml_in_utf_16.kml": lambda path: path.write_bytes(kml("".join(marks()), "UTF-16")),
    "kml_multigeometry_with_a_point.kml": multigeometry,
    "kml_names_only_in_a_description.kml": lambda path: path.write_bytes(
        kml("".join(marks("<description><![CDATA[block: {block}<br>\ncrop: {crop}<br>]]></description>")))
    ),
    "kml_of_points_only.kml": lambda path: path.write_bytes(kml(POINT)),
    "kml_packed_with_a_picture.kmz": packed,
    "kml_rings_not_closed.kml": lambda path: path.write_bytes(kml("".join(marks(last=-1)))),
    "kml_without_a_namespace.kml": lambda path: path.write_bytes(kml("".join(marks()), space="")),
    "latitude_first.geojson": swapped,
    "metres_without_a_crs.geojson": metres,
    "name_empty.geojson": lambda path: more(path, box(X, Y + 300, X + 9, Y + 400), block=" ", crop="prune"),
    "name_in_capitals_again.geojson": lambda path: more(
        path, box(X, Y + 300, X + 150, Y + 500), block="SOUTH 2", crop="almond"
    ),
    "name_twice_both_large.geojson": lambda path: more(
        path, box(X, Y + 300, X + 150, Y + 500), block="South 2", crop="almond"
    ),
    "no_outline_in_a_row.geojson": lambda path: more(path, None, block="East", crop="prune"),
    "nothing_in_it.geojson": lambda path: geojson(path, []),
    "parts_of_several_kinds.geojson": mixed,
    "point_among_them.geojson": lambda path: more(path, shapely.Point(X, Y), block="Gate", crop="prune"),
    "rings_not_closed.geojson": unclosed,
    "rings_the_other_way_round.geojson": turned,
    "same_ground_twice.geojson": lambda path: more(
        path, box(X + 221, Y, X + 420, Y + 200), block="South 2 new", crop="almond"
    ),
    "slivers_of_one_name.geojson": slivers,
    "spike_without_width.geojson": spike,
    "zipped_shapefile_in_cp1252.zip": shapefile,
    "zipped_shapefile_in_cp1252_without_its_cpg.zip": lambda path: shapefile(path, without=(".cpg",)),
    "zipped_shapefile_in_utf_8.zip": lambda path: shapefile(path, encoding="utf-8"),
    "zipped_shapefile_without_its_prj.zip": lambda path: shapefile(path, without=(".prj",)),
}
"""File -> what makes it at a path."""
