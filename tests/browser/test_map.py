"""The map as a person meets it: a phone and a desk, no network, names that bite, both languages."""

import base64
import dataclasses
import json
import re
from pathlib import Path

import pandas as pd
import pytest
from helpers.across_180 import across
from helpers.chromium_pages import DESK, PHONE, Page, chromium
from helpers.drawn_content import LONG, NASTY, START, full, large, small, unmeasured
from helpers.drawn_drought import PAST, drought
from helpers.english_words import english_words

from stressmap.output.text.words import Words
from stressmap.output.view.quantities import area, bar
from stressmap.output.web.map_page import SECTIONS, write_map

SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


@pytest.fixture(scope="module")
def page():
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def small_map(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    write_map(small(), path)
    return path


@pytest.fixture(scope="module")
def full_map(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    write_map(full(), path)
    return path


@pytest.fixture(scope="module")
def large_map(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    write_map(large(), path)
    return path


def middle_of(page: Page, rank: int) -> tuple[float, float]:
    """Where on the screen a valve zone is that its own number does not cover."""
    spot = page.js(
        "const v = ranch.valves[arguments[0]], p = page.map.latLngToContainerPoint(v.at),"
        "b = page.map.getContainer().getBoundingClientRect(); return [b.left + p.x, b.top + p.y]",
        rank - 1,
    )
    return spot[0], spot[1]


def assert_quiet(page: Page) -> None:
    assert page.asked_for() == []
    assert page.complaints() == []


@SIZES
def test_the_map_opens_without_network_and_shows_every_zone(page: Page, small_map: Path, size) -> None:
    page.open(small_map, size)
    assert page.js("return document.documentElement.dataset.ready") == "true"
    assert page.js("return document.querySelectorAll('.zone').length") == 8
    boxes = page.js(
        "const m = page.map.getContainer().getBoundingClientRect();"
        "return [...document.querySelectorAll('.zone')].map(z => z.getBoundingClientRect())"
        ".map(r => r.width > 20 && r.height > 20 && r.left >= m.left && r.right <= m.right"
        " && r.top >= m.top && r.bottom <= m.bottom)"
    )
    assert boxes == [True] * 8
    assert page.js("return document.querySelectorAll('.reading-used').length") == 12
    assert page.js("return document.querySelectorAll('.reading-left-out').length") == 4
    assert_quiet(page)


@SIZES
def test_a_tap_on_a_zone_shows_its_figures_in_plain_words(page: Page, small_map: Path, size) -> None:
    page.open(small_map, size)
    valve = page.js("return ranch.valves[3]")
    page.js("shown.layers.used = shown.layers.leftOut = false; page.drawing.goTo({item: ranch.valves[3]})")
    page.tap(*middle_of(page, 4))
    card = page.text("#card")
    words = Words("en", "us")
    for expected in (
        valve["valve"], "Rank 4 of 8", "Priority 2: water next",
        f"{valve['stress']:.1f} bar drier than target",
        f"Likely between {valve['low']:.1f} and {valve['high']:.1f} bar (90 %)", area(valve["area"], words),
        bar(valve["swp"], words), bar(-14.0, words), "82 %", "3 %", "Jul 6, 2026, 18:30",
    ):  # fmt: skip
        assert expected in card
    assert_quiet(page)


def test_a_tap_on_a_reading_left_out_says_why_in_words(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    page.js(
        "window.bad = ranch.readings.find(r => r.at && !r.used && r.block);"
        "page.map.setView(bad.at, 18, {animate: false})"
    )
    spot = page.js(
        "const p = page.map.latLngToContainerPoint(bad.at);"
        "const b = page.map.getContainer().getBoundingClientRect();"
        "return [b.left + p.x + 9, b.top + p.y - 7]"
    )
    page.tap(*spot)
    card = page.text("#card")
    assert "Reading: left out" in card
    assert "measured at the wrong hour; bag on too short a time" in card
    assert "Jul 14, 2026, 13:24" in card
    assert_quiet(page)


def test_names_from_files_stay_names(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    assert page.js("return window.hurt === undefined")
    page.js("page.choose({kind: 'valve', item: ranch.valves.find(v => v.block === arguments[0])})", NASTY)
    assert page.js("return document.querySelector('#card .under bdi').textContent") == NASTY
    page.js("page.choose({kind: 'valve', item: ranch.valves.find(v => v.block === arguments[0])})", LONG)
    assert LONG in page.text("#card")
    assert page.js("return window.hurt === undefined")
    assert "Willow <Flat> & Sons" in page.text("#ranch-name")
    wide = page.js("return document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0, "a long name pushes the page sideways"
    assert_quiet(page)


def test_even_markup_that_got_in_could_run_nothing(page: Page, small_map: Path) -> None:
    """The page's policy allows its own script by its hash, and no other."""
    page.open(small_map, PHONE)
    page.js(
        "document.body.insertAdjacentHTML('beforeend', '<img src=\"data:,x\" onerror=\"window.hurt = 1\">')"
    )
    page.js(
        "const s = document.createElement('script'); s.textContent = 'window.hurt = 1';"
        "document.body.append(s)"
    )
    assert page.js("return window.hurt === undefined")
    assert any("Content Security Policy" in text for text in page.complaints())


def test_what_was_not_measured_is_hatched_named_and_never_coloured_as_known(
    page: Page, tmp_path: Path
) -> None:
    write_map(unmeasured(small(), ranked=False), tmp_path / "map.html")
    page.open(tmp_path / "map.html", PHONE)
    assert page.js("return document.querySelectorAll('.zone-none').length") == 3
    fills = page.js("return [...document.querySelectorAll('.zone-none')].map(z => z.getAttribute('fill'))")
    assert fills == ["url(#fill-none)"] * 3
    assert "not measured" in page.text("#legend")
    page.js("page.choose({kind: 'valve', item: ranch.valves[7]})")
    card = page.text("#card")
    assert "Not measured: no reading in this block." in card
    assert "not ranked" in card
    assert "Sure of this priority" not in card
    assert_quiet(page)


@SIZES
def test_priority_zones_of_a_block_without_readings_are_hatched_too(page: Page, tmp_path: Path, size) -> None:
    write_map(unmeasured(full()), tmp_path / "map.html")
    page.open(tmp_path / "map.html", size)
    choose = "document.querySelector('#layers input[value=' + arguments[0] + ']').click()"
    fill = "return page.drawing.shapes.zones.map(z => z.getElement().getAttribute('fill'))"
    page.js(choose, "zones")
    bare = page.js("return ranch.zones.map(z => z.block === 'B1')")
    assert bare.count(True) == 2
    assert [f == "url(#fill-none)" for f in page.js(fill)] == bare
    assert "not measured" in page.js("return byId('legend-body').textContent")
    page.js("page.choose({kind: 'zone', item: ranch.zones.find(z => z.block === 'B1')})")
    card = page.text("#card")
    assert "Not measured: no reading in this block." in card
    assert "Odds" not in card
    page.js(choose, "surface")
    covered = page.js("return [...document.querySelectorAll('.bare')].map(z => z.getAttribute('fill'))")
    assert covered == ["url(#fill-none)"]
    page.js(choose, "change")
    valves = "return ranch.valves.filter(v => v.block === 'B1').map(v => page.drawing.shapes.valves.get(v)"
    assert page.js(f"{valves}.getElement().getAttribute('fill'))") == ["url(#fill-none)"] * 3
    assert_quiet(page)


def test_a_zone_tells_the_odds_that_it_is_this_dry_or_drier(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    for dry in (True, False):
        page.js(
            "page.choose({kind: 'zone', item: ranch.zones.find(z => (z.priority < 4) === arguments[0])})", dry
        )
        assert ("Odds that it is this dry or drier\n70 %" in page.text("#card")) == dry
        assert "Sure of this priority" not in page.text("#card")
    page.js("document.querySelector('#languages [lang=es]').click()")
    page.js("page.choose({kind: 'zone', item: ranch.zones.find(z => z.priority < 4)})")
    assert "Probabilidad de que esté así de seco o más\n70 %" in page.text("#card")


def test_the_language_switch_leaves_no_english_word(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    page.js("document.querySelector('#languages [lang=es]').click()")
    page.js("document.querySelectorAll('details').forEach(d => d.open = true)")
    everything = [page.text("body"), page.js("return document.title")]
    everything.append(page.js("return document.getElementById('lists').textContent"))
    everything += page.js("return [...document.querySelectorAll('[aria-label]')].map(e => e.ariaLabel)")
    everything += page.js(
        "return [...document.querySelectorAll('[title],[placeholder]')].map(e => e.title + e.placeholder)"
    )
    for kind in ("valve", "zone", "reading"):
        page.js("page.choose({kind: arguments[0], item: ranch[arguments[0] + 's'][0]})", kind)
        everything.append(page.text("#card"))
    shown = "\n".join(everything)
    for name in (NASTY, LONG, LONG[:12], NASTY[:12], "Willow <Flat> & Sons"):
        shown = shown.replace(name, "")
    english, spanish = (
        {text for name in SECTIONS for text in Words(language).table()[name].values()}
        for language in ("en", "es")
    )
    fixed = {text for text in english - spanish if "{" not in text and len(text) > 3 and text != "English"}
    assert sorted(t for t in fixed if re.search(rf"\b{re.escape(t)}\b", shown, re.IGNORECASE)) == []
    assert english_words(shown) == set()
    assert page.js("return document.documentElement.lang") == "es"
    assert_quiet(page)


def test_every_layer_can_be_shown(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    for name in ("rank", "zones", "surface", "uncertainty", "valves"):
        page.js("document.querySelector(`#layers input[value=${arguments[0]}]`).click()", name)
        assert page.js("return shown.colourBy") == name
        pictures = page.js(
            "return [...document.querySelectorAll('img.picture')].map(i => i.complete && i.naturalWidth > 10)"
        )
        assert pictures == ([True] if name in ("surface", "uncertainty") else [])
    assert_quiet(page)


@SIZES
def test_250_blocks_open_quickly_and_every_valve_is_reachable(page: Page, large_map: Path, size) -> None:
    assert large_map.stat().st_size < 12_000_000
    page.open(large_map, size)
    shown = page.js("return document.querySelectorAll('#valve-rows button').length")
    assert shown == 1500
    page.js(
        "const s = document.getElementById('search'); s.value = 'b250-6'; s.dispatchEvent(new Event('input'))"
    )
    assert page.js(
        "return [...document.querySelectorAll('#valve-rows button')].map(b => b.dataset.valve)"
    ) == ["B250-6"]
    page.js("document.querySelector('#valve-rows button').click()")
    assert "B250-6" in page.text("#card")
    assert page.js("return page.map.getBounds().contains(shown.chosen.item.at)")
    assert_quiet(page)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@SIZES
def test_an_accessibility_checker_finds_nothing(page: Page, full_map: Path, size, dark) -> None:
    page.open(full_map, size, dark=dark)
    for language in ("en", "es"):
        page.js("document.querySelector(`#languages [lang=${arguments[0]}]`).click()", language)
        assert page.violations() == []
        page.js("page.choose({kind: 'valve', item: ranch.valves[1]})")
        assert page.violations() == []
        page.js("page.back(); document.querySelectorAll('details').forEach(d => d.open = true)")
        assert page.violations() == []


@SIZES
def test_what_is_tapped_is_wide_enough_for_a_glove(page: Page, full_map: Path, size) -> None:
    page.open(full_map, size, touch=True)
    page.js("document.querySelectorAll('details').forEach(d => d.open = true)")
    narrow = (
        "return [...document.querySelectorAll('button, summary, a, input[type=search], #layers label')]"
        ".map(e => [e.id || e.textContent, e.getBoundingClientRect()])"
        ".map(([name, r]) => [name, r.width, r.height])"
        ".filter(([, ...sides]) => sides.some(side => side > 1 && side < 44))"
    )
    assert page.js(narrow) == []
    page.js("page.choose({kind: 'valve', item: ranch.valves[0]})")
    assert page.js(narrow) == []


@SIZES
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_choice_of_layers_is_whole_and_on_top(page: Page, full_map: Path, size, language) -> None:
    page.open(full_map, size)
    page.js("document.querySelector(`#languages [lang=${arguments[0]}]`).click()", language)
    page.js("document.querySelector('#layers > summary').click()")
    covered = page.js(
        "return [...document.querySelectorAll('#layers label span')].filter(e => {"
        " const r = e.getBoundingClientRect();"
        " return !e.contains(document.elementFromPoint((r.left + r.right) / 2, (r.top + r.bottom) / 2));"
        "}).map(e => e.textContent)"
    )
    assert covered == []


@SIZES
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_button_with_a_picture_says_what_it_is(page: Page, full_map: Path, size, language) -> None:
    page.open(full_map, size)
    page.js("document.querySelector(`#languages [lang=${arguments[0]}]`).click()", language)
    silent = page.js(
        "return [...document.querySelectorAll('button, summary')].filter(e => e.querySelector('svg')"
        " && e.checkVisibility() && !e.innerText.trim()).map(e => e.id)"
    )
    assert silent == []
    cut = page.js(
        "return [...document.querySelectorAll('#tools button, #layers > summary, #grow')]"
        ".filter(e => e.checkVisibility() && e.scrollWidth > e.clientWidth).map(e => e.id || e.textContent)"
    )
    assert cut == []


def test_the_list_works_from_the_keyboard_alone(page: Page, small_map: Path) -> None:
    page.open(small_map, DESK)
    seen = []
    for _ in range(30):
        page.press("Tab", 9)
        seen.append(page.js("const a = document.activeElement; return a.id || a.dataset.valve || a.tagName"))
        if seen[-1] == page.js("return ranch.valves[0].valve"):
            break
    assert "search" in seen
    assert seen[-1] == page.js("return ranch.valves[0].valve")
    page.press("Enter", 13, "\r")
    assert page.js("return document.activeElement.tagName") == "H2"
    assert "Rank 1 of 8" in page.text("#card")
    page.press("Escape", 27)
    assert page.js("return document.activeElement.dataset.valve") == page.js("return ranch.valves[0].valve")
    assert page.js("return document.getElementById('card').hidden")


def test_search_finds_valve_block_and_tree(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    find = (
        "const s = document.getElementById('search'); s.value = arguments[0];"
        "s.dispatchEvent(new Event('input')); return document.getElementById('lists').textContent"
    )
    assert page.js(find, "B1-2").count("Block B1") == 1
    assert "3 valves" in page.js(find, NASTY)
    assert "B1/4" in page.js(find, "b1/4")
    assert "Nothing is called that." in page.js(find, "no such thing")


def test_search_finds_trees_of_other_visits_with_date_and_figure(page: Page, tmp_path: Path) -> None:
    """14.5038 psi a bar (NIST Special Publication 811, appendix B.8): 12.5 bar are 181 psi."""
    content = small()
    earlier = content.readings.iloc[[0, 0]].assign(
        row=[90, 91], used=False, flags="outside_visit", tree_id=NASTY, pressure_bar=12.5, stress_bar=1.24,
        time=[when - pd.Timedelta(days=14) for when in [START, START - pd.Timedelta(days=14)]],
    )  # fmt: skip
    readings = pd.concat([content.readings, earlier], ignore_index=True)
    write_map(dataclasses.replace(content, readings=readings, gauge_unit="psi"), tmp_path / "map.html")
    page.open(tmp_path / "map.html", PHONE)
    found = page.js(
        "const s = document.getElementById('search'); s.value = 'HURT=1';"
        "s.dispatchEvent(new Event('input'));"
        "const all = [...document.querySelectorAll('#lists details')]"
        ".find(d => d.textContent.includes('other'));"
        "return [...all.querySelectorAll('summary, .name')].map(n => n.textContent)"
    )
    figures = "12.5 bar (181 psi) · 1.2 bar drier than target"
    assert found == [
        "Trees, other visits", f"{NASTY}Jun 30, 2026, 13:20 · {figures}",
        f"{NASTY}Jun 16, 2026, 13:20 · {figures}",
    ]  # fmt: skip
    assert page.js("return document.querySelectorAll('.reading-other').length") == 0
    page.js("[...document.querySelectorAll('#lists details li button')].at(-1).click()")
    card = page.text("#card")
    assert "Reading: of another visit" in card
    assert "12.5 bar (181 psi)" in card
    assert "Jun 16, 2026, 13:20" in card
    page.js("document.querySelectorAll('#layers input[type=checkbox]')[2].click()")
    assert page.js("return document.querySelectorAll('.reading-other').length") == 2
    assert_quiet(page)


def test_twice_the_size_still_fits(page: Page, small_map: Path) -> None:
    """200 % zoom of a phone is half its width and height in CSS pixels."""
    page.open(small_map, (195, 422))
    assert page.js("return document.documentElement.scrollWidth - window.innerWidth") <= 0
    page.js("page.choose({kind: 'valve', item: ranch.valves[0]})")
    assert page.js("return document.documentElement.scrollWidth - window.innerWidth") <= 0
    page.open(small_map, (640, 400))
    assert page.js("return document.documentElement.scrollWidth - window.innerWidth") <= 0


def test_it_prints_with_every_valve_and_the_whole_ranch(page: Page, small_map: Path) -> None:
    page.open(small_map, DESK)
    printed = page.cdp("Page.printToPDF", printBackground=True)["data"]
    assert len(base64.b64decode(printed)) > 20_000
    page.cdp("Emulation.setEmulatedMedia", media="print")
    page.js("page.forPaper(true)")
    assert page.js("return page.map.getBounds().contains(page.drawing.bounds)")
    hidden = page.js("return ['tools', 'layers', 'panel-top'].map(i => getComputedStyle(byId(i)).display)")
    assert hidden == ["none"] * 3
    text = page.text("body")
    assert all(valve in text for valve in page.js("return ranch.valves.map(v => v.valve)"))
    assert "safety glasses" in text
    page.cdp("Emulation.setEmulatedMedia", media="")


def test_dark_phones_get_a_dark_page_and_the_same_zones(page: Page, small_map: Path) -> None:
    colours = "return [getComputedStyle(document.body).backgroundColor, lookOf(1).fill]"
    page.open(small_map, PHONE, dark=True)
    dark = page.js(colours)
    page.open(small_map, PHONE)
    light = page.js(colours)
    assert dark[0] != light[0] == "rgb(255, 255, 255)"
    assert dark[1] == light[1]


def test_own_position_is_shown_or_its_absence_said(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    page.js("page.located({latlng: L.latLng(ranch.valves[2].at), accuracy: 6})")
    assert page.js("return document.querySelectorAll('.me').length") == 1
    assert page.text("#map-word") == "You are here, give or take 20 ft"
    page.js("page.map.fire('locationerror'); page.say(word('map.locate_failed'))")
    assert "gives no position" in page.text("#map-word")


def test_plan_change_and_places_to_look_again_appear_when_there_are_any(page: Page, full_map: Path) -> None:
    page.open(full_map, PHONE)
    page.js("page.choose({kind: 'valve', item: ranch.valves[0]})")
    card = page.text("#card")
    for expected in (
        "10 h 30 min",
        "Thu Jul 16, 2026, 20:00",
        "Fri Jul 17, 2026, 06:30",
        "the riser is not known",
        "3.0 bar wetter",
        "Since Jun 30, 2026",
    ):
        assert expected in card
    page.js("page.back(); document.querySelector('#layers input[value=change]').click()")
    assert "Ranks 4 to 6: too close to call" in page.js("return byId('lists').textContent")
    assert "Places to look again (3)" in page.text("#lists")
    assert page.js("return document.querySelectorAll('.again').length") >= 3
    assert_quiet(page)


@SIZES
def test_a_drought_in_which_all_is_first_still_tells_what_is_urgent(page: Page, tmp_path: Path, size) -> None:
    path = tmp_path / "map.html"
    write_map(drought(), path)
    page.open(path, size)
    assert page.js("return document.querySelectorAll('.past-limit').length") == PAST
    assert "past what the crop bears" in page.text("#legend")
    assert page.js("return document.querySelector('#valve-rows li').innerText") == (
        f"Past what the crop bears ({PAST})"
    )
    said = page.text("#lists .instead p")
    assert said.startswith("100 % of the area is P1 water first")
    low = page.js(
        "return document.querySelector('.instead p').getBoundingClientRect().top"
        " < document.getElementById('cautions').getBoundingClientRect().top"
    )
    assert low
    page.js("document.querySelector('.instead button').click()")
    assert page.js("return shown.colourBy") == "rank"
    fills = page.js("return [...document.querySelectorAll('.zone')].map(z => z.getAttribute('fill'))")
    assert len(set(fills)) == 8
    assert "1: the most urgent" in page.text("#legend")
    page.js("page.choose({kind: 'valve', item: ranch.valves[0]})")
    card = page.text("#card")
    for expected in (
        "past what the crop bears",
        "4.0 bar below a fully watered tree",
        "Trees relieved, 3.0 bar wetter",
        "Gauge \u22121.3 = weather +1.7 and trees \u22123.0 bar",
        "The target moved by +1.2 bar",
        "Plus is drier",
    ):
        assert expected in card
    page.js("document.querySelector('#languages [lang=es]').click(); page.back()")
    assert f"Más de lo que aguanta el cultivo ({PAST})" in page.text("#lists")
    assert_quiet(page)


def test_without_weather_the_first_screen_says_that_heat_is_in_the_figures(
    page: Page, small_map: Path
) -> None:
    page.open(small_map, PHONE)
    assert "No weather: the day's heat is not taken out of the figures." in page.text("#legend")


def test_list_and_card_say_how_many_trees_stand_behind_a_figure(page: Page, small_map: Path) -> None:
    page.open(small_map, PHONE)
    rows = page.js("return [...document.querySelectorAll('#valve-rows .trees')].map(e => e.textContent)")
    assert len(rows) == 8
    used = page.js(
        "return ranch.valves.map(v => ranch.readings.filter(r => r.used && r.valve === v.valve).length)"
    )
    words = {0: "no tree: from its neighbours", 1: "one tree"}
    assert rows == [words.get(count, f"{count} trees") for count in used]
    page.js("page.choose({kind: 'valve', item: ranch.valves[0]})")
    assert f"Trees behind the figure\n{rows[0]}" in page.text("#card")


def test_a_basemap_without_signal_changes_nothing(page: Page, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    write_map(dataclasses.replace(small(), basemap="https://{s}.tiles.invalid/{z}/{x}/{y}.png"), path)
    page.open(path, PHONE)
    assert page.js("return document.querySelectorAll('.zone').length") == 8
    assert all(".tiles.invalid/" in url for url in page.asked_for())


def test_the_data_inside_the_page_is_what_was_given(small_map: Path) -> None:
    text = small_map.read_text(encoding="utf-8")
    data = json.loads(text.split('id="ranch-data">')[1].split("</script>")[0])
    assert data["blocks"][1]["block"] == NASTY
    assert [valve["rank"] for valve in data["valves"]] == list(range(1, 9))


@SIZES
def test_a_ranch_across_180_degrees_is_shown_in_one_piece(page: Page, size, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    write_map(across("EPSG:32760"), path)
    page.open(path, size)
    spots = page.js(
        "const s = page.map.getSize();"
        "return ranch.valves.map(v => page.map.latLngToContainerPoint(v.at)).map(p => [p.x / s.x, p.y / s.y])"
    )
    assert len(spots) > 3
    assert all(0 < x < 1 and 0 < y < 1 for x, y in spots)
    across_the_screen = [x for x, _ in spots]
    assert max(across_the_screen) - min(across_the_screen) > 0.3
    assert_quiet(page)


def test_the_list_goes_by_rank_or_by_the_clock(page: Page, full_map: Path) -> None:
    page.open(full_map, PHONE)
    names = "return [...document.querySelectorAll('#valve-rows button')].map(b => b.dataset.valve)"
    ranked = page.js(names)
    page.js("[...document.querySelectorAll('.order button')][1].click()")
    by_clock = page.js(names)
    content = full()
    opened = content.timetable.sort_values("start", kind="stable")["valve"].tolist()
    assert by_clock[: len(opened)] == opened
    assert set(by_clock) == set(ranked)
    assert page.js("return document.activeElement.getAttribute('aria-pressed')") == "true"
    assert page.violations() == []
    page.js("[...document.querySelectorAll('.order button')][0].click()")
    assert page.js(names) == ranked
    assert_quiet(page)


def test_a_dry_valve_says_why(page: Page, tmp_path: Path) -> None:
    content = full()
    dry = content.water_plan["hours"] == 0
    plan = content.water_plan.assign(status="watered", limited_by=None)
    plan.loc[dry, ["status", "limited_by"]] = ["dry", "water"]
    write_map(dataclasses.replace(content, water_plan=plan), tmp_path / "map.html")
    page.open(tmp_path / "map.html", PHONE)
    name = plan.loc[dry, "valve"].iloc[0]
    page.js("page.choose({kind: 'valve', item: ranch.valves.find(v => v.valve === arguments[0])})", name)
    assert "Not enough water" in page.text("#card")


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_valve_to_look_at_first_says_so_before_its_times(page: Page, tmp_path: Path, language: str) -> None:
    content = full()
    looked = [("not_relieved", "drier_than_block"), *[()] * 7]
    plan = content.water_plan.assign(inspect=looked)
    write_map(dataclasses.replace(content, water_plan=plan), tmp_path / "map.html")
    page.open(tmp_path / "map.html", PHONE)
    words = Words(language)
    name, mark = plan["valve"].iloc[0], f"! {words('look.first')}"
    page.js("document.querySelector(`#languages [lang=${arguments[0]}]`).click()", language)
    marked = (
        "return [...document.querySelectorAll('#valve-rows button')].filter(b => b.textContent"
        ".includes(arguments[0])).map(b => b.dataset.valve)"
    )
    assert page.js(marked, mark) == [name]
    page.js("[...document.querySelectorAll('.order button')][1].click()")
    openings = int((content.timetable["valve"] == name).sum())
    assert openings > 0
    assert page.js(marked, mark) == [name] * openings
    page.js("page.choose({kind: 'valve', item: ranch.valves.find(v => v.valve === arguments[0])})", name)
    card = page.text("#card")
    assert card.index(mark) < card.index(words("look.not_relieved")) < card.index(words("card.plan_start"))
    assert card.index(mark) < card.index(words("look.drier_than_block")) < card.index(words("card.figure"))
    assert_quiet(page)


def test_a_phone_that_is_turned_shows_the_whole_ranch_again(page: Page, full_map: Path) -> None:
    across, up = (PHONE[1], PHONE[0]), PHONE
    inside = (
        "const done = arguments[0]; let frames = 12; const wait = () => (frames-- ? "
        "requestAnimationFrame(wait) : done(page.map.getBounds().contains(page.drawing.bounds)"
        " && page.drawing.atHome())); wait()"
    )
    page.open(full_map, across)
    for size in (up, across, up):
        page.size(*size)
        assert page.driver.execute_async_script(inside)
    page.js("page.map.setZoom(page.map.getZoom() + 2, {animate: false})")
    zoom = page.js("return page.map.getZoom()")
    page.size(*across)
    assert not page.driver.execute_async_script(inside)
    assert page.js("return page.map.getZoom()") == zoom, "what was chosen to be seen stays"
