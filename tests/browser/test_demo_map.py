"""The files of the demo ranch in a real browser, as the crew and the specialist open them."""

import pytest
from helpers.chromium_pages import DESK, PHONE, chromium


@pytest.fixture(scope="module")
def page():
    with chromium() as opened:
        yield opened


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_map_of_the_demo_is_small_quiet_and_whole(demo, page, size):
    path = demo / "map.html"
    assert path.stat().st_size < 3_000_000
    page.open(path, size)
    assert page.js("return document.documentElement.dataset.ready") == "true"
    drawn = page.js(
        "return [...page.drawing.shapes.valves.values()].map(s => s.getElement().getBBox().width > 3)"
    )
    assert drawn == [True] * 60
    assert page.js("return page.map.getBounds().contains(page.drawing.bounds)")
    assert page.asked_for() == []
    assert page.complaints() == []


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_list_and_map_stay_in_step(demo, page, size):
    """Every row leads to its zone on the map and to its figures."""
    page.open(demo / "map.html", size)
    names = page.js("return [...document.querySelectorAll('#valve-rows button')].map(b => b.dataset.valve)")
    assert names == page.js("return ranch.valves.map(v => v.valve)")
    for place, name in list(enumerate(names))[::12]:
        page.js("document.querySelectorAll('#valve-rows button')[arguments[0]].click()", place)
        assert name in page.text("#card h2")
        assert page.js("return page.map.getBounds().contains(shown.chosen.item.at)")
        assert page.js("return document.querySelectorAll('.chosen').length") >= 1
        page.js("page.back()")
    assert page.complaints() == []


def test_the_demo_in_spanish_has_no_english_crop_or_label(demo, page):
    page.open(demo / "map.html", PHONE)
    page.js("document.querySelector('#languages [lang=es]').click()")
    shown = page.js("return document.body.innerText + byId('lists').textContent + byId('legend').textContent")
    for english in (
        "water first",
        "water next",
        "watch",
        "can wait",
        "Block",
        "Valve",
        "prune",
        "drier",
        "too close",
    ):
        assert english not in shown


def test_the_report_of_the_demo_is_quiet(demo, page):
    page.open(demo / "report.html", DESK)
    assert page.js("return document.querySelectorAll('#specialist svg').length") == 5
    assert page.js("return document.querySelectorAll('#moves svg').length") > 0
    assert page.asked_for() == []
    assert page.complaints() == []
