"""What people choose or write for a trouble at a valve or at a tree -> its codes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from stressmap.core.text import without_accents

TROUBLE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        word: code
        for code, words in {
            "leak": "leak,leaking,leaks,fuga,fugas,3",
            "broken_line": "broken line,broken pipe,linea rota,tubo roto",
            "clogged": "clogged emitters,clogged,blocked,plugged,dry emitter,goteros tapados,gotero tapado,"
            "tapado,tapada,tapados,tapadas,2",
            "low_pressure": "low pressure,no pressure,poca presion,sin presion,1",
            "does_not_open": "does not open,no abre",
            "does_not_close": "does not close,no cierra,5",
            "not_opened": "not opened,no se abrio",
            "other": "other,otro,otra,4",
        }.items()
        for word in (code.replace("_", " "), *words.split(","))
    }
)
"""Folded words, and the numbers beside the boxes of the crew sheet, and their codes in ``core.troubles``."""
TREE_TROUBLE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        word: code
        for code, words in {
            "leak": "leak,leaking,leaks,fuga,fugas,1",
            "dry_emitter": "dry emitter,clogged,gotero seco,gotero tapado,goteros tapados,2",
            "sick_tree": "sick tree,sick,arbol enfermo,enfermo,3",
            "other": "other,otro,otra,4",
        }.items()
        for word in (code.replace("_", " "), *words.split(","))
    }
)
"""The same of trees, with the numbers of the measuring crew's paper: codes of ``core.troubles``."""
_APART = re.compile(r"\s*[,;]\s*")


def trouble_codes(written: str | None, known: Mapping[str, str] = TROUBLE_WORDS) -> str | None:
    """Read what was written for a trouble.

    Parameters
    ----------
    written : str or None
        One or several, with commas or semicolons between them.
    known : mapping of str to str
        Words and their codes.

    Returns
    -------
    str or None
        Codes and own words with ``"; "`` between them; own words alone stay as they are.

    Examples
    --------
    >>> trouble_codes("1, Fuga"), trouble_codes("leaks; the riser wobbles"), trouble_codes("creaks, badly")
    ('low_pressure; leak', 'leak; the riser wobbles', 'creaks, badly')
    """
    if written is None:
        return None
    parts = [part for part in _APART.split(written.strip()) if part]
    found = [_code(part, known) for part in parts]
    if not any(found):
        return written
    told = (code or part for code, part in zip(found, parts, strict=True))
    return "; ".join(dict.fromkeys(told))


def _code(part: str, known: Mapping[str, str]) -> str | None:
    folded = " ".join(without_accents(part.casefold()).replace("_", " ").split())
    return known.get(re.sub(r"^(\d)\.0$", r"\1", folded).rstrip("."))
