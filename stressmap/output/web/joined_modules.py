"""A page's ES modules as one strict script, for a page that may ask no network for a second file.

A module may write ``import { a, b } from "./other.js";``, or ``"../map/other.js"`` for one of a page beside
its own, and put ``export`` before a function, class or constant. Joined, every module stands after those that
it imports and all share one scope; so no name may be declared twice at the top of two modules, and an import
must name what the other exports. That much is checked here, and no more: everything else is the linter's and
the browser's.
"""

from __future__ import annotations

import re
from collections.abc import Callable

STRICT = '"use strict";\n'
_IMPORT = re.compile(r'^import \{([^}]*)\} from "\.(?:\./[\w-]+)?/([\w-]+)\.js";\n', flags=re.MULTILINE)
_NAME = r"[A-Za-z_$][\w$]*"
_DECLARED = re.compile(
    rf"^(export )?(?:(?:async )?function\*? ?|class |(?:const|let|var) )({_NAME})", flags=re.MULTILINE
)
_REFUSED = re.compile(r"^(?:import|export)\b.*", flags=re.MULTILINE)
_SEVERAL = re.compile(rf"^(?:export )?(?:const|let|var) (?:[{{\[]|{_NAME}(?: = [^()\[\]{{}}\"';,]*)?,)")


def join(entry: str, read: Callable[[str], str]) -> str:
    r"""Join a module with all that it imports.

    Parameters
    ----------
    entry : str
        Name of the module that uses all others, without ``.js``.
    read : callable
        Gives the text of a module by its name.

    Returns
    -------
    str
        Modules in the order in which each needs those before it, the same for the same modules. It is to
        stand in a strict script: put :data:`STRICT` at that script's very beginning.

    Raises
    ------
    ValueError
        If modules import each other in a circle, declare the same name, import what is not exported, or use
        a form of ``import`` or ``export`` that is not known here.

    Examples
    --------
    >>> texts = {"a": 'import { b } from "./b.js";\nexport const a = b;\n', "b": "export const b = 1;\n"}
    >>> print(join("a", texts.__getitem__), end="")
    const b = 1;
    const a = b;
    """
    texts: dict[str, str] = {}
    order: list[str] = []
    _visit(entry, (), texts, order, read)
    _refuse_same_names(order, texts)
    for name in order:
        _refuse_missing(name, texts)
    return "".join(_stripped(name, texts[name]) for name in order)


def _visit(
    name: str, above: tuple[str, ...], texts: dict[str, str], order: list[str], read: Callable[[str], str]
) -> None:
    if name in above:
        msg = f"modules import each other in a circle: {' -> '.join([*above, name])}"
        raise ValueError(msg)
    if name in texts:
        return
    texts[name] = read(name)
    for _, other in _IMPORT.findall(texts[name]):
        _visit(other, (*above, name), texts, order, read)
    order.append(name)


def _refuse_same_names(order: list[str], texts: dict[str, str]) -> None:
    home: dict[str, str] = {}
    for name in order:
        for _, declared in _DECLARED.findall(texts[name]):
            if declared in home:
                msg = f"{declared} is declared at the top of both {home[declared]}.js and {name}.js"
                raise ValueError(msg)
            home[declared] = name


def _refuse_missing(name: str, texts: dict[str, str]) -> None:
    for names, other in _IMPORT.findall(texts[name]):
        exported = {declared for export, declared in _DECLARED.findall(texts[other]) if export}
        wanted = [part.strip() for part in names.split(",") if part.strip()]
        missing = [one for one in wanted if one not in exported]
        if missing:
            msg = f"{name}.js imports {', '.join(missing)}, which {other}.js does not export"
            raise ValueError(msg)


def _stripped(name: str, text: str) -> str:
    """Take imports and the word export away."""
    plain = _DECLARED.sub(lambda found: found[0].removeprefix("export "), _IMPORT.sub("", text))
    for line in plain.splitlines():
        if _REFUSED.match(line) or _SEVERAL.match(line):
            msg = f"{name}.js: {line!r} cannot be joined; import names in braces and declare one name a line"
            raise ValueError(msg)
    return plain
