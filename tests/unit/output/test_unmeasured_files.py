"""A block without readings in every file: no priority shown, no rank, no figure as if it were known."""

import dataclasses
import re
from pathlib import Path

import defusedxml.ElementTree
import gpxpy
import numpy as np
import pypdf
import pytest
from helpers.drawn_content import ranch, unmeasured, write_picture
from PIL import Image

from stressmap.output.gis.gpx_kml import write_gpx, write_kml
from stressmap.output.paper.crew_sheet import write_crew_sheet
from stressmap.output.report.page import Background, write_report

KML = "{http://www.opengis.net/kml/2.2}"


@pytest.fixture
def content():
    """Two blocks, the wetter of them not measured and not ranked."""
    return unmeasured(ranch([("B1", "prune", 2), ("B2", "prune", 2)], across=2), ranked=False)


def test_waypoints_name_it_last_as_not_measured_and_not_ranked(content, tmp_path: Path) -> None:
    write_gpx(content, tmp_path / "w.gpx")
    read = gpxpy.parse((tmp_path / "w.gpx").read_text(encoding="utf-8"))
    valves = [w for w in read.waypoints if w.type == "valve"]
    assert [w.name for w in valves][:2] == ["1 B2-2", "2 B2-1"]
    assert {w.name for w in valves[2:]} == {"B1-1", "B1-2"}
    for waypoint in valves[2:]:
        english, spanish = waypoint.description.split(" / ")
        assert re.fullmatch(
            r"Block B1\. Not ranked\. not measured\. a guess: \d\.\d bar drier than target\. "
            r"Rests on no tree in the block\. "
            r"Point: corner of the zone at the block's edge \([a-z-]+ corner\); the riser is not known\.",
            english,
        )
        assert spanish.startswith("Bloque B1. Sin puesto. no medido. un cálculo: ")
    assert all("nan" not in w.description for w in valves)


def test_the_phone_map_leaves_it_unfilled(content, tmp_path: Path) -> None:
    write_kml(content, tmp_path / "m.kml")
    root = defusedxml.ElementTree.parse(tmp_path / "m.kml").getroot()
    fills = {s.get("id"): s.findtext(f".//{KML}PolyStyle/{KML}fill") for s in root.iter(f"{KML}Style")}
    assert fills == {"p1": None, "p2": None, "p3": None, "p4": None, "none": "0"}
    styles = {m.findtext(f"{KML}name"): m.findtext(f"{KML}styleUrl") for m in root.iter(f"{KML}Placemark")}
    assert styles["B1-1"] == styles["B1-2"] == "#none"
    assert styles["1 B2-2"].startswith("#p")


def test_the_crew_sheet_lists_it_last_with_a_question_mark_and_a_key(content, tmp_path: Path) -> None:
    write_crew_sheet(content, tmp_path / "s.pdf")
    first, *others = (page.extract_text() for page in pypdf.PdfReader(tmp_path / "s.pdf").pages)
    rows = "\n".join(others)
    names = re.findall(r"B\d-\d", rows)
    assert names[:2] == ["B2-2", "B2-1"]
    assert set(names[-2:]) == {"B1-1", "B1-2"}
    assert rows.count("?") == 2
    text = first + rows
    assert "not measured" in text
    assert "no medido" in text
    assert "nan" not in text.lower()


def test_the_crew_sheet_says_nothing_of_it_where_all_was_measured(tmp_path: Path) -> None:
    write_crew_sheet(ranch([("B1", "prune", 2)], across=1), tmp_path / "s.pdf")
    assert "not measured" not in pypdf.PdfReader(tmp_path / "s.pdf").pages[0].extract_text()


def test_the_picture_uses_no_colour_of_a_priority_on_it(content, tmp_path: Path) -> None:
    """Drawn alone, so that above the legend there is nothing else."""
    everywhere = dataclasses.replace(
        content,
        blocks=content.blocks[content.blocks["block"] == "B1"],
        valves=content.valves[content.valves["block"] == "B1"],
    )
    write_picture(everywhere, tmp_path / "m.png")
    pixels = np.asarray(Image.open(tmp_path / "m.png").convert("RGB"))[120:970]
    for colour in ("#4a1747", "#b5531c", "#e8bd55", "#d3e8f3"):
        rgb = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
        assert not (pixels == rgb).all(axis=2).any(), colour


def test_the_report_draws_it_as_not_measured_and_gives_no_odds(content, tmp_path: Path) -> None:
    write_report(content, Background({}), tmp_path / "r.html")
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    blocks = page.split('<section id="blocks">')[1].split("</section>")[0]
    assert "not measured" in blocks
    first = page.split('<section id="short">')[1].split("</section>")[0]
    row = next(r for r in first.split("<tr>") if ">B1-1<" in r)
    cells = re.findall(r"<td[^>]*>(.*?)</td>", row)
    assert (cells[0], cells[3], cells[6]) == ("-", "not measured", "no data")
    assert cells[4].startswith("a guess: ")


@pytest.mark.parametrize("languages", [("en", "es"), ("es", "en")])
def test_five_keys_fit_side_by_side_under_the_picture(languages, tmp_path: Path, monkeypatch) -> None:
    """Every text of the legend ends before the next square begins."""
    placed = []

    def keep(figure, *_: object, **__: object) -> None:
        renderer = figure.canvas.get_renderer()
        legend = [text for text in figure.axes[0].texts if 980 < text.get_position()[1] < 1100]
        placed.extend(text.get_window_extent(renderer) for text in legend)

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", keep)
    content = unmeasured(ranch([("B1", "prune", 2), ("B2", "prune", 2)], across=2, languages=languages))
    write_picture(content, tmp_path / "m.png")
    assert len(placed) == 10
    step = (1600 - 2 * 40) / 5
    for box in placed:
        column = int((box.x0 - 40) // step)
        assert box.x1 < 40 + (column + 1) * step - 4
