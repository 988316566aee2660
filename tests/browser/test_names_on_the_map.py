"""Names of valves and blocks on the map: where they fit, never over one another, and harmless."""

import dataclasses
from pathlib import Path

import pytest
from helpers.chromium_pages import DESK, PHONE, Page, chromium
from helpers.drawn_content import full, large, small

from stressmap.output.view.palette import contrast
from stressmap.output.web.map_page import write_map

SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
MOST_LABELS = 400
HOSTILE = [
    "<script>window.hurt=1</script>",
    "<img src=x onerror='window.hurt=1'>",
    "\"quoted\" & 'quoted' `${window.hurt=1}`",
    "\U0001f333\U0001f469\u200d\U0001f33e " * 15,
    "The sixty-character valve whose name nobody ever shortened!!",
    "\u202eright to left \u05d0\u05d1\u05d2",
    "two\nlines\u2028three",
    "BE3",
]
UNBROKEN = [
    "W" * 120,
    "Lower\u00a0" * 24,
    "\u2011W" * 60,
    "\u0915\u094d" * 60,
    "a" + "\u0301" * 100,
    "\U0001f333\u200d" * 60,
    "W\u2060" * 60,
    "\u0628" * 120,
]
"""Without a place to break a line; the fourth is a single letter to Unicode (Annex 29, rule GB9c)."""
SIDEWAYS = (
    "const over = [...document.querySelectorAll('body, #stage, #panel, #panel *, #top, #top *')]"
    ".filter(e => e.checkVisibility() && e.clientWidth && e.scrollWidth > e.clientWidth"
    " && ['auto', 'scroll'].includes(getComputedStyle(e).overflowX)).map(e => e.id || e.className);"
    "const wide = document.documentElement.scrollWidth > window.innerWidth;"
    "return wide ? ['page', ...over] : over"
)
BOXES = (
    "const map = page.map.getContainer().getBoundingClientRect();"
    "const box = (e) => { const r = e.getBoundingClientRect();"
    " return {text: e.textContent, left: r.left - map.left, top: r.top - map.top,"
    " right: r.right - map.left, bottom: r.bottom - map.top}; };"
)


