"""The map where no script runs, as in the preview of an attached file: picture, list, legend and cautions."""

import base64
import dataclasses
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from helpers.chromium_pages import DESK, PHONE, Page, chromium
from helpers.drawn_content import NASTY, full, unmeasured
from helpers.drawn_drought import drought

from stressmap.output.paper.picture import picture_bytes
from stressmap.output.text.words import Words
from stressmap.output.view.crew_words import turns
from stressmap.output.view.daily_sets import set_lines
from stressmap.output.web.map_page import write_map

SHOWN = ("map.legend", "list.heading", "priority.p1", "priority.p4", "caution.heat", "caution.advice")
PICTURE = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
"""A single point, where what the picture shows does not matter."""
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


@pytest.fixture(scope="module")
def still() -> Iterator[Page]:
    with chromium() as opened:
        opened.cdp("Emulation.setScriptExecutionDisabled", value=True)
        yield opened


@pytest.fixture(scope="module")
def page() -> Iterator[Page]:
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("map") / "map.html"
    write_map(full(), made, picture_bytes(full()))
    return made


def text_of(page: Page) -> str:
    return str(page.js("return document.body.innerText"))


@SIZES
def test_valves_times_legend_and_cautions_are_there_in_both_languages(still: Page, path: Path, size) -> None:
    still.open(path, size)
    assert still.js("return typeof ranch") == "undefined"
    text, content = text_of(still), full()
    spoken = [Words(language, content.ranch.units) for language in content.ranch.languages]
    for turn in turns(content):
        assert turn.row["valve"] in text
        assert all(line in text for words in spoken for line in set_lines(turn.sets, words))
    for words in spoken:
        for key in (
            "map.legend",
            "list.heading",
            "priority.p1",
            "priority.p4",
            "caution.heat",
            "caution.advice",
        ):
            assert words(key) in text


def test_the_order_is_that_of_the_ranks(still: Page, path: Path) -> None:
    still.open(path)
    shown = still.js(
        "return [...document.querySelectorAll('#still ol b:first-child[dir]')].map(b => b.innerText)"
    )
    assert shown == [turn.row["valve"] for turn in turns(full())]


@SIZES
def test_the_picture_is_large_enough_to_read_and_nothing_pushes_the_page_sideways(
    still: Page, path: Path, size
) -> None:
    still.open(path, size)
    found = still.js(
        "const i = document.querySelector('#still img'), b = i.getBoundingClientRect(), f = i.parentNode,"
        "r = f.getBoundingClientRect();"
        "return [i.naturalWidth, i.naturalHeight, b.width, r.left, r.right, f.scrollWidth - f.clientWidth]"
    )
    assert found[:2] == [1600, 1200]
    assert found[2] >= 1000 or size == DESK
    assert found[3] >= 0
    assert found[4] <= size[0]
    assert (found[5] > 0) is (size == PHONE)
    assert still.js("return document.documentElement.scrollWidth") <= size[0]
    assert still.js("return getComputedStyle(document.getElementById('stage')).display") == "none"


@pytest.mark.parametrize(
    "content", [full, lambda: unmeasured(full()), drought], ids=["full", "unmeasured", "past"]
)
def test_nothing_is_fetched_and_nothing_complained_of(still: Page, content, tmp_path: Path) -> None:
    write_map(content(), tmp_path / "map.html")
    still.open(tmp_path / "map.html")
    assert still.asked_for() == []
    assert "priority" not in text_of(still).split()  # no key in place of its words


def test_names_that_bite_are_shown_as_they_are(still: Page, path: Path) -> None:
    still.open(path)
    assert " ".join(NASTY.split()) in still.js("return document.getElementById('still').textContent")
    assert still.js("return window.hurt") is None


@pytest.mark.parametrize("languages", [("en", "es"), ("es", "en")], ids=["en", "es"])
@pytest.mark.parametrize(("size", "dark"), [(PHONE, False), (DESK, True)], ids=["phone", "desk-dark"])
def test_an_accessibility_checker_finds_nothing(
    page: Page, tmp_path: Path, languages: tuple[str, ...], size: tuple[int, int], *, dark: bool
) -> None:
    """axe-core 4.14 (assets/axe, Mozilla Public License 2.0), itself a script, on the same page laid bare."""
    content = full()
    told = content.ranch.model_copy(update={"languages": languages})
    write_map(dataclasses.replace(content, ranch=told), tmp_path / "map.html", PICTURE)
    text = (tmp_path / "map.html").read_text(encoding="utf-8").split('<script type="application/json"')[0]
    bare = tmp_path / "bare.html"
    bare.write_text(re.sub("</?noscript>", "", text) + "</body></html>", encoding="utf-8")
    page.open(bare, size, dark=dark)
    assert page.violations() == []


def test_where_scripts_run_it_is_not_there(page: Page, path: Path) -> None:
    page.open(path)
    assert page.js("return document.getElementById('still')") is None
    assert page.js("return document.querySelectorAll('noscript').length") == 2
