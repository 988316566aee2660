"""``district.html``: the overview of many ranches, one page without network, scripts and data inside it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from markupsafe import Markup

from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.note_words import sentences
from stressmap.output.text.words import Words
from stressmap.output.view.district_content import DistrictContent
from stressmap.output.view.shared_water import shared_water_text
from stressmap.output.web.joined_modules import STRICT, join
from stressmap.output.web.leaflet_files import leaflet_script, leaflet_styles
from stressmap.output.web.map_page import map_styles, page_look, script_json
from stressmap.output.web.overview_data import overview_data
from stressmap.output.web.page_frame import page_template, script_hash
from stressmap.output.web.still_overview import still_overview
from stressmap.output.web.still_page import both, fills

MOST_BYTES = 1_480_000
"""Valve zones are drawn in the page, the most urgent ranches first, as long as it stays below this."""
PUNCTUATION = 6
"""Quotation marks, colon and comma around an entry."""
COMMON = ("locale", "unit", "priority", "measure", "crop", "past", "card", "caution")
"""Sections of the words of all pages that this one speaks too."""
OWN = ("page", "list", "ranch", "valve")
"""Those of its own."""
FROM_CARD = frozenset(
    ["area", "crop", "due", "figure", "last_irrigated", "not_measured", "past_meaning", "rank_of"]
)
"""Of the section ``card`` only these are spoken."""


def write_overview_page(content: DistrictContent, path: Path) -> None:
    """Write the page.

    Parameters
    ----------
    content : DistrictContent
        Of a district.
    path : Path
        Where; the same content gives the same bytes.
    """
    path.write_text(render_overview(content), encoding="utf-8", newline="\n")


def render_overview(content: DistrictContent) -> str:
    """Make the page.

    Parameters
    ----------
    content : DistrictContent
        Of a district.

    Returns
    -------
    str
        HTML that asks no network for anything.
    """
    spoken = [DistrictWords(Words(language, content.units)) for language in content.languages]
    script = f"{STRICT}{leaflet_script()}\n{join('main', _module)}\n"
    gathered, zones = overview_data(content)
    data = gathered | {
        "words": {words.plain.language: _sections(words) for words in spoken},
        "notes": {words.plain.language: list(sentences(content.notes, words.plain)) for words in spoken},
        "water": {words.plain.language: _shared_water(content, words) for words in spoken},
        "mixed": len({ranch.rank_by for ranch in content.ranches}) > 1,
        "style": page_look(),
    }
    page = partial(
        page_template("overview").render,
        language=content.languages[0],
        title=spoken[0]("page.title", district=content.name),
        district=content.name,
        said=partial(_said, spoken),
        still=still_overview(content, spoken),
        fills=fills(),
        styles=Markup(leaflet_styles() + map_styles() + _read("page.css")),
        script=Markup(script),
        script_hash=script_hash(script),
    )
    bare = page(data=script_json(data | {"zones": {}}))
    return page(data=script_json(data | {"zones": _fitting(zones, len(bare.encode("utf-8")))}))


def _fitting(zones: Iterable[tuple[str, str]], used: int) -> dict[str, str]:
    """Take valve zones ranch by ranch as long as the page stays small enough."""
    left = MOST_BYTES - used
    kept: dict[str, str] = {}
    for place, text in zones:
        left -= len(text) + len(place) + PUNCTUATION
        if left < 0:
            break
        kept[place] = text
    return kept


def _said(spoken: list[DistrictWords], key: str) -> str:
    """Say something in every language, in the district's own words where it has any."""
    section = key.partition(".")[0]
    own = section in spoken[0].table()
    return both(spoken, lambda words: words(key) if own else words.plain(key))


def _shared_water(content: DistrictContent, words: DistrictWords) -> dict[str, Any] | None:
    """Tell of the water that the ranches share, where they share any; rows name the ranch's place."""
    if content.shared is None:
        return None
    told = shared_water_text(content.shared, content.title_of, words)
    return {"tab": words("water.tab"), **asdict(told)}


def _sections(words: DistrictWords) -> dict[str, dict[str, str]]:
    common = {name: words.plain.table()[name] for name in COMMON}
    card = {key: text for key, text in common["card"].items() if key in FROM_CARD}
    return common | {"card": card} | {name: words.table()[name] for name in OWN}


def _module(name: str) -> str:
    """Read a module of this page, or of the map where this page has none of that name."""
    own = files("stressmap.output.web").joinpath("overview", f"{name}.js")
    if own.is_file():
        return own.read_text(encoding="utf-8")
    return files("stressmap.output.web").joinpath("map", f"{name}.js").read_text(encoding="utf-8")


def _read(name: str) -> str:
    return files("stressmap.output.web").joinpath("overview", name).read_text(encoding="utf-8")
