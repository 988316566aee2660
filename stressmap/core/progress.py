"""What a long job tells whoever waits for it, and how a terminal shows it."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress as Display

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
            from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

            columns = (
                TextColumn("{task.description}"),
                BarColumn(),
                TimeElapsedColumn(),
                TimeRemainingColumn(),
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
            self._display.add_task(name, total=steps)

    def step(self) -> None:
        """Finish a step."""
        if self._display is not None:
            for task in self._display.task_ids:
                self._display.advance(task)
