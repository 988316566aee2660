"""What the pages of map, overview and season share: a head, and that no script runs but the page's own."""

from __future__ import annotations

import base64
import hashlib

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined, Template


def page_template(name: str) -> Template:
    """Read the template of a page; what ``frame/`` holds it can include.

    Parameters
    ----------
    name : str
        Folder beside this module: ``"map"``, ``"overview"``, ``"season"``.

    Returns
    -------
    jinja2.Template
        Texts put into it are escaped; one that is not given is an error.
    """
    environment = Environment(
        loader=ChoiceLoader([PackageLoader("stressmap.output.web", folder) for folder in (name, "frame")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("page.html")


def script_hash(script: str) -> str:
    """Give what a page says of its one script, so that a browser runs no other.

    Parameters
    ----------
    script : str
        As it stands in the page.

    Returns
    -------
    str
        SHA-256 of the UTF-8 bytes in base 64.

    Examples
    --------
    >>> script_hash("")
    '47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='
    """
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
