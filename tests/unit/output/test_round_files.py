"""The files of a measuring round, read back by libraries that had no part in writing them."""

from __future__ import annotations

import dataclasses
from collections import Counter
from pathlib import Path
from xml.etree.ElementTree import parse

import openpyxl
import pandas as pd
import pypdf
import pytest
from helpers import drawn_round
from helpers.round_papers import actions, written

from stressmap.core.set_codes import is_code, is_code_of_tree
from stressmap.core.settings import Spreadsheet
from stressmap.intake.planned_work import read_round
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.gis.round_gpx import write_round_gpx
from stressmap.output.paper.round_book import write_round_book
from stressmap.output.paper.round_paper import write_round_paper
from stressmap.output.view.round_content import COLUMNS, RoundContent, round_table, stops_of_form

GPX = "{http://www.topografix.com/GPX/1/1}"
ORDER = ["metadata", "wpt", "rte", "trk"]
"""GPX 1.1 Schema Documentation, gpxType: metadata, then waypoints, routes and tracks."""


def paper(content: RoundContent, folder: Path) -> pypdf.PdfReader:
    write_round_paper(content, folder / "round.pdf")
    return pypdf.PdfReader(folder / "round.pdf")


def test_every_stop_is_bagged_once_and_read_once_by_the_clock_crew_after_crew(tmp_path: Path) -> None:
    content = drawn_round.content()
    reader = paper(content, tmp_path)
    found = actions(reader)
    numbers = [stop.number for stop in content.planned.stops]
    for word in ("BAG", "READ"):
        assert Counter(number for _, kind, number in found if kind == word) == Counter(numbers)
    half = len(found) // 2
    for crew in (found[:half], found[half:]):
        assert [clock for clock, *_ in crew] == sorted(clock for clock, *_ in crew)
    clocks = {(kind.lower(), number): clock for clock, kind, number in found}
    for stop in content.planned.stops:
        assert clocks["bag", stop.number] == f"{stop.bag_at:%H:%M}"
        assert clocks["read", stop.number] == f"{stop.read_at:%H:%M}"
    text = "\n".join(page.extract_text() for page in reader.pages)
    for stop in content.planned.stops:
        assert text.count(content.codes[stop.number]) == 2
    assert "EMBOLSAR" in text
    assert "safety glasses" in text
    assert len(reader.pages) <= 6
    write_round_paper(content, tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == (tmp_path / "round.pdf").read_bytes()


def test_what_is_expected_is_in_the_gauges_unit(tmp_path: Path) -> None:
    """1 bar is 100 kPa and 14.50377 psi (NIST Special Publication 811, 2008, appendix B.8)."""
    stop = dataclasses.replace(
        drawn_round.drawn(2, 1).stops[0], expected_low_bar=10.0, expected_high_bar=12.0
    )
    planned = dataclasses.replace(drawn_round.drawn(2, 1), stops=(stop,), ways=())
    for unit, shown in {
        "bar": "10.0-12.0",
        "psi": "145-174",
        "kPa": "1,000-1,200",
        "MPa": "1.00-1.20",
    }.items():
        assert shown in written(paper(drawn_round.content(planned, unit=unit), tmp_path))


def test_a_second_figure_is_asked_for_where_it_is_written_and_every_tree_has_a_place(tmp_path: Path) -> None:
    first, second = drawn_round.drawn(2, 1).stops
    stops = (
        dataclasses.replace(first, row=None, why=("standing_tree", "second_leaf")),
        dataclasses.replace(second, why=("new_tree", "both_chambers")),
    )
    content = drawn_round.content(dataclasses.replace(drawn_round.drawn(2, 1), stops=stops, ways=()))
    lines = written(paper(content, tmp_path))
    for said in (
        "read a second leaf / leer otra hoja más",
        "read with both chambers / leer con las dos cámaras",
    ):
        assert lines.count(said) == 1
    lon, lat = content.degrees[1]
    assert first.known
    assert sum(f"{lat:.5f}, {lon:.5f}" in line for line in lines) == 2


def test_one_language_says_nothing_in_the_other(tmp_path: Path) -> None:
    english = "\n".join(written(paper(drawn_round.content(languages=("en",)), tmp_path)))
    spanish = "\n".join(written(paper(drawn_round.content(languages=("es",), units="metric"), tmp_path)))
    for word in ("EMBOLSAR", "Cuadrilla", "hilera"):
        assert word not in english
        assert word in spanish
    for word in ("BAG", "Crew", "row", "tree each"):
        assert word in english
        assert word not in spanish


@pytest.mark.parametrize(
    ("bearing", "left", "start"),
    [
        (2.3, "west", "south"),
        (177.7, "east", "north"),
        (90.0, "north", "west"),
        (315.0, "southwest", "southeast"),
    ],
)
def test_the_paper_says_from_which_side_rows_and_trees_are_counted(tmp_path, bearing, left, start) -> None:
    """Who looks north has the west at the left and the south behind, and so round the compass."""
    planned = drawn_round.drawn(2, 1)
    stops = tuple(dataclasses.replace(stop, row=3, row_bearing=bearing) for stop in planned.stops)
    content = drawn_round.content(dataclasses.replace(planned, stops=stops), languages=("en",))
    said = " ".join(paper(content, tmp_path).pages[0].extract_text().split())
    assert f"Rows count from the {left}, trees from the {start}." in said


def test_blocks_whose_rows_are_counted_otherwise_are_named(tmp_path: Path) -> None:
    planned = drawn_round.drawn(2, 2)
    stops = (
        dataclasses.replace(planned.stops[0], row=3, row_bearing=0.0),
        dataclasses.replace(planned.stops[1], row=3, row_bearing=180.0),
    )
    content = drawn_round.content(dataclasses.replace(planned, stops=stops), languages=("es",))
    said = " ".join(paper(content, tmp_path).pages[0].extract_text().split())
    assert "North Shed: las hileras se cuentan desde el oeste, los árboles desde el sur." in said
    assert "South Shed: las hileras se cuentan desde el este, los árboles desde el norte." in said


def test_strange_names_break_no_paper(tmp_path: Path) -> None:
    planned = drawn_round.drawn(2, 1)
    odd = dataclasses.replace(planned.stops[0], tree_id="=1+1 <b>\n\N{DECIDUOUS TREE}" + "x" * 90)
    content = drawn_round.content(dataclasses.replace(planned, stops=(odd, planned.stops[1])))
    assert len(paper(content, tmp_path).pages) == 1
    write_csv(round_table(content), tmp_path / "round.csv")
    assert pd.read_csv(tmp_path / "round.csv")["tree_id"][0].startswith("'=1+1 <b> ")
    write_round_book(content, tmp_path / "round.xlsx")
    cells = openpyxl.load_workbook(tmp_path / "round.xlsx")["Round"]
    assert cells["D2"].data_type == "s"
    write_round_gpx(content, tmp_path / "round.gpx")
    assert parse(tmp_path / "round.gpx").getroot().tag == f"{GPX}gpx"


def test_the_table_has_a_row_an_action(tmp_path: Path) -> None:
    content = drawn_round.content()
    write_csv(round_table(content), tmp_path / "round.csv")
    table = pd.read_csv(tmp_path / "round.csv")
    assert tuple(table.columns) == COLUMNS
    counts = table.groupby(["stop", "action"]).size()
    assert counts.tolist() == [1] * (2 * len(content.planned.stops))
    clocks = {
        kind: pd.to_timedelta(mine.set_index("stop")["clock"] + ":00")
        for kind, mine in table.groupby("action")
    }
    assert (clocks["read"] - clocks["bag"]).min() >= pd.Timedelta(minutes=10)
    assert (table["expected_low_bar"].dropna() > 0).all()
    assert table.loc[table["stop"] == 2, "expected_bar"].isna().all()
    assert table["why_es"].str.contains("same tree").sum() == 0


def test_stops_and_way_are_a_gpx_file_in_its_order(tmp_path: Path) -> None:
    content = drawn_round.content()
    write_round_gpx(content, tmp_path / "round.gpx")
    root = parse(tmp_path / "round.gpx").getroot()
    tags = [child.tag.removeprefix(GPX) for child in root]
    assert [tag for at, tag in enumerate(tags) if at == 0 or tags[at - 1] != tag] == ORDER
    assert tags.count("wpt") == len(content.planned.stops)
    for crew, route in zip((1, 2), root.findall(f"{GPX}rte"), strict=True):
        wanted = content.actions(crew)
        names = [point.findtext(f"{GPX}name") for point in route.findall(f"{GPX}rtept")]
        assert names == [f"{one.clock} {one.kind} {one.stop.number}" for one in wanted]
    first = root.find(f"{GPX}wpt")
    assert first is not None
    lon, lat = content.degrees[1]
    assert (float(first.get("lon") or 0), float(first.get("lat") or 0)) == pytest.approx((lon, lat), abs=1e-6)


def test_the_workbook_has_a_row_a_stop_to_fill_in(tmp_path: Path) -> None:
    content = drawn_round.content()
    write_round_book(content, tmp_path / "round.xlsx")
    book = openpyxl.load_workbook(tmp_path / "round.xlsx")
    assert book.sheetnames == ["Round", "How"]
    table = pd.read_excel(tmp_path / "round.xlsx", dtype={"Tree": str, "Code": str})
    assert sorted(table["Stop"]) == [stop.number for stop in content.planned.stops]
    assert table["Pressure (bar)"].isna().all()
    for row in table.to_dict("records"):
        assert is_code(row["Code"])
        assert is_code_of_tree(row["Code"], row["Block"], row["Tree"])
    lines = [cell.value for (cell,) in book["How"].iter_rows(max_col=1)]
    assert any("Parada" not in str(line) and "parada" in str(line) for line in lines)
    write_round_book(content, tmp_path / "again.xlsx")
    assert (tmp_path / "again.xlsx").read_bytes() == (tmp_path / "round.xlsx").read_bytes()


@pytest.mark.parametrize("spreadsheet", ["plain", "en", "es"])
def test_the_table_is_read_back_as_the_form_has_it(tmp_path: Path, spreadsheet: Spreadsheet) -> None:
    content = drawn_round.content()
    write_csv(round_table(content), tmp_path / "round.csv", spreadsheet)
    back, given = read_round(tmp_path / "round.csv"), stops_of_form(content)
    order = ["stop"]
    back, given = (table.sort_values(order).reset_index(drop=True) for table in (back, given))
    for name in ("tree_id", "block", "valve", "crew", "bag_clock", "read_clock", "why_en", "why_es"):
        assert back[name].tolist() == given[name].tolist()
    for name in ("lon", "lat", "expected", "expected_low", "expected_high"):
        assert back[name].to_numpy() == pytest.approx(given[name].to_numpy(), abs=1e-3, nan_ok=True)
