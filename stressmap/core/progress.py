"""What a long job tells whoever waits for it, and how a terminal shows it."""

from __future__ import annotations

import math
import threading
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress as Display

UNKNOWN = "-:--:--"
PATIENCE_S = 2.0
"""Bars are shown for what takes longer than this."""


class Progress(Protocol):
    """What a job tells whoever waits for it."""

    def stage(self, name: str, steps: int | None = None) -> None:
        """Begin a stage of so many steps; None where nobody can say."""

    def step(self) -> None:
        """Finish one step of it."""


class Silent:
    """A progress that says nothing."""

    def stage(self, name: str, steps: int | None = None) -> None:
        """Say nothing."""

    def step(self) -> None:
        """Say nothing."""


def time_left(gone_s: float, done: int, steps: float | None) -> str:
    """Say how long a stage will still take, at its pace so far.

    Steps may take minutes, and several may end together where many work at them: only the whole so far tells.

    Parameters
    ----------
    gone_s : float
        Since it began [s].
    done : int
        Steps finished.
    steps : float or None
        Of the stage; None where nobody can say.

    Returns
    -------
    str
        Hours, minutes and seconds; empty where there are no steps.

    Examples
    --------
    >>> time_left(86.0, 2, 8), time_left(7000.0, 1, 3), time_left(3.0, 1, None)
    ('0:04:18', '3:53:20', '')
    """
    if not steps or not done:
        return "" if not steps else UNKNOWN
    left = max(0, math.ceil(gone_s / done * (steps - done)))
    return f"{left // 3600}:{left // 60 % 60:02d}:{left % 60:02d}"


class Bars:
    """A bar on a terminal with the time gone and, where steps are counted, the time left.

    Nothing is shown before the patience is over, and nothing ever where the console is no terminal.

    Parameters
    ----------
    console : Console
        Where to.
    hidden : bool
        Whether to show nothing at all.
    patience_s : float
        How long to wait before anything is shown [s].
    """

    def __init__(self, console: Console, *, hidden: bool = False, patience_s: float = PATIENCE_S) -> None:
        self._display: Display | None = None
        self._timer: threading.Timer | None = None
        self._shown = self._over = False
        self._turn = threading.Lock()
        self._patience_s = patience_s
        if not hidden and console.is_terminal:
            from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

            columns = (
                TextColumn("{task.description}"),
                BarColumn(),
                TimeElapsedColumn(),
                TextColumn("{task.fields[left]}", style="progress.remaining"),
            )
            self._display = Progress(
                *columns, console=console, transient=True, redirect_stdout=False, redirect_stderr=False
            )

    def __enter__(self) -> Bars:
        """Begin to wait."""
        if self._display is not None:
            self._timer = threading.Timer(self._patience_s, self._show)
            self._timer.daemon = True
            self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Take the bar away."""
        if self._timer is not None:
            self._timer.cancel()
        with self._turn:
            self._over = True
            if self._display is not None and self._shown:
                self._display.stop()

    def _show(self) -> None:
        with self._turn:
            if self._display is not None and not self._over:
                self._shown = True
                self._display.start()

    def stage(self, name: str, steps: int | None = None) -> None:
        """Begin a stage."""
        if self._display is not None:
            for task in self._display.task_ids:
                self._display.remove_task(task)
            self._display.add_task(name, total=steps, left="" if steps is None else UNKNOWN)

    def step(self) -> None:
        """Finish a step."""
        if self._display is not None:
            for task in self._display.tasks:
                left = time_left(task.elapsed or 0.0, int(task.completed) + 1, task.total)
                self._display.update(task.id, advance=1, left=left)
