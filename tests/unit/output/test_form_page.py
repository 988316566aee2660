"""The field form's folder: what is in it, that nothing of a file runs in it, that its bytes are stable."""

import dataclasses
import json
import re
import zoneinfo
from string import Formatter

import pandas as pd
import pytest
from helpers import small_ranch
from helpers.drawn_content import NASTY
from helpers.offline_pages import fetched_by_page
from helpers.paths import REPOSITORY

from stressmap.agronomy.crops import load_profiles
from stressmap.core.settings import Files, Ranch, Settings
from stressmap.core.troubles import TROUBLES
from stressmap.output.text.form_words import form_texts
from stressmap.output.web.form_data import FormContent, form_data
from stressmap.output.web.form_page import FORM_FILES, MODULES, form_files

NO_TREES = ("tree_id", "block", "valve", "lon", "lat", "last_bar", "last_day")
FOLDER = REPOSITORY / "stressmap" / "output" / "web" / "form"
ZONE = "America/Los_Angeles"


def content(name: str = "Two Sheds", **reading: object) -> FormContent:
    blocks, valves = small_ranch.blocks(), small_ranch.valves()
    settings = Settings(
        ranch=Ranch(name=name, timezone=ZONE), files=Files(readings="r.csv", blocks="b.geojson"),
        reading=reading,
    )  # fmt: skip
    one = dict(zip(NO_TREES, ("T2", "North Shed", "N1", -120.5, 37.1, 13.24, "2026-07-14"), strict=True))
    trees = pd.DataFrame([one, one | {"valve": None, "lon": -120.6, "last_bar": 9.0}])
    return FormContent(settings, "two-sheds", blocks, valves, load_profiles({}, "ranch.toml"), trees)


def test_the_folder_holds_what_it_promises_and_every_script_that_is_used() -> None:
    made = form_files(content())
    assert set(made) == FORM_FILES
    imported = {name for module in MODULES for name in re.findall(rb'from "\./([\w.]+)"', made[module])}
    assert {name.decode() for name in imported} | {"main.js"} == set(MODULES)
    assert {path.name for path in FOLDER.glob("*.js")} == {*MODULES, "offline.js"}


def test_the_service_worker_keeps_every_file_and_is_another_when_any_is() -> None:
    one, other = (form_files(content(name))["service_worker.js"].decode() for name in ("Two Sheds", "Three"))
    kept = json.loads(re.search(r"const FILES = (\[.*\]);", one)[1])
    assert kept == sorted(FORM_FILES - {"service_worker.js"})
    versions = [re.search(r'const VERSION = "(\w{16})"', text)[1] for text in (one, other)]
    assert versions[0] != versions[1]
    assert form_files(content()) == form_files(content())


def test_the_page_allows_its_own_files_alone_and_asks_for_no_others() -> None:
    page = form_files(content())["index.html"].decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)[1]
    sources = {part.split()[0]: part.split()[1:] for part in policy.split("; ")}
    assert sources["default-src"] == ["'none'"]
    assert {one for own in sources.values() for one in own} == {"'none'", "'self'"}
    assert fetched_by_page(page) == []
    assert not re.search(r"<script(?! type=\"module\" src=)|<style|\son\w+=|style=", page)


@pytest.mark.parametrize("name", NASTY)
def test_a_name_is_text_in_the_page_and_data_elsewhere(name: str) -> None:
    made = form_files(content(name))
    page = made["index.html"].decode()
    assert page.count("<script") == 1
    assert page.count("<h1") == 1
    assert json.loads(made["data.json"])["ranch"]["name"] == name
    assert name in json.loads(made["manifest.webmanifest"])["name"]


def test_the_manifest_can_be_installed() -> None:
    """What a browser asks for: a name, a start inside the scope, standalone, icons of 192 and 512 (W3C, Web
    Application Manifest; from memory)."""
    manifest = json.loads(form_files(content())["manifest.webmanifest"])
    assert manifest["display"] == "standalone"
    assert manifest["start_url"] == manifest["scope"] == "./"
    assert {icon["sizes"] for icon in manifest["icons"]} == {"192x192", "512x512"}
    for side in (192, 512):
        header = (FOLDER / f"icon-{side}.png").read_bytes()[:24]
        assert header.startswith(b"\x89PNG")
        assert int.from_bytes(header[16:20], "big") == int.from_bytes(header[20:24], "big") == side


