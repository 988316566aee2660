"""What stops a run: problems and their exceptions.

A :class:`Problem` names file, row and column, what is wrong and what to do about it; an exception carries
one or more of them and the exit code that ``docs/contract.md`` gives its kind.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from stressmap.core.text import one_line


def closed(text: str) -> str:
    """Close a sentence, once.

    Parameters
    ----------
    text : str
        With or without its full stop.

    Returns
    -------
    str
        On one line.

    Examples
    --------
    >>> closed("Correct it"), closed("Is it?")
    ('Correct it.', 'Is it?')
    """
    folded = one_line(text)
    return folded if folded.endswith(("?", "!")) else f"{folded.removesuffix('.')}."


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
        """Return the problem in the form of ``docs/contract.md``, without the leading ``error:``."""
        place = one_line(self.where)
        if self.row is not None:
            place += f", row {self.row}"
        if self.column is not None:
            place += f", column {one_line(self.column, most=80)}"
        return f"{place}: {closed(self.what)} {closed(self.remedy)}"


def what_and_remedy(detail: Any, otherwise: str) -> tuple[str, str]:
    """Split what a validator says into what is wrong and what to do about it.

    Parameters
    ----------
    detail : dict
        One error of a pydantic ``ValidationError``.
    otherwise : str
        The remedy where the message holds none; ours stands behind a semicolon.

    Returns
    -------
    tuple of str
        For a :class:`Problem`, both without the closing full stop.

    Examples
    --------
    >>> what_and_remedy({"type": "value_error", "msg": "Value error, x is no day; write 05-01"}, "Correct it")
    ('x is no day', 'Write 05-01')
    """
    message = detail["msg"].removeprefix("Value error, ")
    message = message[:1].lower() + message[1:]
    if detail["type"] != "value_error":
        return f"{message} (it is {_shown(detail['input'])})", otherwise
    what, _, remedy = message.rpartition("; ")
    return (what, remedy[:1].upper() + remedy[1:]) if what else (message, otherwise)


def _shown(value: Any) -> str:
    try:
        return repr(value)
    except ValueError:  # Python writes out no whole number of over 4,300 digits
        return "a number of very many digits"


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


class NoRowsError(DataError):
    """An input file has no row yet: nothing else is wrong with it."""


class OutputError(StressmapError):
    """The output cannot be written (exit code 4)."""

    exit_code = 4
