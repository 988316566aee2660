"""What a run must say, in words: from ``notes_en.toml`` and ``notes_es.toml``, a text for each code.

Beside the format of :meth:`str.format`, a text may ask for

- ``{count:one|many}``: the first where the value is 1, true or a list of one; only numbers stand inside;
- ``{kind:word}``: looked up in the section ``word`` (or any other) of the same file, ``{kind:Word}`` with a
  capital letter; ``{crop:crop}``: the crop's name;
- ``{rows:first5}``: a list cut off after five; ``{names:quoted5}``: each in quotation marks;
- ``{read:read40}``: columns and what they were read as; ``{unread:meant20}``: columns that were not read and
  what they might be;
- ``{crops:taken12}``: words for crops and what they were taken as;
- ``{places:places8}``: rows with their trees, ``{places:(places8)}`` in brackets where there are any;
- ``{psi:in_psi}``: pressures [bar] in psi, in brackets: one, or least, most and middle, or none;
- ``{bars:in_bar}``: the same in bar; ``{degrees:span}``: one figure, or least and most;
- ``{when:day}``: day and month as the language writes them;
- ``{area:.1f}``: a number as the language writes it; in the ranch's units ``{area_m2:area}``, ``{mm:depth}``,
  ``{metres:length}``, ``{m3:volume}`` and
  ``{wind_m_s:speed}``.
"""

from __future__ import annotations

import re
import string
import tomllib
from collections.abc import Callable, Iterable
from functools import cache
from importlib.resources import files
from typing import Any

from stressmap.core.notes import Note
from stressmap.core.row_counts import RowCounts, ToldRow
from stressmap.core.text import one_line
from stressmap.core.units import (
    BAR_PER,
    HA_PER_ACRE,
    M2_PER_HA,
    M3_PER,
    M_PER_FOOT,
    M_S_PER_MPH,
    MM_PER_INCH,
    System,
)
from stressmap.output.text.words import Language, Words

_CUT = re.compile(r"(\(?)(first|quoted|places|read|meant|taken)(\d+)\)?")

