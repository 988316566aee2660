"""The JSON Schema of ``ranch.toml``, made from the settings and the crop profiles that read it."""

from __future__ import annotations

import json
import tomllib
from importlib.resources import files
from typing import Any

from stressmap.agronomy.crops import CropProfile
from stressmap.core.settings import Settings

NAME = "ranch.schema.json"
"""Of the file that ``start`` writes beside a ``ranch.toml``, and of that in the package."""
DRAFT = "http://json-schema.org/draft-07/schema#"
_PACKAGE = "stressmap.output.staging"
_KEPT = {
    "type", "properties", "required", "additionalProperties", "items", "enum", "const", "pattern",
    "minLength", "minItems", "maxItems", "maxProperties", "minimum", "maximum",
    "exclusiveMinimum", "exclusiveMaximum",
    "default", "description", "propertyNames",
}  # fmt: skip


def packaged_text() -> str:
    """Read the schema that comes with the program.

    Returns
    -------
    str
        As :func:`made_text` makes it; a test holds the two together.
    """
    return files(_PACKAGE).joinpath("templates", NAME).read_text(encoding="utf-8")


def made_text() -> str:
    """Make the schema anew.

    Returns
    -------
    str
        JSON.
    """
    return json.dumps(ranch_schema(), indent=1, ensure_ascii=False) + "\n"


def ranch_schema() -> dict[str, Any]:
    """Make the JSON Schema (draft 7) of a ``ranch.toml`` as editors read it: days and times as text.

    Returns
    -------
    dict
        It accepts what the program accepts; what the program refuses for its value alone (an order of days, a
        time zone that does not exist) it may accept.
    """
    about = tomllib.loads(files(_PACKAGE).joinpath("templates", "ranch_keys.toml").read_text("utf-8"))
    settings = _flat(Settings.model_json_schema(by_alias=True), about)
    crop = _flat(CropProfile.model_json_schema(by_alias=True), about)
    # What a ranch says of a crop is laid over the built-in profile, so nothing is required of it.
    crop.pop("required")
    crop["properties"]["name"] = {"description": crop["properties"]["name"]["description"]}
    settings["properties"]["crops"]["additionalProperties"] = crop
    return {"$schema": DRAFT, "title": "ranch.toml of stressmap", **settings}


def _flat(schema: dict[str, Any], about: dict[str, dict[str, str]]) -> dict[str, Any]:
    """Put definitions where they are used, and leave out what TOML does not have or editors do not show."""
    definitions = schema.get("$defs", {})

    def walk(node: dict[str, Any]) -> dict[str, Any]:
        if "$ref" in node:
            node = definitions[node["$ref"].split("/")[-1]] | {k: v for k, v in node.items() if k != "$ref"}
        options = [option for option in node.get("anyOf", ()) if option.get("type") != "null"]
        if options:
            return walk(options[0]) | _kept({k: v for k, v in node.items() if k != "anyOf"}, walk, about)
        return _kept(node, walk, about)

    return walk(schema)


def _kept(node: dict[str, Any], walk: Any, about: dict[str, dict[str, str]]) -> dict[str, Any]:
    kept = {key: value for key, value in node.items() if key in _KEPT - {"description"}}
    if kept.get("default", ...) is None or isinstance(kept.get("default"), dict):
        del kept["default"]
    for key in ("items", "additionalProperties"):
        if isinstance(kept.get(key), dict):
            kept[key] = walk(kept[key])
    if "prefixItems" in node:
        kept["items"] = [walk(item) for item in node["prefixItems"]]
    if "properties" in node:
        said = about[node["title"]]
        kept["properties"] = {
            key: walk(inner) | {"description": said[key]} for key, inner in node["properties"].items()
        }
    return kept
