"""What a run must say, in words: from ``notes_en.toml`` and ``notes_es.toml``, a text for each code.

Beside the format of :meth:`str.format`, a text may ask for ``{count:one|many}`` (the first where the value
is 1, or a list of one), ``{kind:word}`` (looked up among the words of the language; ``{kind:Word}`` begins
with a capital letter), ``{rows:first5}`` (a list cut off after five), ``{names:quoted}`` and ``{area:.1f}``
(a number as the language writes it).
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import Any

from stressmap.core.notes import Note
from stressmap.core.text import one_line
from stressmap.output.text.words import Language, Words


@cache
def texts_of(language: Language) -> dict[str, dict[str, str]]:
    """Read the texts of all notes in one language.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.

    Returns
    -------
    dict
        ``note``: a text for each code; ``word``: words that stand in them.
    """
    text = files("stressmap.output.text").joinpath(f"notes_{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


class _Filler(string.Formatter):
    """Fills a text with values in one language."""

    def __init__(self, words: Words) -> None:
        self._words = words

    def format_field(self, value: Any, format_spec: str) -> str:
        if "|" in format_spec:
            one, many = format_spec.split("|", 1)
            return one if (len(value) if isinstance(value, tuple) else value) == 1 else many
        if isinstance(value, tuple):
            return self._list(value, format_spec)
        if format_spec.lower() == "word":
            word = self._word(value)
            return word[:1].upper() + word[1:] if format_spec == "Word" else word
        if format_spec.endswith("f"):
            return self._words.number(value, int(format_spec[1:-1]))
        return format(value, "" if format_spec == "quoted" else format_spec)

    def _word(self, value: Any) -> str:
        return texts_of(self._words.language)["word"].get(str(value).replace(" ", "_"), str(value))

    def _list(self, values: tuple[Any, ...], format_spec: str) -> str:
        if format_spec.startswith("first"):
            most = int(format_spec.removeprefix("first"))
            return ", ".join(str(v) for v in values[:most]) + (", ..." if len(values) > most else "")
        if format_spec == "quoted":
            return ", ".join(repr(v) for v in values)
        return ", ".join(self.format_field(v, format_spec) for v in values)


def sentence(note: Note, words: Words) -> str:
    """Put one note into words.

    Parameters
    ----------
    note : Note
        A code with its values.
    words : Words
        The language.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If the code has no text, or the text asks for a value that the note lacks.

    Examples
    --------
    >>> note = Note.of("weather_repeats", file="weather.csv", count=1)
    >>> sentence(note, Words("en"))
    'weather.csv: 1 row repeats a time; the first of each was taken.'
    >>> sentence(note, Words("es"))
    'weather.csv: 1 fila repite una hora; se tomó la primera.'
    """
    text = texts_of(words.language)["note"][note.code]
    return one_line(_Filler(words).vformat(text, (), dict(note.values)), most=600)


def sentences(notes: Iterable[Note], words: Words) -> tuple[str, ...]:
    """Put notes into words, each once.

    Parameters
    ----------
    notes : iterable of Note
        In the order first said.
    words : Words
        The language.

    Returns
    -------
    tuple of str
    """
    return tuple(dict.fromkeys(sentence(note, words) for note in notes))


def in_english(notes: Iterable[Note | str]) -> tuple[str, ...]:
    """Put notes into English; what is a sentence already stays."""
    words = Words("en")
    return tuple(dict.fromkeys(n if isinstance(n, str) else sentence(n, words) for n in notes))