_SPREADS = {"in_psi": ("psi", BAR_PER["psi"], 0), "in_bar": ("bar", 1.0, 1), "span": ("", 1.0, 0)}
_SIZES: dict[str, dict[System, tuple[str, float, int]]] = {
    "depth": {"us": ("in", MM_PER_INCH, 2), "metric": ("mm", 1.0, 0)},
    "length": {"us": ("ft", M_PER_FOOT, 0), "metric": ("m", 1.0, 0)},
    "volume": {"us": ("acre-ft", M3_PER["acre-ft"], 2), "metric": ("m3", 1.0, 0)},
    "speed": {"us": ("mph", M_S_PER_MPH, 1), "metric": ("m/s", 1.0, 1)},
}
"""Unit, how much of ours is in one of it, and decimals: as ``output/view/quantities.py``, held by a test."""
LEAST_ACRES = 0.01
"""Areas below are told as being below."""


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
        ``note``: a text for each code; ``word``, ``says``, ``remedy``, ``shown``: words that stand in them.
    """
    text = files("stressmap.output.text").joinpath(f"notes_{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def word_of(section: str, name: object, words: Words) -> str:
    """Look up a word that stands in notes.

    Parameters
    ----------
    section : str
        Of the file of notes: ``"word"``, ``"says"`` or ``"remedy"`` of a flag, ``"shown"``.
    name : object
        As the values have it; spaces count as underscores.
    words : Words
        The language.

    Returns
    -------
    str
        The word, or ``name`` itself where there is none.
    """
    return texts_of(words.language)[section].get(str(name).replace(" ", "_"), str(name))


class _Filler(string.Formatter):
    """Fills a text with values in one language."""

    def __init__(self, words: Words) -> None:
        self._words = words

    def format_field(self, value: Any, format_spec: str) -> str:
        if "|" in format_spec:
            one, many = format_spec.split("|", 1)
            return one if (len(value) if isinstance(value, tuple) else value) == 1 else many
        if format_spec == "day":
            return self._words.day(value)
        if format_spec in {"in_psi", "in_bar", "span"}:
            return self._spread(value, format_spec)
        if cut := _CUT.fullmatch(format_spec):
            return self._list(value, *cut.groups())
        if isinstance(value, tuple):
            return ", ".join(self._one(single, format_spec) for single in value)
        return self._one(value, format_spec)

    def _one(self, value: Any, format_spec: str) -> str:
        """Write a single value."""
        if format_spec.lower() == "crop":
            word = self._words.known("crop", value)
            return word[:1].upper() + word[1:] if format_spec == "Crop" else word
        if format_spec == "area":
            return self._area(float(value))
        if format_spec in _SIZES:
            unit, factor, digits = _SIZES[format_spec][self._words.units]
            return f"{self._words.number(value / factor, digits)} {self._words(f'unit.{unit}')}"
        if format_spec.lower() in texts_of(self._words.language):
            word = word_of(format_spec.lower(), value, self._words)
            return word[:1].upper() + word[1:] if format_spec[0].isupper() else word
        if format_spec.endswith("f"):
            sign = "+" if format_spec.startswith("+") and value >= 0 else ""
            return sign + self._words.number(value, int(format_spec.rpartition(".")[2][:-1]))
        return format(value, format_spec)

    def _spread(self, values: tuple[float, ...], form: str) -> str:
        """Write one figure, or least and most: pressures [bar] in bar, or in brackets in psi; degrees."""
        words = texts_of(self._words.language)["word"]
        unit, factor, digits = _SPREADS[form]
        shown = [self._words.number(value / factor, digits) for value in values]
        if len(shown) < 2:
            one = shown[0] if shown else ""
            return words[f"{unit}_one"].format(one=one) if unit and shown else one
        named = dict(zip(("least", "most", "middle"), shown, strict=False))
        return words[f"{unit}_span" if unit else "span"].format(**named)

    def _area(self, m2: float) -> str:
        """Write an area: acres, or square metres and from a tenth of a hectare on hectares."""
        words = texts_of(self._words.language)["word"]
        if self._words.units == "us":
            acres = m2 / M2_PER_HA / HA_PER_ACRE
            if acres < LEAST_ACRES:
                return words["under_acres"].format(least=self._words.number(LEAST_ACRES, 2))
            return f"{self._words.number(acres, 2)} {words['acres']}"
        if m2 < M2_PER_HA / 10:
            return f"{self._words.number(m2, 0)} m²" if m2 >= 10 else f"{self._words.number(m2, 1)} m²"
        return f"{self._words.number(m2 / M2_PER_HA, 2)} ha"

    def _list(self, values: tuple[Any, ...], opening: str, form: str, most: str) -> str:
        """Write a list, cut off after so many."""
        forms: dict[str, Callable[[Any], str]] = {
            "first": str, "quoted": repr, "places": self._place, "read": self._read, "meant": self._meant,
            "taken": self._taken,
        }  # fmt: skip
        word = forms[form]
        text = ", ".join(word(value) for value in values[: int(most)])
        if len(values) > int(most):
            text += " " + texts_of(self._words.language)["word"]["more"].format(count=len(values) - int(most))
        return f" ({text})" if opening and values else text

    def _place(self, place: tuple[int, str]) -> str:
        row, tree = place
        named = f"{word_of('word', 'row', self._words)} {row}"
        return f"{named} {word_of('word', 'tree', self._words)} {tree}" if tree else named

    def _read(self, column: tuple[str, str]) -> str:
        heading, ours = column
        return self._told("read_as", heading, ours)

    def _meant(self, column: tuple[str, str]) -> str:
        heading, ours = column
        return self._told("meant", heading, ours)

    def _taken(self, crop: tuple[str, str]) -> str:
        text = texts_of(self._words.language)["word"]["taken_as"]
        return text.format(written=crop[0], crop=self._words.known("crop", crop[1]))

    def _told(self, word: str, heading: str, ours: str) -> str:
        text = texts_of(self._words.language)["word"][word]
        return text.format(heading=heading, ours=ours) if ours else heading


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


def reason(told: ToldRow, words: Words) -> str:
    """Say why a row was left out, or what there is to say of it.

    Parameters
    ----------
    told : ToldRow
        A code with its values.
    words : Words
        The language.

    Returns
    -------
    str
        To stand behind the row's number.

    Raises
    ------
    KeyError
        If the code has no text under ``[row]`` or ``[says]``, or the text asks for a value that is not there.
    """
    texts = texts_of(words.language)
    text = texts["row"].get(told.code) or texts["says"][told.code]
    return one_line(_Filler(words).vformat(text, (), dict(told.values)), most=300)


def remedy(told: ToldRow, words: Words) -> str:
    """Say what to do about a row that was left out.

    Parameters
    ----------
    told : ToldRow
        A code with its values.
    words : Words
        The language.

    Returns
    -------
    str
        A sentence without its full stop.

    Raises
    ------
    KeyError
        If the code has no text under ``[row_remedy]``, or the text asks for a value that is not there.
    """
    text = texts_of(words.language)["row_remedy"][told.code]
    return one_line(_Filler(words).vformat(text, (), dict(told.values)), most=300)


def rows_told(counts: RowCounts, words: Words) -> tuple[str, ...]:
    """Say what became of the rows of a file: how many were used, and of the others which and why.

    Parameters
    ----------
    counts : RowCounts
        Of one file.
    words : Words
        The language.

    Returns
    -------
    tuple of str
        The counts first, then a line for each reason with all its rows, in their order.
    """
    other = sum(one.code == "outside_visit" for one in counts.left_out)
    held = {"file": counts.file, "rows": counts.rows, "used": counts.used}
    left = len(counts.left_out) - other
    head = Note.of("rows_counted", **held, left=left)
    if other:
        head = Note.of("rows_counted_others", **held, left=left, other=other)
    groups = (counts.left_out, counts.remarks)
    return (sentence(head, words), *(line for group in groups for line in reasons_told(group, words)))


def reasons_told(told: Iterable[ToldRow], words: Words) -> tuple[str, ...]:
    """Say why rows are told, those of one reason in one line.

    Parameters
    ----------
    told : iterable of ToldRow
        Of one file.
    words : Words
        The language.

    Returns
    -------
    tuple of str
        In the order in which the reasons first come.
    """
    rows: dict[str, list[int]] = {}
    for one in told:
        rows.setdefault(reason(one, words), []).append(one.row)
    lines = []
    for why, at in rows.items():
        line = sentence(Note.of("rows_told", rows=at, why=why), words)
        lines.append(line.removesuffix(".") if why.endswith("?") else line)
    return tuple(lines)


def columns_told(counts: RowCounts, words: Words) -> str:
    """Say which columns of a file were read, which were not and what those might be.

    Parameters
    ----------
    counts : RowCounts
        Of one file.
    words : Words
        The language.

    Returns
    -------
    str
        To stand behind the file's name.
    """
    read, unread = counts.columns
    if not unread:
        return sentence(Note.of("columns_all_read", read=read), words)
    return sentence(Note.of("columns_read", read=read, unread=unread), words)


def by_severity(notes: Iterable[Note]) -> tuple[tuple[Note, ...], tuple[Note, ...]]:
    """Part what may mislead, which stands on top, from the rest.

    Parameters
    ----------
    notes : iterable of Note
        In the order first said.

    Returns
    -------
    warnings, others : tuple of Note
    """
    held = tuple(notes)
    return tuple(n for n in held if n.severity == "warning"), tuple(
        n for n in held if n.severity != "warning"
    )


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
