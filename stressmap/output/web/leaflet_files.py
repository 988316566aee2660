"""Leaflet as it lies beside our pages, less what would make a browser ask for a file."""

from __future__ import annotations

import re
from importlib.resources import files


def leaflet_styles() -> str:
    """Give its style sheet without pictures.

    Returns
    -------
    str
    """
    return re.sub(r"[\w-]+:\s*url\([^)]*\);?", "", _read("leaflet.css"))


def leaflet_script() -> str:
    """Give its licence and its script.

    Returns
    -------
    str
    """
    script = re.sub(r"//# sourceMappingURL=\S+", "", _read("leaflet.js"))
    return "/*!\n" + _read("LICENSE") + "*/\n" + script


def _read(name: str) -> str:
    return files("stressmap.output.web").joinpath("leaflet", name).read_text(encoding="utf-8")
