"""The page of a season in a real browser: quiet, accessible, in both languages, by touch and by keyboard."""

from pathlib import Path

import pytest
from helpers.chromium_pages import DESK, PHONE, chromium
from helpers.page_season import season

from stressmap.agronomy.crops import load_profiles
from stressmap.core.settings import Ranch
from stressmap.output.web.season_page import write_season


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "season.html"
    ranch = Ranch(name="North & <Sons>", timezone="America/Los_Angeles")
    write_season(season(), ranch, load_profiles({}, "ranch.toml"), path)
    return path


@pytest.fixture(scope="module")
def page():
    with chromium() as opened:
        yield opened


@pytest.mark.parametrize(("size", "dark"), [(PHONE, False), (DESK, True)], ids=["phone", "desk-dark"])
def test_it_is_quiet_fits_and_is_accessible(page, file, size, dark) -> None:
    page.open(file, size, dark=dark)
    assert page.asked_for() == []
    assert page.complaints() == []
    assert page.js("return document.documentElement.scrollWidth - window.innerWidth") <= 0
    page.js("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert page.js("return document.documentElement.scrollWidth - window.innerWidth") <= 0
    assert page.violations() == []


def test_the_language_changes_everywhere_pictures_too(page, file) -> None:
    page.open(file, PHONE)
    assert "What is urgent" in page.text("body")
    assert "Jul 14" in page.js("return document.querySelector('#urgent .drawn svg').textContent")
    page.js("document.getElementById('say-es').click()")
    assert page.js("return document.documentElement.lang") == "es"
    shown = page.text("body")
    for english in ("What is urgent", "overdue", "Irrigations", "Jul 14"):
        assert english not in shown
    for spanish in ("Lo urgente", "atrasada", "14 jul"):
        assert spanish in shown
    assert page.js(
        "return [...document.querySelectorAll('tspan[lang=en]')]"
        ".every(text => getComputedStyle(text).display === 'none')"
    )
    assert page.violations() == []


def test_arrow_keys_and_a_touch_step_through_a_picture(page, file) -> None:
    page.open(file, DESK)
    page.js("document.querySelector('[data-table=block-2-table]').focus()")
    line = "[data-table=block-2-table] .told"
    assert page.text(line).startswith("Jul 14; Trees, bar: ")
    page.press("ArrowLeft", 37)
    assert page.text(line).startswith("Jul 7; Trees, bar: ")
    assert page.js("return document.querySelectorAll('#block-2-table tr.here').length") == 1
    page.press("Home", 36)
    assert page.text(line).startswith("Jun 23; ")
    page.press("ArrowRight", 39)
    assert page.text(line).startswith("Jun 30; ")
    page.js("document.querySelector('[data-table=block-2-table]').scrollIntoView({block: 'center'})")
    box = page.js(
        "const b = document.querySelector('[data-table=block-2-table] .drawn').getBoundingClientRect();"
        "return [b.left, b.top, b.width, b.height]"
    )
    page.tap(box[0] + 0.97 * box[2], box[1] + box[3] / 2)
    assert page.text(line).startswith("Jul 14; ")


def test_without_scripts_all_is_there_and_the_language_still_changes(page, file) -> None:
    page.cdp("Emulation.setScriptExecutionDisabled", value=True)
    try:
        page.open(file, PHONE)
    finally:
        page.cdp("Emulation.setScriptExecutionDisabled", value=False)
    assert page.js("return getComputedStyle(document.querySelector('.told')).display") == "none"
    page.js("document.getElementById('say-es').checked = true")
    assert "Lo urgente" in page.text("body")
    assert "What is urgent" not in page.text("body")
    assert page.violations() == []
