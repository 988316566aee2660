"""The page as text: nothing to fetch, nothing that changes from run to run, no way out for a name."""

import base64
import dataclasses
import io
import re
from html.parser import HTMLParser

import numpy as np
import pytest
import rasterio
from helpers.drawn_content import NASTY, full, ranch, small
from helpers.drawn_drought import PAST, drought
from PIL import Image

from stressmap.output.web.map_data import map_data
from stressmap.output.web.map_page import render
from stressmap.output.web.surface_images import draw_surface, png

TREE = "\U0001f333"


class Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self.scripts = 0

    def handle_starttag(self, tag, attrs) -> None:
        self.scripts += tag == "script"
        self.found += [
            (tag, value) for name, value in attrs if name in ("src", "href", "srcset", "action", "data")
        ]


def test_the_page_refers_to_nothing_outside_itself() -> None:
    page = render(small())
    links = Links()
    links.feed(page)
    assert links.found == [("link", "data:,")]
    assert links.scripts == 2
    styles = "".join(re.findall(r"<style>(.*?)</style>", page, flags=re.DOTALL))
    assert "url(" not in styles
    assert "@import" not in styles
    assert "sourceMappingURL" not in page
    assert "default-src 'none'" in page


def test_chances_reach_the_map_to_a_tenth_of_a_percent() -> None:
    """By hand: shortened towards zero, 0.1234 to 0.123 and 0.9876 to 0.987."""
    content = small()
    content = dataclasses.replace(content, valves=content.valves.assign(p_first=0.1234, confidence=0.9876))
    valves = map_data(content)["valves"]
    assert {(one["pFirst"], one["confidence"]) for one in valves} == {(0.123, 0.987)}


def test_what_urgency_and_change_rest_on_reaches_the_map() -> None:
    """By hand from the drawn ranch: the gauge's change is the weather's 1.7 bar and the trees' 3.0 less."""
    data = map_data(drought())
    assert data["heatOut"] is True
    assert [valve["pastLimit"] for valve in data["valves"]].count(True) == PAST
    first = data["valves"][0]
    assert first["allowance"] == 4.0
    told = {name: first["change"][name] for name in ("bar", "gauge", "weather", "target")}
    assert told == {"bar": -3.0, "gauge": -1.3, "weather": 1.7, "target": 1.2}


def test_a_run_without_weather_says_so_to_the_map() -> None:
    data = map_data(full())
    assert data["heatOut"] is False
    assert {valve["allowance"] for valve in data["valves"]} == {None}
    assert {valve["change"]["weather"] for valve in data["valves"]} == {None}


def test_leaflet_ships_with_its_licence() -> None:
    page = render(small())
    assert "BSD 2-Clause License" in page
    assert "Leaflet 1.9.4" in page


def test_the_same_run_gives_the_same_bytes() -> None:
    assert render(small()) == render(small())


def test_a_name_cannot_leave_its_place() -> None:
    page = render(small())
    assert "<script>window.hurt" not in page
    assert "\u2028" not in page
    assert "Willow &lt;Flat&gt; &amp; Sons" in page
    assert TREE in NASTY


def test_one_language_when_one_is_set() -> None:
    page = render(ranch([("B1", "prune", 2)], across=1, languages=("es",)))
    assert '<html lang="es">' in page
    assert "water first" not in page.split('"words":')[1]


def test_metric_ranches_need_no_other_page() -> None:
    page = render(ranch([("B1", "prune", 2)], across=1, units="metric"))
    assert '"units":"metric"' in page


def test_a_run_with_no_figure_still_has_a_map() -> None:
    content = ranch([("B1", "prune", 2)], across=1)
    empty = np.full(len(content.raster.stress_bar), np.nan)
    content = dataclasses.replace(content, raster=dataclasses.replace(content.raster, stress_bar=empty))
    assert '"images":{}' in render(content)


def test_a_picture_decodes_to_what_was_drawn() -> None:
    index = np.array([[0, 1], [2, 1]], dtype=np.uint8)
    palette = np.array([[0, 0, 0], [10, 20, 30], [200, 100, 50]], dtype=np.uint8)
    read = np.asarray(Image.open(io.BytesIO(png(index, palette))).convert("RGBA"))
    assert read[0, 0, 3] == 0
    assert read[0, 1].tolist() == [10, 20, 30, 255]
    assert read[1, 0].tolist() == [200, 100, 50, 255]


def test_the_surface_lies_where_its_cells_are() -> None:
    """The picture's corners, brought back to the working CRS by GDAL, are the grid's within a cell or two."""
    raster = small().raster
    picture = draw_surface(raster, raster.stress_bar, ("#000000", "#ffffff"), (0.0, 4.0))
    south, west, north, east = picture.corners
    x, y = rasterio.warp.transform("EPSG:4326", raster.crs, [west, east], [south, north])
    height, width = raster.shape[0] * raster.cell_m, raster.shape[1] * raster.cell_m
    lean = np.tan(np.radians(1.0)) * max(width, height) + 2 * raster.cell_m
    assert x == pytest.approx([raster.west, raster.west + width], abs=lean)
    assert y == pytest.approx([raster.north - height, raster.north], abs=lean)
    read = Image.open(io.BytesIO(base64.b64decode(picture.uri.split(",")[1]))).convert("RGBA")
    share = np.asarray(read)[:, :, 3].astype(bool).mean()
    covered = len(raster.row) * raster.cell_m**2 / (width * height)
    assert share == pytest.approx(covered, rel=0.1)
