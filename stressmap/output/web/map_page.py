"""``map.html``: one page for a phone without signal, its scripts, styles, words and data inside it."""

from __future__ import annotations

import json
import re
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import folium
from folium.template import Template
from markupsafe import Markup

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crop_words import crop_cautions, crop_title
from stressmap.output.view.palette import (
    CHANGE_RAMP,
    DRY_RAMP,
    NOT_MEASURED,
    PAST_LIMIT,
    PATTERN,
    PRIORITY,
    RANK_RAMP,
    UNSURE_RAMP,
    gradient,
    ink_on,
)
from stressmap.output.web.joined_modules import STRICT, join
from stressmap.output.web.leaflet_files import leaflet_script, leaflet_styles
from stressmap.output.web.map_data import map_data
from stressmap.output.web.page_frame import page_template, script_hash
from stressmap.output.web.still_page import both, fills, still_page

SECTIONS = (
    "locale", "unit", "priority", "measure", "crop", "method", "flag", "trees", "map", "list", "card",
    "place", "look", "caution", "about",
)  # fmt: skip
"""Sections of the words that the page speaks."""

ENTRY = "main"
"""The module of the page that uses all others."""


class RanchMap(folium.Map):
    """A folium map without folium's links to scripts and styles on the network, and with a lasting name."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012 - folium reads it from the class
    default_css: list[tuple[str, str]] = []  # noqa: RUF012 - folium reads it from the class

    def __init__(self, **options: Any) -> None:
        super().__init__(tiles=None, zoom_control=False, **options)
        self._id = "ranch"


class RanchLayers(folium.MacroElement):
    """Everything that is drawn on the map and listed beside it."""

    _template = Template(
        "{% macro script(this, kwargs) %}startRanchMap({{ this._parent.get_name() }});{% endmacro %}"
    )

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "layers"
        self._id = "ranch"


def write_map(content: Content, path: Path, picture: bytes | None = None) -> None:
    """Write the map.

    Parameters
    ----------
    content : Content
        The finished run.
    path : Path
        Where; the same content gives the same bytes.
    picture : bytes, optional
        The map as a PNG, for where no script runs.
    """
    path.write_text(render(content, picture), encoding="utf-8", newline="\n")


def render(content: Content, picture: bytes | None = None) -> str:
    """Make the page.

    Parameters
    ----------
    content : Content
        The finished run.
    picture : bytes, optional
        The map as a PNG, for where no script runs.

    Returns
    -------
    str
        HTML that asks no network for anything.
    """
    data = map_data(content)
    frame = RanchMap(location=_centre(data), zoom_start=15, max_zoom=20, min_zoom=8, zoom_snap=0.25)
    frame.add_child(RanchLayers())
    figure: Any = frame.get_root()
    figure.render()
    script = _scripts() + figure.script.render()
    words = Words(content.ranch.languages[0], content.ranch.units)
    visit = words.days(*content.visit)
    return page_template("map").render(
        language=content.ranch.languages[0],
        words=words,
        said=partial(_said, content),
        still=still_page(content, picture),
        fills=fills(),
        visit=visit,
        ranch=content.ranch.name,
        title=words("map.title", ranch=content.ranch.name, visit=visit),
        pictures_from=_tile_source(content.basemap),
        styles=Markup(_styles()),
        data=script_json(data | {"words": _texts(content), "style": page_look()}),
        map_html=Markup(figure.html.render()),
        map_script=Markup(script),
        script_hash=script_hash(script),
    )


def _said(content: Content, key: str) -> str:
    """Say something in every language of the map."""
    spoken = [Words(language, content.ranch.units) for language in content.ranch.languages]
    return both(spoken, lambda words: words(key))


def script_json(value: Any) -> Markup:
    r"""Write data so that nothing in it can end a script element or a script's line.

    Parameters
    ----------
    value : object
        Plain lists, dictionaries, numbers and text.

    Returns
    -------
    Markup

    Examples
    --------
    >>> print(script_json({"name": "</script>&\u2028"}))
    {"name":"\u003c/script\u003e\u0026\u2028"}
    """
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def _texts(content: Content) -> dict[str, Any]:
    spoken = [Words(language, content.ranch.units) for language in content.ranch.languages]
    return {words.language: _sections(content, words) for words in spoken}


def _sections(content: Content, words: Words) -> dict[str, dict[str, str]]:
    """Give the words of one language, with what the ranch's own crops are called and their cautions."""
    sections = {name: words.table()[name] for name in SECTIONS}
    own = {crop.replace(" ", "_"): crop_title(crop, content.profiles, words) for crop in content.profiles}
    cautions = " ".join(crop_cautions(content.profiles, words))
    return sections | {
        "crop": sections["crop"] | own,
        "caution": sections["caution"] | {"crops": cautions},
    }


def page_look() -> dict[str, Any]:
    """Give colours and signs to a page's scripts.

    Returns
    -------
    dict
        ``priority`` (fill, ink and sign of each), ``none`` for what was not measured, ``ramps``, ``past``.
    """
    return {
        "priority": {n: {"fill": c, "ink": ink_on(c), "pattern": PATTERN[n]} for n, c in PRIORITY.items()},
        "none": {"fill": NOT_MEASURED, "ink": ink_on(NOT_MEASURED), "pattern": "open"},
        "ramps": {
            "surface": gradient(DRY_RAMP),
            "uncertainty": gradient(UNSURE_RAMP),
            "change": gradient(CHANGE_RAMP),
            "rank": gradient(RANK_RAMP),
        },
        "changeRamp": CHANGE_RAMP,
        "rankRamp": RANK_RAMP,
        "past": PAST_LIMIT,
    }


def _tile_source(basemap: str | None) -> str:
    """Name the one place besides the page itself that pictures may come from."""
    return f" {re.sub(r'{.}', '*', basemap.split('/')[2])}" if basemap else ""


def _centre(data: dict[str, Any]) -> tuple[float, float]:
    points = [valve["at"] for valve in data["valves"]] or [[0.0, 0.0]]
    middle = [(min(axis) + max(axis)) / 2 for axis in zip(*points, strict=True)]
    return round(middle[0], 6), round(middle[1], 6)


def _read(*parts: str) -> str:
    return files("stressmap.output.web").joinpath(*parts).read_text(encoding="utf-8")


def _styles() -> str:
    return leaflet_styles() + map_styles()


def map_styles() -> str:
    """Give the style sheet of the map's page.

    Returns
    -------
    str
    """
    return _read("map", "page.css")


def _scripts() -> str:
    modules = join(ENTRY, lambda name: _read("map", f"{name}.js"))
    return f"{STRICT}{leaflet_script()}\n{modules}\n"