def test_trees_of_one_name_are_told_apart_and_a_stop_is_the_tree_that_is_known() -> None:
    stop = {
        "tree_id": "t2", "block": "North Shed", "valve": "N1", "row": "4", "crew": "1", "stop": "7",
        "bag_clock": "12:50", "read_clock": "13:05", "lon": -120.5, "lat": 37.1, "why_en": "fixed",
        "why_es": "fijo", "expected": 13.0, "expected_low": 11.0, "expected_high": 15.0,
    }  # fmt: skip
    stops = pd.DataFrame([stop, stop | {"tree_id": "T9", "stop": None, "expected_low": float("nan")}])
    trees = form_data(dataclasses.replace(content(), stops=stops))["trees"]
    assert [tree["key"] for tree in trees] == ["north shed / t2", "north shed / t2 #2", "north shed / t9"]
    known, other, new = trees
    assert (known["tree_id"], known["last"], known["stop"], known["low"]) == ("T2", 13.24, "7", 11.0)
    assert (known["bagClock"], known["readClock"], known["why"]) == (
        "12:50",
        "13:05",
        {"en": "fixed", "es": "fijo"},
    )
    assert "stop" not in other
    assert (new["stop"], new["order"], new["low"], new["crop"]) == ("2", 1, None, "prune")


def test_the_gauges_unit_decides_what_can_be_typed() -> None:
    rules = form_data(content(unit="psi", window=["13:00", "14:30"], bag_minutes=12))["rules"]
    assert (rules["unit"], rules["decimals"], rules["window"], rules["bagMinutes"]) == (
        "psi",
        1,
        [780, 870],
        12,
    )
    assert rules["barPerUnit"] == pytest.approx(1 / 14.5038, rel=1e-5)  # NIST SP 811, appendix B; from memory


def test_sets_are_moments() -> None:
    start = pd.Timestamp("2026-07-16 20:00", tz=zoneinfo.ZoneInfo(ZONE))
    row = {"code": "K3T7P", "valve": "N1", "block": None, "pump": "P", "start": start, "end": start}
    (planned,) = form_data(dataclasses.replace(content(), sets=pd.DataFrame([row])))["sets"]
    assert planned["plannedStart"] == 1_784_257_200_000  # 2026-07-17T03:00Z
    assert (planned["code"], planned["block"]) == ("K3T7P", "")


def test_outlines_are_near_what_was_drawn() -> None:
    north, _ = form_data(content())["blocks"]
    (ring,) = north["rings"]
    assert len(ring) == 5
    assert ring[0] == ring[-1]
    assert (north["name"], north["crop"]) == ("North Shed", "prune")


def blanks(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


def test_both_languages_say_the_same_with_the_same_values() -> None:
    english, spanish = form_texts("en"), form_texts("es")
    assert english.keys() == spanish.keys()
    for section in english.keys() - {"locale"}:
        assert english[section].keys() == spanish[section].keys()
        for name, text in english[section].items():
            assert blanks(text) == blanks(spanish[section][name]), name
            assert text != spanish[section][name] or name in {"figure", "metres", "in", "away"}, name


def test_a_set_has_the_troubles_of_the_sheet_of_valve_times() -> None:
    script = (FOLDER / "valves.js").read_text(encoding="utf-8")
    assert tuple(json.loads(re.search(r"TROUBLES = (\[.*\]);", script)[1])) == TROUBLES


def test_every_word_that_a_script_asks_for_is_there_and_every_word_is_used() -> None:
    scripts = "".join(path.read_text(encoding="utf-8") for path in FOLDER.glob("*.js"))
    python = "".join(
        (REPOSITORY / "stressmap" / place).read_text(encoding="utf-8")
        for place in ("output/terminal/short_summaries.py", "output/web/form_page.py")
    )
    texts = form_texts("en")
    there = {f"{section}.{name}" for section, own in texts.items() for name in own}
    sections = "|".join(texts)
    asked = set(re.findall(rf'"((?:{sections})\.\w+)"', scripts))
    assert asked <= there
    made_up = {"tab", "day", "unit", "place", "warn", "trouble", "caution", "said", "hand", "page"}
    unused = {key for key in there - asked if key.split(".")[0] not in made_up and key not in python}
    assert unused - {"locale.language"} == set()
