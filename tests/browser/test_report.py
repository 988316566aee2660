"""The report: nothing to fetch, nothing to break out of, and pictures of what it says they are of."""

import base64
import dataclasses
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from helpers.chromium_pages import DESK, PHONE, chromium
from helpers.drawn_content import CRS, NASTY, full, large, ranch, small
from helpers.drawn_drought import drought
from helpers.moved_ranch import moved
from helpers.water_cases import random_ranch, terms
from pypdf import PdfReader
from shapely.geometry import Point

from stressmap.agronomy.target import target_bar
from stressmap.output.report.empirical_variogram import sample_pairs
from stressmap.output.report.page import Background, flat, write_report
from stressmap.output.text.words import Words
from stressmap.output.view.plan_digest import digest
from stressmap.output.view.plan_proof import proof
from stressmap.output.view.plan_words import tell
from stressmap.output.view.water_words import first_words
from stressmap.water.water_plan import Advice, advise

FIT = {
    "method": "structured", "correlation": "matern 3/2", "block_sd_bar": 0.8, "valve_sd_bar": 1.2,
    "pattern_sd_bar": 0.7, "tree_sd_bar": 0.7, "error_sd_bar": 0.6, "range_m": 100.0,
}  # fmt: skip
SCORES = {"readings": 12, "rmse_bar": 1.25, "mean_error_bar": 0.02, "mean_squared_z": 1.1,
          "covered_50": 0.5, "covered_90": 0.88}  # fmt: skip
RECORD = {
    "settings": {"ranch": {"name": "<b>"}, "map": {"edges_bar": [0, 2, 4], "method": None}},
    "fit": FIT | {"cross_validation": {"leave_one_out": {"structured": SCORES, "block average": SCORES}}},
    "reading_error": {"offsets": [{"name": "A", "bar": -0.5}]},
    "sha256": {"readings": "ab" * 32},
    "versions": {},
    "timings": {"fit": 123.456},
}  # fmt: skip
SEASONS = {
    ("prune", "", None): (("05-01", -6.0), ("08-01", -14.0)),
    ("almond", "", None): (("05-01", -8.0), ("08-15", -14.0)),
}


def courses(days):
    return {kind: target_bar(days, points) for kind, points in SEASONS.items()}


def report_of(content, folder: Path, record=RECORD, weather=None) -> str:
    path = folder / "report.html"
    write_report(content, Background(record, courses, weather), path)
    return path.read_text(encoding="utf-8")


class Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.tags: list[str] = []

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append(tag)
        self.found |= {
            value for name, value in attrs if name in ("src", "href", "srcset", "xlink:href", "action")
        }


def test_it_refers_to_nothing_outside_itself_and_runs_no_script(tmp_path: Path) -> None:
    page = report_of(full(), tmp_path)
    links = Links()
    links.feed(page)
    assert {link for link in links.found if not link.startswith("#")} == {"data:,"}
    assert "script" not in links.tags
    assert links.tags.count("svg") == 5
    assert "default-src 'none'" in page


def test_methods_stand_side_by_side(tmp_path: Path) -> None:
    page = report_of(full(), tmp_path)
    for expected in ("One reading left out", "block averages", "1.25", "88 %"):
        assert expected in page


def test_names_stay_names(tmp_path: Path) -> None:
    page = report_of(full(), tmp_path)
    assert "<script>window.hurt" not in page
    assert "&lt;script&gt;window.hurt" in page
    assert "<b>" not in page
    assert NASTY not in page


def test_the_same_run_gives_the_same_bytes_whatever_it_took(tmp_path: Path) -> None:
    assert report_of(full(), tmp_path) == report_of(full(), tmp_path, RECORD | {"timings": {"fit": 9.0}})


def test_every_id_is_used_once_and_every_reference_is_met(tmp_path: Path) -> None:
    page = report_of(full(), tmp_path)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', page)) <= {(i, "") for i in ids} | {
        ("", i) for i in ids
    }


def test_it_tells_why_readings_were_left_out(tmp_path: Path) -> None:
    page = report_of(full(), tmp_path)
    assert "12 readings used, 5 left out of this visit, 0 of other visits." in page
    assert "measured at the wrong hour; bag on too short a time" in page


@pytest.mark.parametrize(("gauge", "shown"), [("bar", ">14.5 bar</td>"), ("psi", ">14.5 bar (210 psi)</td>")])
def test_readings_left_out_are_listed_with_their_pressure(tmp_path: Path, gauge: str, shown: str) -> None:
    """14.48 bar at 14.5038 psi a bar are 210.0 psi (NIST Special Publication 811, appendix B.8)."""
    content = full()
    content = dataclasses.replace(
        content, gauge_unit=gauge, readings=content.readings.assign(pressure_bar=14.48)
    )
    assert shown in report_of(content, tmp_path)


def test_it_speaks_spanish_where_that_comes_first(tmp_path: Path) -> None:
    page = report_of(ranch([("B1", "prune", 3)], across=1, languages=("es", "en")), tmp_path)
    assert '<html lang="es">' in page
    for english in ("What was used", "The season", "Left out", "drier than", "water first", "kriging with"):
        assert english not in page


