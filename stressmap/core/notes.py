"""What must be said without stopping a run: values with a code, whose words are made where they are shown."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Generic, Literal, TypeVar

from stressmap.core.row_counts import RowCounts
from stressmap.core.text import one_line, renamed

T = TypeVar("T")
Severity = Literal["info", "caution", "warning"]
SEVERITIES: tuple[Severity, ...] = ("info", "caution", "warning")
"""Something was assumed; a figure is less certain or was mended; the result may mislead."""
Value = str | int | float | dt.date | tuple[Any, ...]
"""What the words of a note are filled with; a tuple holds such values."""


@dataclass(frozen=True)
class Note:
    """One thing that a run must say although it goes on.

    Parameters
    ----------
    code : str
        What it is, in snake case; its words stand under this name in ``output/text``.
    values : tuple of (str, value)
        What the words are filled with: numbers, text, dates and tuples of these, by name.
    severity : str
        ``"info"``, ``"caution"`` or ``"warning"``.

    Examples
    --------
    >>> note = Note.of("weather_gap", "caution", hours=3)
    >>> note.code, note.value("hours"), note == Note("weather_gap", (("hours", 3),), "caution")
    ('weather_gap', 3, True)
    """

    code: str
    values: tuple[tuple[str, Value], ...] = ()
    severity: Severity = "info"

    @classmethod
    def of(cls, code: str, severity: Severity = "info", /, **values: Any) -> Note:
        """Make a note; numbers of arrays become plain, sequences tuples.

        Parameters
        ----------
        code : str
            In snake case.
        severity : str
            ``"info"``, ``"caution"`` or ``"warning"``.
        **values : str, number, date or sequence of these
            What the words are filled with.

        Returns
        -------
        Note

        Raises
        ------
        ValueError
            If there is no such severity.
        """
        if severity not in SEVERITIES:
            msg = f"{severity!r} is none of {', '.join(SEVERITIES)}"
            raise ValueError(msg)
        return cls(code, tuple((name, _plain(value)) for name, value in values.items()), severity)

    def value(self, name: str) -> Value:
        """Return one value by its name."""
        return dict(self.values)[name]

    def renamed(self, shown: Mapping[str, str]) -> Note:
        """Put shorter names in the place of the paths of files: notes go into files that leave the computer.

        Parameters
        ----------
        shown : mapping of str to str
            A file's path as it stands in the values -> what to show.

        Returns
        -------
        Note

        Examples
        --------
        >>> note = Note.of("weather_gap", file="/home/me/ranch/weather.csv")
        >>> note.renamed({"/home/me/ranch/weather.csv": "weather.csv"}).value("file")
        'weather.csv'
        """
        named = tuple((name, _renamed(value, shown)) for name, value in self.values)
        return dataclasses.replace(self, values=named)


def _plain(value: Any) -> Value:
    if isinstance(value, str):
        return one_line(value, most=600)
    if hasattr(value, "item"):
        return _plain(value.item())
    if isinstance(value, (int, float, dt.date)):
        return value
    return tuple(_plain(one) for one in value)


def _renamed(value: Value, shown: Mapping[str, str]) -> Value:
    if isinstance(value, tuple):
        return tuple(_renamed(one, shown) for one in value)
    return renamed(value, shown) if isinstance(value, str) else value


@dataclass(frozen=True)
class Noted(Generic[T]):
    """A result and what must be said of it.

    Parameters
    ----------
    value : object
        The result.
    notes : tuple of Note
        Each once, in the order first said.
    counts : tuple of RowCounts
        What became of the rows of the files that it was read from.
    """

    value: T
    notes: tuple[Note, ...] = ()
    counts: tuple[RowCounts, ...] = ()


class NoteList:
    """Collects the notes of one stage: each once, in the order first said. Never handed to another.

    Examples
    --------
    >>> notes = NoteList()
    >>> notes.say("no_weather")
    >>> total = notes.keep(Noted(3, (Note("no_weather"), Note("short_record"))))
    >>> notes.beside(total + 1)
    Noted(value=4, notes=(Note(code='no_weather', values=(), severity='info'), \
Note(code='short_record', values=(), severity='info')), counts=())
    """

    def __init__(self, notes: Iterable[Note] = ()) -> None:
        self._notes = dict.fromkeys(notes)
        self._counts: dict[RowCounts, None] = {}

    def say(self, code: str, severity: Severity = "info", /, **values: Any) -> None:
        """Add one note; see :meth:`Note.of`."""
        self._notes.setdefault(Note.of(code, severity, **values))

    def add(self, notes: Iterable[Note]) -> None:
        """Add what another stage said."""
        self._notes.update(dict.fromkeys(note for note in notes if note not in self._notes))

    def keep(self, noted: Noted[T]) -> T:
        """Add what was said of a result and the counts of its rows, and return the result alone."""
        self.add(noted.notes)
        self._counts.update(dict.fromkeys(noted.counts))
        return noted.value

    def count(self, counts: RowCounts) -> None:
        """Add what became of the rows of a file."""
        self._counts.setdefault(counts)

    @property
    def counts(self) -> tuple[RowCounts, ...]:
        """What became of the rows of files, in the order they were read."""
        return tuple(self._counts)

    def beside(self, value: T) -> Noted[T]:
        """Put all that was said beside a result."""
        return Noted(value, tuple(self), self.counts)

    def __iter__(self) -> Iterator[Note]:
        """Return the notes in the order they were said."""
        return iter(self._notes)
