"""What all commands have in common: their guard, their bars, options read as what they mean."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import typer

from stressmap.core import interrupts
from stressmap.core.errors import StressmapError
from stressmap.core.surroundings import missing_library, refuse_unfit
from stressmap.core.told_errors import told

if TYPE_CHECKING:
    from stressmap.core.progress import Bars

T = TypeVar("T")


def value_of(text: str | None, option: str, read: Callable[[str], T]) -> T | None:
    """Read what was given for an option; what is wrong with it is the command's fault.

    Parameters
    ----------
    text : str or None
        As typed.
    option : str
        Its name.
    read : callable
        Raises ValueError with what is wrong.

    Returns
    -------
    object or None
        What it means; None where nothing was given.

    Raises
    ------
    BadParameter
        If it is wrong.
    """
    try:
        return None if text is None else read(text)
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint=option) from None


def refuse_wrong(ranch: Path) -> None:
    """Refuse wrong settings at once, before the libraries that only the work needs are loaded.

    Parameters
    ----------
    ranch : Path
        A ``ranch.toml``.

    Raises
    ------
    SettingsError
        If it is wrong.
    """
    from stressmap.core import settings

    settings.load(ranch)


def guarded(work: Callable[[], None], *, debug: bool, left: str = interrupts.NOTHING_WRITTEN) -> None:
    """Do the work; turn what it raises into lines on stderr and an exit code.

    Parameters
    ----------
    work : callable
        All of it.
    debug : bool
        Whether an error is shown with its traceback.
    left : str
        What there is of the results when it is stopped.

    Raises
    ------
    Exit
        With the exit code, where something is wrong.
    """
    try:
        refuse_unfit()
        with interrupts.prompt(left):
            work()
    except (KeyboardInterrupt, typer.Abort) as stop:
        code = interrupts.code_of(stop)
        typer.echo(interrupts.words_of(code, left), err=True)
        raise typer.Exit(code) from None
    except Exception as error:
        if debug:
            raise
        known = missing_library(error) if isinstance(error, ImportError) else error
        code, lines = told(known if isinstance(known, StressmapError) else error)
        for line in lines:
            typer.echo(line, err=True)
        raise typer.Exit(code) from None


def bars(*, hidden: bool = False) -> Bars:
    """Give what shows progress on a terminal, and nothing anywhere else.

    Parameters
    ----------
    hidden : bool
        Whether to show nothing at all.

    Returns
    -------
    Bars
    """
    from rich.console import Console

    from stressmap.core.progress import Bars

    return Bars(Console(stderr=True), hidden=hidden or not sys.stderr.isatty())