def test_a_run_with_next_to_nothing_still_has_a_report(tmp_path: Path) -> None:
    content = small()
    bare = content.readings.assign(used=False, swp_bar=np.nan, predicted_bar=np.nan)
    page = report_of(dataclasses.replace(content, readings=bare), tmp_path, {})
    assert page.count("not enough readings for this picture") == 4


def test_weather_with_holes_is_drawn_without_a_warning(tmp_path: Path) -> None:
    hours = pd.date_range("2026-07-14", periods=48, freq="h", tz="America/Los_Angeles")
    weather = pd.DataFrame({"time": hours, "temp_c": 30.0, "rh_pct": [np.nan, 140.0, *[25.0] * 46]})
    assert "weather file" in report_of(full(), tmp_path, weather=weather)


def test_pairs_by_hand() -> None:
    """Four readings on a line, 0, 30, 60 and 100 m; the first two in one valve, the others in another."""
    points = gpd.GeoDataFrame(
        {
            "used": True, "block": "B", "valve": ["v", "v", "w", "w"], "tree_id": list("abcd"),
            "stress_bar": [0.0, 2.0, 3.0, 7.0],
        },
        geometry=[Point(x, 0) for x in (0, 30, 60, 100)], crs=CRS,
    )  # fmt: skip
    same, other = sample_pairs(points, FIT)
    assert same.distance_m.tolist() == [35.0]
    assert same.semivariance_bar2.tolist() == [(2**2 / 2 + 4**2 / 2) / 2]
    assert other.pairs.sum() == 4
    assert other.distance_m.tolist() == [(60 + 100 + 30 + 70) / 4]
    assert other.semivariance_bar2.tolist() == [(3**2 + 7**2 + 1**2 + 5**2) / 2 / 4]
    still = 0.7**2 + 0.6**2
    assert same.model_bar2[0] == pytest.approx(still)
    assert other.model_bar2[0] == pytest.approx(still + 1.2**2)
    assert same.model_bar2[-1] < still + 0.7**2


def test_leaves_of_one_tree_are_not_paired() -> None:
    twins = gpd.GeoDataFrame(
        {"used": True, "block": "B", "valve": "v", "tree_id": "a", "stress_bar": [1.0, 2.0]},
        geometry=[Point(0, 0), Point(0, 0)], crs=CRS,
    )  # fmt: skip
    assert all(len(curve.pairs) == 0 for curve in sample_pairs(twins, FIT))


def test_settings_are_told_in_full() -> None:
    assert flat({"a": {"b": [1, 2], "c": None}, "d": [{"e": 1.23456789}]}) == [
        ("a.b", "1, 2"), ("a.c", ""), ("d.1.e", "1.23457"),
    ]  # fmt: skip


@pytest.fixture(scope="module")
def page():
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def advice() -> Advice:
    """Nine valves; its days and valves are another ranch's, which the page does not mind."""
    drawn = random_ranch(3)
    return advise(drawn.case(), terms(drawn.water, drawn.limits.first, draws=20))


def whole_report(content, advice: Advice, path: Path) -> str:
    """Write a report with all that one may have: change, drought, water."""
    words = first_words(content.ranch)
    water = (*tell(advice, words), proof(advice, words))
    background = Background(RECORD, courses, None, water, digest(advice, words))
    write_report(content, background, path)
    return path.read_text(encoding="utf-8")


def spoken(content, *languages):
    settings = content.ranch.model_copy(update={"languages": languages})
    return dataclasses.replace(content, ranch=settings)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(("size", "dark"), [(PHONE, False), (DESK, True)], ids=["phone", "desk-dark"])
def test_in_a_browser_it_is_quiet_fits_and_is_accessible(
    page, size, language, dark, advice, tmp_path: Path
) -> None:
    """axe-core 4.14 (assets/axe, Mozilla Public License 2.0); the page has no script, so none need be off."""
    path = tmp_path / "report.html"
    assert "<script" not in whole_report(spoken(moved(drought(), 3.0), language), advice, path)
    page.open(path, size, dark=dark)
    assert page.asked_for() == []
    assert page.complaints() == []
    assert page.js("return document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert page.violations() == []


PAPERS = {"A4": (8.27, 11.69), "letter": (8.5, 11.0)}
"""Width and height [inches] (ISO 216; ANSI/ASME Y14.1)."""


@pytest.mark.parametrize(
    ("content", "language"), [(drought, "en"), (drought, "es"), (large, "es")], ids=["en", "es", "large"]
)
def test_the_managers_page_is_one_page_of_paper(page, content, language, advice, tmp_path: Path) -> None:
    whole_report(spoken(moved(content(), 3.0), language), advice, tmp_path / "report.html")
    page.open(tmp_path / "report.html", DESK)
    words = Words(language)
    for wide, high in PAPERS.values():
        pdf = page.cdp("Page.printToPDF", paperWidth=wide, paperHeight=high, pageRanges="1-2")
        sheets = [one.extract_text() for one in PdfReader(io.BytesIO(base64.b64decode(pdf["data"]))).pages]
        assert all(words(f"manager.{part}") in sheets[0] for part in ("changed", "urgent", "water", "next"))
        assert words("moves.heading") in sheets[1]
        assert words("moves.heading") not in sheets[0]
        assert words("report.specialist") not in sheets[0]


def test_a_large_ranch_has_a_report_of_bounded_size(tmp_path: Path) -> None:
    assert len(report_of(large(), tmp_path)) < 3_000_000