@pytest.fixture(scope="module")
def page():
    with chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Maps by name, each written once."""
    folder = tmp_path_factory.mktemp("names")
    made = {"small": small(), "full": full(), "large": large(), "hostile": hostile(), "unbroken": unbroken()}
    for name, content in made.items():
        write_map(content, folder / f"{name}.html")
    return folder


def hostile():
    content = small()
    return dataclasses.replace(content, valves=content.valves.assign(valve=HOSTILE))


def unbroken(tables=("blocks", "valves", "zones", "readings", "water_plan", "timetable", "look_again")):
    """The full ranch with every name long and without a break: ranch, blocks, valves, crops, trees."""
    content = full()
    long = {
        "block": dict(zip(content.blocks["block"], UNBROKEN, strict=False)),
        "valve": dict(zip(content.valves["valve"], UNBROKEN, strict=True)),
        "crop": {"prune": UNBROKEN[0], "almond": UNBROKEN[3]},
        "tree_id": {tree: name for tree in content.readings["tree_id"] for name in [f"{tree}{UNBROKEN[3]}"]},
    }

    def renamed(table):
        found = {name: table[name].replace(to) for name, to in long.items() if name in table}
        return table.assign(**found)

    return dataclasses.replace(
        content,
        ranch=content.ranch.model_copy(update={"name": UNBROKEN[3]}),
        edges_bar={long["crop"][crop]: edges for crop, edges in content.edges_bar.items()},
        **{name: renamed(getattr(content, name)) for name in tables},
    )


def labels(page: Page, selector: str = ".rank-icon, .map-name.leaflet-marker-icon") -> list[dict]:
    return page.js(BOXES + "return [...document.querySelectorAll(arguments[0])].map(box)", selector)


def names(page: Page, kind: str) -> list[str]:
    return [label["text"] for label in labels(page, f".{kind}-name")]


def zoom_to(page: Page, block: str) -> None:
    page.js("page.drawing.goTo({item: ranch.blocks.find(b => b.block === arguments[0])})", block)


def assert_apart(page: Page) -> None:
    """No label over another or over a button, and all of them wholly on the map."""
    boxes = labels(page)
    edge = page.js("return [page.map.getSize().x, page.map.getSize().y]")
    for box in boxes:
        assert box["left"] >= 0
        assert box["top"] >= 0
        assert box["right"] <= edge[0]
        assert box["bottom"] <= edge[1]
    controls = labels(page, "#tools > button, #layers > summary, #north, .leaflet-control-scale-line")
    everything = boxes + controls
    for place, one in enumerate(boxes):
        for other in everything[place + 1 :]:
            apart = (
                one["right"] <= other["left"]
                or other["right"] <= one["left"]
                or one["bottom"] <= other["top"]
                or other["bottom"] <= one["top"]
            )
            assert apart, f"{one} lies over {other}"


def walk(page: Page, *, steps: int = 9):
    """From the whole ranch down to a single valve."""
    page.js("page.drawing.whole()")
    for step in range(steps):
        page.js(
            "page.map.setView(ranch.valves[0].at, page.drawing.home.zoom + arguments[0], {animate: false})",
            step * 0.75,
        )
        yield step


@SIZES
def test_the_names_of_a_block_appear_when_it_fills_the_map(page: Page, written: Path, size) -> None:
    page.open(written / "small.html", size)
    zoom_to(page, "B1")
    assert {"B1-1", "B1-2", "B1-3"} <= set(names(page, "valve"))
    assert "B1" not in names(page, "block")
    assert page.asked_for() == []
    assert page.complaints() == []


@SIZES
@pytest.mark.parametrize("ranch", ["full", "large", "hostile"])
def test_no_label_covers_another_at_any_zoom(page: Page, written: Path, size, ranch) -> None:
    page.open(written / f"{ranch}.html", size)
    seen = set()
    for _ in walk(page):
        assert_apart(page)
        seen |= {"valve"} if names(page, "valve") else set()
    assert seen == {"valve"}


@SIZES
def test_every_name_lies_inside_its_own_zone(page: Page, written: Path, size) -> None:
    """The browser's own test of a point in a shape, at the corners of the label."""
    page.open(written / "large.html", size)
    outside = (
        "const shapes = page.drawing.shapes, found = [];"
        "const of = (kind, map) => { for (const e of document.querySelectorAll(`.${kind}-name`)) {"
        " const [, shape] = [...map].find(([item]) => item[kind] === e.textContent);"
        " const path = shape.getElement(), back = path.getScreenCTM().inverse();"
        " const r = e.getBoundingClientRect();"
        " for (const x of [r.left + 1, r.right - 1]) for (const y of [r.top + 1, r.bottom - 1])"
        "  if (!path.isPointInFill(new DOMPoint(x, y).matrixTransform(back))) found.push(e.textContent);"
        "} };"
        "of('valve', shapes.valves);"
        "for (const edge of shapes.blocks.values()) edge.setStyle({fill: true, fillOpacity: 0});"
        "of('block', shapes.blocks); return found"
    )
    for _ in walk(page):
        assert page.js(outside) == []


@SIZES
def test_further_out_blocks_are_named_instead(page: Page, written: Path, size) -> None:
    page.open(written / "large.html", size)
    kinds = [(len(names(page, "block")), len(names(page, "valve"))) for _ in walk(page)]
    first_block = next(step for step, (blocks, _) in enumerate(kinds) if blocks)
    first_valve = next(step for step, (_, valves) in enumerate(kinds) if valves)
    assert first_block < first_valve
    assert kinds[first_block][1] == 0
    assert kinds[-1][1] > 0


