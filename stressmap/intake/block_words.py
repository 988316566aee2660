"""Words for the irrigation system and the soil of a block, as people write them in English and Spanish.

Case, accents, blanks, hyphens, underscores, fillers ("riego por", "system") and plurals make no difference. A
word that is not known is told with the nearest known one; it is never taken for a missing one.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from functools import cache
from types import MappingProxyType

import pandas as pd

from stressmap.core.notes import Note
from stressmap.intake.heading_recognition import names
from stressmap.intake.unit_headings import normal

Classes = Mapping[str, tuple[str, ...]]

SYSTEMS: Classes = MappingProxyType(
    {
        "drip": (
            "dripper", "drip line", "drip tape", "tape", "subsurface drip", "surface drip", "buried drip",
            "double line drip", "dual line drip", "sdi", "trickle", "emitter",
            "goteo", "gotero", "cinta", "cinta de goteo", "goteo enterrado", "goteo subterráneo",
            "goteo superficial", "doble línea de goteo", "manguera de goteo",
        ),
        "micro_sprinkler": (
            "micro", "micro sprinkler", "micro sprinkling", "micro spray", "micro jet", "fan jet",
            "mini sprinkler",
            "microaspersión", "microaspersor", "microspray", "microdifusor", "microjet",
            "mini aspersión", "mini aspersor",
        ),
        "sprinkler": (
            "sprinkling", "solid set", "solid set sprinkler", "impact sprinkler", "impact", "rotator",
            "overhead",
            "overhead sprinkler", "under tree sprinkler", "hand move", "hand move sprinkler",
            "aspersión", "aspersor", "aspersión fija", "cobertura total",
        ),
        "flood": (
            "flooding", "border", "border strip", "border check", "border flood", "check", "basin", "furrow",
            "furrow flood", "surface", "gravity", "gravity flow",
            "inundación", "inundado", "rodado", "gravedad", "surco", "melga", "manto", "tendido", "tablar",
            "tabla", "poza", "pileta", "cajete", "bordo", "superficial", "superficie", "anegamiento",
        ),
    }
)  # fmt: skip
"""Words of each irrigation system beside its own name."""

SOILS: Classes = MappingProxyType(
    {
        "very coarse sand": ("gravelly sand", "gravel", "arena muy gruesa", "arena con grava", "grava"),
        "sand": (
            "coarse sand", "medium sand", "fine sand", "loamy sand", "loamy coarse sand", "loamy fine sand",
            "arena", "arenoso", "arena gruesa", "arena fina", "arena franca", "arenoso franco",
            "areno francoso",
        ),
        "sandy loam": (
            "sandy", "coarse sandy loam", "fine sandy loam", "gravelly sandy loam", "gravelly loam",
            "franco arenoso", "franco arenoso fino", "franco arenoso grueso", "areno franco",
            "migajón arenoso",
        ),
        "loam": (
            "loamy", "medium", "very fine sandy loam", "silt loam", "silty loam", "silt", "silty",
            "franco", "franco limoso", "limo", "limoso", "limo franco", "migajón", "migajón limoso",
            "franco arenoso muy fino",
        ),
        "clay loam": (
            "silty clay loam", "sandy clay loam",
            "franco arcilloso", "franco arcillo limoso", "franco arcilloso limoso", "franco limo arcilloso",
            "franco arcillo arenoso", "franco arcilloso arenoso", "franco areno arcilloso",
            "migajón arcilloso", "migajón arcillo limoso", "migajón arcillo arenoso",
        ),
        "clay": (
            "sandy clay", "silty clay", "heavy clay", "clayey",
            "arcilla", "arcilloso", "arcillo arenoso", "arcilla arenoso", "arcillo limoso", "arcilla limoso",
            "arcilla pesada",
        ),
    }
)  # fmt: skip
"""Classes of texture that water is known for, and the words of each beside its own name."""

_FILLERS = frozenset(
    names("riego por de del con en el la los las a irrigation irrigated system sistema suelo textura soil")
)
NEAR = 0.6
"""Words less alike are not offered as what may be meant."""


def system_of(word: str) -> str | None:
    """Tell which irrigation system is meant.

    Parameters
    ----------
    word : str
        As people write it.

    Returns
    -------
    str or None
        A key of :data:`SYSTEMS`; None for a word that is not known.

    Examples
    --------
    >>> system_of("Riego por GOTEO"), system_of("micro-sprinklers"), system_of("surcos"), system_of("pivot")
    ('drip', 'micro_sprinkler', 'flood', None)
    """
    return _folded_classes("irrigation").get(_folded(word))


def soil_of(word: str) -> str | None:
    """Tell which class of soil texture is meant.

    Parameters
    ----------
    word : str
        As people write it.

    Returns
    -------
    str or None
        A key of :data:`SOILS`; None for a word that is not known.

    Examples
    --------
    >>> soil_of("Franco-arcillosa"), soil_of("SILT LOAM"), soil_of("moon dust")
    ('clay loam', 'loam', None)
    """
    return _folded_classes("soil").get(_folded(word))


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Find the known word that a person may have meant.

    Parameters
    ----------
    word : str
        As written.
    known : iterable of str
        Known words, as they are shown.

    Returns
    -------
    str or None
        None where nothing is near.

    Examples
    --------
    >>> nearest("gotteo", ["goteo", "drip"]), nearest("pivot", ["goteo", "drip"])
    ('goteo', None)
    """
    shown: dict[str, str] = {}
    for one in known:
        shown.setdefault(_folded(one), one)
    near = difflib.get_close_matches(_folded(word), shown, n=1, cutoff=NEAR)
    return shown[near[0]] if near else None


