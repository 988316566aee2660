"""The overview of a district in a real browser: quiet, accessible, from the list to a ranch and back."""

from pathlib import Path

import numpy as np
import pytest
from helpers.chromium_pages import DESK, PHONE, chromium
from helpers.drawn_district import Named, drawn, failed, folder_of

from stressmap.core.ranch_result import RanchResult
from stressmap.output.view.district_content import district_content
from stressmap.output.web.overview_page import write_overview_page
from stressmap.water.shared_volume import RanchCurve, share_volume

ESCAPE = 27


def water_curve(ranch: RanchResult) -> RanchCurve:
    """One cubic metre brings less after the other; nothing is known of a ranch that failed."""
    if ranch.failed:
        return RanchCurve(ranch.slug, ranch.name, 0.0, float("nan"), why="failed")
    amounts = np.linspace(0.0, 3000.0, 11)
    return RanchCurve(ranch.slug, ranch.name, 9.0, 3000.0, amounts, np.sqrt(amounts), 0.0 * amounts)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("district")
    results = [
        folder_of(drawn(6, valves=3), place / "north", "North <Bench> & Sons"),
        failed("bad", "Bad"),
        folder_of(drawn(3, east=4000.0), place / "south", "South"),
    ]
    shared = share_volume([water_curve(one) for one in results], 4000.0, 0.2)
    content = district_content(Named().name, ("en", "es"), results, shared)
    write_overview_page(content, place / "district.html")
    return place / "district.html"


@pytest.fixture(scope="module")
def page():
    with chromium() as opened:
        yield opened


def shown(page) -> list[str]:
    """What of list and card is on the screen."""
    return page.js("return [...document.querySelectorAll('#panel-body h2')].filter(e => e.offsetParent)"
                   ".map(e => e.textContent)")  # fmt: skip


@pytest.mark.parametrize(("size", "dark"), [(PHONE, False), (DESK, True)], ids=["phone", "desk-dark"])
def test_it_is_quiet_fits_and_is_accessible_whatever_is_shown(page, file, size, dark) -> None:
    page.open(file, size, dark=dark)
    assert page.js("return document.documentElement.dataset.ready") == "true"
    assert page.asked_for() == []
    for step in ("", "#tabs button:nth-child(3)", "#tabs button:nth-child(2)", "#lists .row", "#back",
                 "#lists li:nth-child(2) .row", "#card .row"):  # fmt: skip
        if step:
            page.js("document.querySelector(arguments[0]).click()", step)
        assert page.js("return document.documentElement.scrollWidth - window.innerWidth") <= 0
        assert page.violations() == []
    assert page.complaints() == []


def test_from_the_list_to_a_ranch_and_its_valve_and_back_by_keyboard(page, file) -> None:
    page.open(file, DESK)
    first = page.text("#lists .row .main")
    page.js("document.querySelector('#lists .row').focus()")
    page.press("Enter", 13, "\r")
    assert shown(page) == [first]
    assert page.js("return document.activeElement.textContent") == first
    page.press("Escape", ESCAPE)
    assert page.js("return document.activeElement.className") == "row"


def test_the_water_that_ranches_share_is_listed_and_leads_to_each_of_them(page, file) -> None:
    page.open(file, PHONE)
    page.js("document.querySelector('#tabs button:nth-child(3)').click()")
    assert shown(page) == ["Water shared by the ranches"]
    # as text of the document: a row that the browser has not drawn yet has none on the screen
    listed = page.js("return document.getElementById('lists').textContent")
    assert page.js("return document.querySelector('#lists .row .main').textContent") == "North <Bench> & Sons"
    assert "too few" not in listed
    assert "a licensed adviser decides" in listed
    page.js("document.querySelector('#lists li:nth-child(3) .row').click()")
    assert shown(page) == ["South"]
    assert "Its share of the water" in page.text("#card")


def test_a_search_finds_a_ranch_a_block_and_a_valve_and_tells_where_nothing_is(page, file) -> None:
    page.open(file, PHONE)
    page.js("const s = document.getElementById('search'); s.value = 'b2';"
            "s.dispatchEvent(new Event('input'))")  # fmt: skip
    assert shown(page) == ["Blocks", "Valve zones"]
    page.js("const s = document.getElementById('search'); s.value = 'zzz';"
            "s.dispatchEvent(new Event('input'))")  # fmt: skip
    assert page.text("#lists") == "Nothing is called that."


def test_a_tap_opens_the_ranch_under_it_and_nearer_the_valve_zone(page, file) -> None:
    page.open(file, DESK)
    spot = page.js(
        "const m = [...document.querySelectorAll('.ranch-mark')].find(e => e.textContent.includes('South'));"
        "const b = m.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]"
    )
    page.tap(*spot)
    assert shown(page) == ["South"]
    assert page.js("return document.querySelector('#card a').getAttribute('href')") == "south/map.html"
    spot = page.js(
        "const n = document.querySelector('.map-name');"
        "const b = n.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2, n.textContent]"
    )
    page.tap(*spot[:2])
    assert shown(page) == [spot[2]]


def test_it_speaks_the_other_language(page, file) -> None:
    page.open(file, PHONE)
    page.js("document.querySelector('#languages button[lang=es]').click()")
    assert page.js("return document.documentElement.lang") == "es"
    said = page.text("body")
    assert "ranchos" in said
    for english in ("Urgent\n", "Ranches", "ranches", "water first"):
        assert english not in said
    page.js("document.querySelector('#tabs button:nth-child(2)').click()")
    assert page.js(
        "return [...document.querySelectorAll('#lists [lang]')].map(e => [e.lang, e.textContent])"
    ) == [["en", "=HYPERLINK(1) is not a number."]]
    assert page.violations() == []
