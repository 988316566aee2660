"""``district.html``: what its text holds comes back to the digit, it stays small, and nothing in it runs."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from helpers.drawn_district import drawn, failed, folder_of
from helpers.node_runs import run_node
from helpers.offline_pages import fetched_by_page
from helpers.paths import REPOSITORY
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from stressmap.core.errors import Problem
from stressmap.output.terminal.district_summary import print_district
from stressmap.output.text.words import Words, catalogue, missing
from stressmap.output.view.district_content import DistrictContent, district_content, problems_table
from stressmap.output.view.ranch_folders import lenders_of
from stressmap.output.web import overview_page
from stressmap.output.web.coded_numbers import LETTERS, fixed, outlines, short_names, vlq
from stressmap.output.web.overview_page import render_overview
from stressmap.water.shared_volume import PlannedShare, RanchCurve, share_volume

NASTY = '<script>alert(1)</script>"&'


@pytest.fixture(scope="module")
def content(tmp_path_factory: pytest.TempPathFactory) -> DistrictContent:
    place = tmp_path_factory.mktemp("district")
    results = [
        folder_of(drawn(4), place / "north", NASTY),
        failed("bad", "Bad"),
        folder_of(drawn(3, east=3000.0, valves=1), place / "south", "South"),
    ]
    return district_content("Valley", ("en", "es"), results)


def data_of(page: str) -> dict:
    return json.loads(re.search(r'id="district-data">(.*?)</script>', page, re.DOTALL)[1])


def decoded(**texts: str) -> dict:
    given_ = {"vlq": "", "fixed": "1", "names": "", "outlines": ""} | texts
    done = run_node("tests/js/decoded_overview.mjs", folder=REPOSITORY, given=json.dumps(given_))
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_letters_are_those_of_base64() -> None:
    """RFC 4648, "The Base16, Base32, and Base64 Data Encodings", section 4, table 1."""
    assert LETTERS[0] + LETTERS[25] + LETTERS[26] + LETTERS[51] + LETTERS[52] + LETTERS[61:] == "AZaz09+/"
    assert len(set(LETTERS)) == 64


def test_numbers_names_and_outlines_come_back_to_the_digit() -> None:
    draw = np.random.default_rng(5)
    numbers = [0, *draw.integers(-(2**30), 2**30, 500).tolist(), *range(-40, 40)]
    ranks = [0, *draw.integers(0, 70_000, 300).tolist()]
    names = [f"{letter}{i:03d}" for letter in "AB" for i in range(95, 105)]
    names += ["Peña 9", "Peña 10", "Peña \U0001f333", "Peña \U0001f334", "*3", NASTY, "x" * 90, "x" * 91]
    corners = draw.uniform(0, 0.01, (40, 12, 2)) + np.array([-121.5, 36.6])
    shapes = [shapely.convex_hull(shapely.MultiPoint(one)) for one in corners]
    shapes.append(shapely.difference(shapes[0], shapely.buffer(shapely.centroid(shapes[0]), 0.0005)))
    shapes.append(shapely.MultiPolygon([shapes[1], shapely.affinity.translate(shapes[1], 0.1, 0.1)]))
    back = decoded(
        vlq=vlq(numbers), fixed=fixed(ranks), names=short_names(names), outlines=outlines([*shapes, None])
    )
    assert back["vlq"] == numbers
    assert back["fixed"] == ranks
    assert back["names"] == names
    assert back["outlines"].pop() == []
    for shape, rings in zip(shapes, back["outlines"], strict=True):
        own = [ring for part in shapely.get_parts(shape) for ring in (part.exterior, *part.interiors)]
        for ring, coded in zip(own, rings, strict=True):
            degrees = np.array(coded).reshape(-1, 2) / 1e5
            np.testing.assert_allclose(degrees, np.array(ring.coords)[:-1, ::-1], atol=0.5e-5 + 1e-9)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.text(alphabet="AB019 *\u00f1\U0001f333", min_size=1, max_size=5).map(lambda t: f"V{t}0")))
def test_any_names_come_back(names: list[str]) -> None:
    """By the rule as the doc of the coding states it, written down again."""
    lines, back, before = short_names(names).split("\n") if names else [], [], ""
    for line in lines:
        if line[0] == "*":
            for _ in range(int(line[1:])):
                digits = re.search(r"[0-9]+$", before)[0]
                before = before[: -len(digits)] + str(int(digits) + 1).zfill(len(digits))
                back.append(before)
            continue
        before = before[: LETTERS.index(line[0])] + line[1:]
        back.append(before)
    assert back == [" ".join(name.split()) for name in names]


def test_the_page_asks_for_nothing_and_nothing_in_a_name_runs(content: DistrictContent) -> None:
    page = render_overview(content)
    assert fetched_by_page(page) == []
    assert NASTY not in page
    assert page.count("<script") == 2
    assert data_of(page)["ranches"][0]["name"] == NASTY


def test_it_holds_every_block_valve_and_problem(content: DistrictContent) -> None:
    data = data_of(render_overview(content))
    back = decoded(
        names=data["valves"]["names"], fixed=data["valves"]["rank"], outlines=data["blocks"]["shapes"]
    )
    by_name = sorted(zip(back["fixed"], back["names"], strict=True))
    assert by_name == list(zip(content.valves["rank"], content.valves["valve"], strict=True))
    assert [len(rings) for rings in back["outlines"]] == [1] * 7
    assert data["ranches"][1]["problems"] == [
        ["readings.csv", 4, "pressure", "=HYPERLINK(1) is not a number", "Write bar as a number"]
    ]
    assert sorted(data["zones"]) == ["0", "1"]


def test_valve_zones_are_left_out_where_the_page_would_grow_too_large(
    content: DistrictContent, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = render_overview(content)
    monkeypatch.setattr(overview_page, "MOST_BYTES", len(whole.encode()) - 20)
    smaller = render_overview(content)
    assert list(data_of(smaller)["zones"]) == ["0"]
    assert len(smaller.encode()) <= len(whole.encode()) - 20
    monkeypatch.setattr(overview_page, "MOST_BYTES", 0)
    assert data_of(render_overview(content))["zones"] == {}


def test_ten_thousand_blocks_stay_below_a_megabyte_and_a_half() -> None:
    """What a block and its six valve zones take, times ten thousand, beside scripts and words."""
    draw = np.random.default_rng(3)
    many = 1000
    turned = np.linspace(0, 2 * np.pi, 9)[:-1]
    ring = np.column_stack([0.002 * np.cos(turned), 0.002 * np.sin(turned)])
    places = draw.uniform(0, 0.1, (many, 1, 2)) + np.array([-121.5, 36.6])
    shapes = shapely.polygons(ring + draw.normal(0, 2e-4, (many, 8, 2)) + places)
    columns = [
        vlq([1] * many), vlq([5] * many), outlines(shapes), vlq([6] * many),
        short_names([f"Block {i}" for i in range(many)]),
        short_names([f"B{i}-{v}" for i in range(many) for v in range(6)]),
        vlq(draw.integers(-60, 120, 6 * many).tolist()), *[vlq([7] * 6 * many)] * 4,
    ]  # fmt: skip
    a_block = sum(map(len, columns)) / many + 6 * 3
    empty = len(render_overview(district_content("Valley", ("en", "es"), [])).encode())
    assert empty + 10_000 * a_block < 1_500_000


def test_where_no_script_runs_there_is_what_is_urgent_and_what_failed(content: DistrictContent) -> None:
    still = render_overview(content).partition('<main id="still">')[2].partition("</main>")[0]
    assert still.count("<tr>") == 1 + 1 + 1 + 11 + 1 + 3
    first = content.valves.iloc[0]
    assert f'<th scope="row" dir="auto">{first["valve"]}<small dir="auto">{first["block"]}</small>' in still
    assert (
        "readings.csv, row 4, column pressure: =HYPERLINK(1) is not a number. Write bar as a number." in still
    )
    assert "Urgent / Urgente" in still
    assert still.count('<p lang="en" dir="auto">readings.csv') == 1
    assert still.count('<p lang="es"') == 0


def test_the_usual_problems_are_told_in_the_reader_s_language_and_the_others_are_marked(
    content: DistrictContent,
) -> None:
    usual = Problem("ranch.toml", "there is no such file", "Give the path of a ranch.toml")
    bad = replace(content.results[1], problems=(*content.results[1].problems, usual))
    results = (content.results[0], bad, content.results[2])
    page = render_overview(replace(content, results=results, problems=problems_table(results)))
    assert data_of(page)["ranches"][1]["said"] == {
        "es": [[None, None], ["no existe ese archivo", "Dé la ruta de un ranch.toml"]]
    }
    assert (
        '<p lang="es" dir="auto">ranch.toml: no existe ese archivo. Dé la ruta de un ranch.toml.</p>' in page
    )
    assert '<p lang="en" dir="auto">ranch.toml: there is no such file. Give the path' in page


def test_both_languages_have_the_same_words() -> None:
    one, other = catalogue("district_en"), catalogue("district_es")
    assert missing(one, other) == missing(other, one) == set()
    for section, texts in one.items():
        for name, text in texts.items():
            own = [set(re.findall(r"\{(\w+)", words)) for words in (text, other[section][name])]
            assert own[0] == own[1], f"{section}.{name}"


def test_the_same_district_gives_the_same_bytes(content: DistrictContent) -> None:
    assert render_overview(content) == render_overview(content)
    assert Words("en", content.units).units == "metric"


def test_every_word_that_the_scripts_ask_for_is_there(content: DistrictContent) -> None:
    words = data_of(render_overview(content))["words"]["en"]
    folder = Path(overview_page.__file__).parent / "overview"
    asked = {
        key
        for file in folder.glob("*.js")
        for key in re.findall(r'(?:word\(|tell\("[\w-]+", )"(\w+\.\w+)"', file.read_text(encoding="utf-8"))
    }
    assert len(asked) > 40
    assert {key for key in asked if key.partition(".")[2] not in words[key.partition(".")[0]]} == set()


def test_only_a_ranch_with_a_plan_leads_to_one(content: DistrictContent) -> None:
    curves = [RanchCurve(one.slug, one.name, 10.0, float("nan"), why="few_trees") for one in content.results]
    planned = share_volume(curves, 900.0).with_plans([PlannedShare("south", 250.0)])
    told = data_of(render_overview(replace(content, shared=planned)))["ranches"]
    assert [one.get("planned") for one in told] == [False, None, True]


def test_a_ranch_that_borrowed_says_from_how_many_and_others_say_nothing(content: DistrictContent) -> None:
    first, *rest = content.ranches
    assert [one.lenders for one in (first, *rest)] == [0] * len(content.ranches)
    page = render_overview(replace(content, ranches=(replace(first, lenders=4), *rest)))
    for language in ("borrowed from 4 other ranches", "toma prestado de 4 ranchos"):
        assert page.count(language) == 1, "where no script runs"
    assert page.count('"lenders":') == 1
    assert '"lenders":' not in render_overview(content)


@pytest.mark.parametrize(
    ("codes", "lenders"), [(["drying_borrowed"], 3), (["drying_not_borrowed"], 0), ([], 0)]
)
def test_lenders_are_counted_where_the_notes_of_a_ranch_say_so(codes: list[str], lenders: int) -> None:
    notes = [{"code": code} for code in codes]
    assert lenders_of({"borrowed": {"ranches": 3}, "notes": notes}) == lenders
    assert lenders_of({"notes": notes}) == 0


def test_the_terminal_names_what_is_urgent_with_the_page_s_words(content: DistrictContent) -> None:
    valves = content.valves[content.valves["rank"].notna()].head(2)
    valves = valves.assign(past_limit=[True, False], measured=True, priority=1)
    out = io.StringIO()
    print_district(replace(content, valves=valves), Path("nowhere"), Console(file=out, width=200))
    assert "Most urgent, over all ranches:" in out.getvalue()
    said = [line.rsplit(": ", 1)[1] for line in out.getvalue().splitlines() if ": P1" in line]
    assert said == ["P1 past its limit", "P1 water first"]