@SIZES
def test_250_blocks_put_few_labels_into_the_page(page: Page, written: Path, size) -> None:
    page.open(written / "large.html", size)
    counts = []
    for _ in walk(page):
        counts.append(len(labels(page)))
        off = "return [...page.map.getPane(arguments[0]).children].length"
        assert page.js(off, "ranks") + page.js(off, "names") == counts[-1]
    assert 0 < max(counts) <= MOST_LABELS
    page.js("page.drawing.whole()")
    for _ in range(5):
        page.js("page.map.panBy([40, 30], {animate: false})")
    assert len(labels(page)) <= MOST_LABELS


@SIZES
def test_a_hostile_name_is_cut_and_harmless(page: Page, written: Path, size) -> None:
    page.open(written / "hostile.html", size)
    seen, cut = set(), False
    for valve in range(len(HOSTILE)):
        page.js("page.map.setView(ranch.valves[arguments[0]].at, 18, {animate: false})", valve)
        assert_apart(page)
        seen |= set(names(page, "valve"))
        cut |= page.js(
            "return [...document.querySelectorAll('.written')].some(e => e.scrollWidth > e.clientWidth"
            " && getComputedStyle(e).textOverflow === 'ellipsis')"
        )
    assert seen == set(HOSTILE)
    assert cut
    assert page.js("return window.hurt === undefined")
    assert page.js("return document.querySelectorAll('.map-name script, .map-name img').length") == 0
    wide = page.js("return document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0, "a long name pushes the page sideways"
    assert page.asked_for() == []
    assert page.complaints() == []


@SIZES
def test_a_name_without_a_break_moves_nothing_sideways(page: Page, written: Path, size) -> None:
    page.open(written / "unbroken.html", size)
    assert page.js(SIDEWAYS) == []
    for language in ("es", "en"):
        page.js("document.querySelector(`#languages [lang=${arguments[0]}]`).click()", language)
        page.js(
            "for (const d of document.querySelectorAll('#lists details, #cautions details')) d.open = true"
        )
        assert page.js(SIDEWAYS) == [], "the list or the cautions"
    for kind in ("valve", "zone", "reading", "again"):
        items = "again" if kind == "again" else f"{kind}s"
        for place in range(page.js(f"return Math.min(ranch.{items}.length, 8)")):
            page.js(f"page.choose({{kind: '{kind}', item: ranch.{items}[{place}]}})")
            assert page.js(SIDEWAYS) == [], f"the card of a {kind}"
            page.js("page.back()")
    page.js("page.search('W')")
    assert page.js("return document.querySelectorAll('#lists .row').length") > 0
    assert page.js(SIDEWAYS) == [], "what a search finds"
    assert page.complaints() == []


@SIZES
def test_a_long_name_is_written_in_full_in_list_and_card(page: Page, written: Path, size) -> None:
    """Broken into lines, none of them cut at the edge of its box."""
    page.open(written / "unbroken.html", size)
    within = (
        "const edge = (e) => e.closest('.name, h2').getBoundingClientRect().right;"
        "return [...document.querySelectorAll(arguments[0])].filter(e => e.textContent === arguments[1])"
        ".map(e => [...e.getClientRects()].every(r => r.right <= edge(e) + 1))"
    )
    valve = "ranch.valves.find(v => v.valve === arguments[0])"
    for name in (UNBROKEN[0], UNBROKEN[1], UNBROKEN[2]):
        page.js(f"document.querySelectorAll('#valve-rows .row')[{valve}.rank - 1].scrollIntoView()", name)
        assert page.js(within, "#valve-rows .main", name) == [True]
        page.js(f"page.choose({{kind: 'valve', item: {valve}}})", name)
        assert page.js(within, "#card h2 bdi", name) == [True]
        page.js("page.back()")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_names_can_be_read_in_sun_and_at_night(page: Page, written: Path, dark) -> None:
    page.open(written / "small.html", DESK, dark=dark)
    looks = page.js(
        "return [...document.querySelectorAll('.written')].map(e => { const s = getComputedStyle(e);"
        " return [parseFloat(s.fontSize), s.color, s.textShadow]; })"
    )
    assert looks
    for size, colour, halo in looks:
        assert size >= 12
        assert colour == "rgb(17, 17, 17)"
        assert halo.count("rgb(255, 255, 255)") == halo.count("rgb(") >= 8
    assert contrast("#111111", "#ffffff") > 7


def test_names_are_not_read_out_twice_and_need_no_language(page: Page, written: Path) -> None:
    page.open(written / "small.html", DESK)
    hidden = page.js("return ['ranks', 'names'].map(p => page.map.getPane(p).getAttribute('aria-hidden'))")
    assert hidden == ["true", "true"]
    english = sorted(names(page, "valve") + names(page, "block"))
    page.js("document.querySelector('#languages [lang=es]').click()")
    assert sorted(names(page, "valve") + names(page, "block")) == english
    assert english


def test_names_can_be_put_away(page: Page, written: Path) -> None:
    page.open(written / "small.html", DESK)
    box = "document.querySelector('#layers .name-key').closest('label').querySelector('input').click()"
    page.js(box)
    assert names(page, "valve") + names(page, "block") == []
    assert len(labels(page, ".rank")) > 0
    page.js(box)
    assert names(page, "valve")


def test_a_tap_on_a_number_or_a_name_means_the_valve(page: Page, written: Path) -> None:
    """Even where a reading lies under it."""
    page.open(written / "small.html", PHONE)
    zoom_to(page, "B1")
    taps = page.js(
        "const side = page.map.getContainer().getBoundingClientRect();"
        "return [...document.querySelectorAll('.valve-name')].filter(e => e.textContent.startsWith('B1-'))"
        ".map(e => { const r = e.getBoundingClientRect();"
        " const middle = [r.left + r.width / 2 - side.left, r.top + 9 - side.top];"
        " const at = page.map.containerPointToLatLng(middle);"
        " return [e.textContent, at.lat, at.lng]; })"
    )
    assert len(taps) == 3
    for name, latitude, longitude in taps:
        page.js("ranch.readings.find(r => r.used).at = [arguments[0], arguments[1]]", latitude, longitude)
        page.js("page.map.fire('click', {latlng: L.latLng(arguments[0], arguments[1])})", latitude, longitude)
        assert page.js("return [shown.chosen.kind, shown.chosen.item.valve]") == ["valve", name]
        page.js("page.back()")
        zoom_to(page, "B1")


@SIZES
def test_the_valve_that_was_chosen_always_has_its_number(page: Page, written: Path, size) -> None:
    """From afar too, where it would lie under that of a more urgent neighbour."""
    page.open(written / "large.html", size)
    numbers = "return [...document.querySelectorAll('.rank b')].map(b => b.textContent)"
    beside = page.js(
        "const first = page.drawing.shapes.valves.get(ranch.valves[0]).getBounds();"
        "return ranch.valves.findIndex((v, i) => i > 0"
        " && page.drawing.shapes.valves.get(v).getBounds().intersects(first))"
    )
    assert str(beside + 1) not in page.js(numbers)
    page.js("page.choose({kind: 'valve', item: ranch.valves[arguments[0]]}, {fromMap: true})", beside)
    assert str(beside + 1) in page.js(numbers)
    page.js("page.back()")
    for rank in (1, 700, 1500):
        page.js("page.choose({kind: 'valve', item: ranch.valves[arguments[0] - 1]})", rank)
        assert str(rank) in page.js(numbers)
        assert page.js("return ranch.valves[arguments[0] - 1].valve", rank) in names(page, "valve")
        page.js("page.back()")


def test_names_are_printed_too(page: Page, written: Path) -> None:
    page.open(written / "small.html", PHONE)
    page.cdp("Emulation.setEmulatedMedia", media="print")
    page.js("page.forPaper(true)")
    shown = page.js(
        "return [...document.querySelectorAll('.written')].filter(e => e.checkVisibility())"
        ".map(e => e.textContent)"
    )
    page.cdp("Emulation.setEmulatedMedia", media="")
    assert len(shown) >= 3
    assert_apart(page)
