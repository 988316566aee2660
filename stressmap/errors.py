"""What stops a run, and what must be said without stopping it.

A :class:`Problem` names file, row and column, what is wrong and what to do about it; an exception carries
one or more of them and the exit code that the contract gives its kind.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass


def one_line(text: str, *, most: int = 400) -> str:
    r"""Fold white space and control characters of foreign text into single spaces, and cut it.

    Parameters
    ----------
    text : str
        Anything, a value out of a file included.
    most : int
        Characters kept.

    Returns
    -------
    str

    Examples
    --------
    >>> one_line("two\nlines")
    'two lines'
    """
    printable = "".join(c if c.isprintable() else " " for c in str(text))
    folded = " ".join(printable.split())
    return folded if len(folded) <= most else folded[: most - 1] + "…"


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, and its remedy.

    Parameters
    ----------
    where : str
        File as the user named it, or ``"command line"``.
    what : str
        What is wrong, without the closing full stop.
    remedy : str
        What to do about it, a sentence without the closing full stop.
    row : int, optional
        Row as a spreadsheet shows it; the header is row 1.
    column : str, optional
        Column (or dotted setting) as the file spells it.

    Examples
    --------
    >>> print(Problem("a.csv", "'x7' is not a number", "Write bar as a number", row=4, column="pressure"))
    a.csv, row 4, column pressure: 'x7' is not a number. Write bar as a number.
    """

    where: str
    what: str
    remedy: str
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        """Return the problem in the contract's form, without the leading ``error:``."""
        place = one_line(self.where)
        if self.row is not None:
            place += f", row {self.row}"
        if self.column is not None:
            place += f", column {one_line(self.column, most=80)}"
        return f"{place}: {one_line(self.what)}. {one_line(self.remedy)}."


class StressmapError(Exception):
    """Base of everything this package raises on purpose.

    Parameters
    ----------
    problems : Problem or iterable of Problem
        At least one.
    """

    exit_code = 1

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class SettingsError(StressmapError):
    """The command or ``ranch.toml`` is wrong (exit code 2)."""

    exit_code = 2


class DataError(StressmapError):
    """An input file cannot be used (exit code 3)."""

    exit_code = 3


class OutputError(StressmapError):
    """The output cannot be written (exit code 4)."""

    exit_code = 4


class Notes:
    """What a run must say although it goes on; each sentence once, in the order first said.

    Examples
    --------
    >>> notes = Notes()
    >>> notes.say("No weather file: vapour pressure deficit is unknown.")
    >>> notes.say("No weather file: vapour pressure deficit is unknown.")
    >>> len(list(notes))
    1
    """

    def __init__(self) -> None:
        self._texts: dict[str, None] = {}

    def say(self, text: str) -> None:
        """Keep one sentence.

        Parameters
        ----------
        text : str
            One plain sentence; values from files may be in it.
        """
        self._texts.setdefault(one_line(text, most=600))

    def __iter__(self) -> Iterator[str]:
        """Return the sentences in the order they were said."""
        return iter(self._texts)
