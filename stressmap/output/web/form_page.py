"""The field form: a folder of files that any https host serves and a phone keeps for use without signal."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from stressmap.output.text.form_words import form_word
from stressmap.output.web.form_data import FormContent, form_data

MODULES = (
    "main.js", "page.js", "trees.js", "reading.js", "valves.js", "hand_over.js", "warned.js", "log.js",
    "record.js", "export_csv.js", "checks.js", "clock.js", "pad.js", "places.js", "words.js", "codes.js",
    "codes_screen.js", "qr.js",
)  # fmt: skip
"""Scripts of the page, ES modules; ``main.js`` uses all others."""
AS_THEY_ARE = (*MODULES, "form.css", "icon-192.png", "icon-512.png")
MADE = ("index.html", "data.json", "manifest.webmanifest")
WORKER = "service_worker.js"
FORM_FILES = frozenset({*AS_THEY_ARE, *MADE, WORKER})
"""Every file of a form."""
COLOUR = "#16324f"


def form_files(content: FormContent) -> dict[str, bytes]:
    """Make every file of a form.

    Parameters
    ----------
    content : FormContent
        Of one ranch.

    Returns
    -------
    dict of str to bytes
        By name; the same content gives the same bytes. The service worker holds the fingerprint of all
        others, so that a phone renews all of them together or none.
    """
    data = form_data(content)
    made = {name: _asset(name) for name in AS_THEY_ARE}
    made["data.json"] = _json(data)
    made["manifest.webmanifest"] = _json(_manifest(content))
    made["index.html"] = _page(content)
    return made | {WORKER: _worker(made)}


def _worker(made: Mapping[str, bytes]) -> bytes:
    names = sorted(made)
    whole = hashlib.sha256()
    for name in names:
        whole.update(hashlib.sha256(name.encode()).digest() + hashlib.sha256(made[name]).digest())
    head = f'const VERSION = "{whole.hexdigest()[:16]}";\nconst FILES = {json.dumps(names)};\n'
    return head.encode() + _asset("offline.js")


def _page(content: FormContent) -> bytes:
    ranch = content.settings.ranch
    first = ranch.languages[0]
    said = {name: form_word(first, f"page.{name}") for name in ("broken", "no_script")}
    environment = Environment(
        loader=PackageLoader("stressmap.output.web", "form"), autoescape=True, undefined=StrictUndefined,
        keep_trailing_newline=True,
    )  # fmt: skip
    title = form_word(first, "page.title", ranch=ranch.name)
    page = environment.get_template("index.html").render(
        language=first, title=title, ranch=ranch.name, **said
    )
    return page.encode()


def _manifest(content: FormContent) -> dict[str, Any]:
    ranch = content.settings.ranch
    first = ranch.languages[0]
    icons = [
        {"src": f"icon-{side}.png", "sizes": f"{side}x{side}", "type": "image/png", "purpose": purpose}
        for side in (192, 512)
        for purpose in ("any", "maskable")
    ]
    return {
        "name": form_word(first, "page.title", ranch=ranch.name),
        "short_name": form_word(first, "page.short"),
        "description": form_word(first, "page.about"),
        "lang": first,
        "start_url": "./",
        "scope": "./",
        "id": f"./?ranch={content.key}",
        "display": "standalone",
        "orientation": "portrait",
        "background_color": "#ffffff",
        "theme_color": COLOUR,
        "icons": icons,
    }


def _json(value: Any) -> bytes:
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8", "backslashreplace")


def _asset(name: str) -> bytes:
    return files("stressmap.output.web").joinpath("form", name).read_bytes()
