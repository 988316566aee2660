"""Problems of failed ranches in the reader's language, where they are among the usual ones; else in English.

A problem is known again by its English text: it may come from another process, or from a call that ended long
ago. ``problems_en.toml`` holds the usual ones as the code words them, with the values in braces.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Literal

from stressmap.core.errors import Problem, closed
from stressmap.core.text import one_line
from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.words import Language, catalogue, filled

MOST_LETTERS = 1_000
"""A longer text stays as it is."""


def phrase(kind: Literal["what", "remedy"], text: str, language: Language) -> str | None:
    """Say part of a problem in a language.

    Parameters
    ----------
    kind : {"what", "remedy"}
        Which part.
    text : str
        The part, in English.
    language : str
        Wanted.

    Returns
    -------
    str or None
        None where it is not among the usual ones.

    Examples
    --------
    >>> phrase("what", "the key 'ranch.name' is missing", "es")
    "falta la clave 'ranch.name'"
    >>> phrase("what", "the moon is full", "es") is None
    True
    """
    if language == "en":
        return text
    if len(text) > MOST_LETTERS:
        return None
    for name, pattern in _patterns(kind):
        if (found := pattern.fullmatch(text)) is not None:
            return filled(catalogue(f"problems_{language}")[kind][name], found.groupdict())
    return None


@cache
def _patterns(kind: str) -> list[tuple[str, re.Pattern[str]]]:
    texts = catalogue("problems_en")[kind]
    return [(name, re.compile(_expression(text), re.DOTALL)) for name, text in texts.items()]


def _expression(text: str) -> str:
    parts = re.split(r"\{(\w+)\}", text)
    return "".join(f"(?P<{part}>.+?)" if at % 2 else re.escape(part) for at, part in enumerate(parts))


def problem_text(problem: Problem, words: DistrictWords) -> str:
    """Say a problem in one line, as far as it can be said in a language.

    Parameters
    ----------
    problem : Problem
        Of a ranch.
    words : DistrictWords
        The language.

    Returns
    -------
    str
        In English ``str(problem)``.
    """
    language = words.plain.language
    if language == "en":
        return str(problem)
    place = [one_line(problem.where)]
    place += [] if problem.row is None else [words("ranch.row", row=problem.row)]
    column = problem.column
    place += [] if column is None else [words("ranch.column", column=one_line(column, most=80))]
    what = phrase("what", problem.what, language) or problem.what
    remedy = phrase("remedy", problem.remedy, language) or problem.remedy
    return f"{', '.join(place)}: {closed(what)} {closed(remedy)}"


def whole_in(problem: Problem, language: Language) -> bool:
    """Tell whether all of a problem can be said in a language.

    Parameters
    ----------
    problem : Problem
        Of a ranch.
    language : str
        Asked for.

    Returns
    -------
    bool
    """
    parts = (phrase("what", problem.what, language), phrase("remedy", problem.remedy, language))
    return None not in parts