def known_words(kind: str) -> tuple[str, ...]:
    """List the words of a kind: each class, then its other words.

    Parameters
    ----------
    kind : str
        ``"irrigation"`` or ``"soil"``.

    Returns
    -------
    tuple of str
    """
    classes = _KINDS[kind]
    return (*classes, *(word for words in classes.values() for word in words))


def unknown_words(said: pd.DataFrame, kind: str) -> tuple[Note, ...]:
    """Say which words of the blocks are not known, with the nearest known ones, and where they stand.

    Parameters
    ----------
    said : DataFrame
        ``block``, ``word`` or None, and the ``file``, ``row`` and ``column`` (its heading) of the word.
    kind : str
        ``"irrigation"`` or ``"soil"``.

    Returns
    -------
    tuple of Note
        One for each unknown word of a file.
    """
    read = system_of if kind == "irrigation" else soil_of
    notes = []
    unknown = said[[isinstance(word, str) and read(word) is None for word in said["word"]]]
    for (word, file, column), here in unknown.groupby(["word", "file", "column"], sort=False):
        rows, blocks = [int(row) for row in here["row"]], here["block"].tolist()
        found = {"file": file, "rows": rows, "column": column, "blocks": blocks, "written": word}
        near = nearest(str(word), known_words(kind))
        if near is None:
            notes.append(Note.of("word_not_known", "warning", known=list(_KINDS[kind]), **found))
        else:
            notes.append(Note.of("word_not_known_near", "warning", near=near, **found))
    return tuple(notes)


_KINDS = {"irrigation": SYSTEMS, "soil": SOILS}


@cache
def _folded_classes(kind: str) -> dict[str, str]:
    classes = _KINDS[kind]
    found = {_folded(word): name for name, words in classes.items() for word in words}
    return found | {_folded(name): name for name in classes}


def _folded(word: str) -> str:
    """Reduce a word to what tells it from others: no accents, no gaps, no fillers, one number and gender."""
    parts = [_singular(part) for part in normal(word).split("_")]
    telling = [part for part in parts if part not in _FILLERS]
    return "".join(telling or parts)


def _singular(part: str) -> str:
    if len(part) > 4 and part.endswith("es") and part[-3] in "rln":
        part = part[:-2]
    elif len(part) > 3 and part.endswith("s") and not part.endswith("ss"):
        part = part[:-1]
    # arenosa, arcillosa: as arenoso, arcilloso
    return part[:-1] + "o" if part.endswith(("osa", "franca", "ada", "ida")) else part
