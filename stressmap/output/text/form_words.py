"""What the field form says, from ``form_en.toml`` and ``form_es.toml``."""

from __future__ import annotations

from stressmap.output.text.words import Language, catalogue, text_of

LOCALE = ("language", "decimal", "months", "weekdays", "day_month")
"""What the form takes of ``[locale]`` of the words of all else."""


def form_texts(language: Language) -> dict[str, dict[str, str]]:
    """Give all texts of the form in one language.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.

    Returns
    -------
    dict
        Section -> name -> text; not to be changed.

    Examples
    --------
    >>> form_texts("es")["tab"]["trees"], form_texts("en")["locale"]["decimal"]
    ('Árboles', '.')
    """
    own = catalogue(language)["locale"]
    return {**catalogue(f"form_{language}"), "locale": {name: own[name] for name in LOCALE}}


def form_word(language: Language, key: str, /, **values: object) -> str:
    """Look up a text of the form and fill it in.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.
    key : str
        ``"section.name"``.
    **values : object
        What goes into the braces; text of files is put in as it is, unescaped.

    Returns
    -------
    str
    """
    return text_of(f"form_{language}", key, values)
