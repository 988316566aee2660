"""A console on which foreign text stays text: nothing in a name moves the cursor, colours or hides."""

from __future__ import annotations

import errno
import os
import re
from typing import Any, NoReturn

from rich.console import Console, ConsoleOptions, RenderableType, RenderHook, RenderResult
from rich.measure import Measurement
from rich.segment import Segment

_STEERING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Control characters but tab and line feed, and marks that turn the direction of writing."""


def harmless(text: str) -> str:
    r"""Take out what steers a terminal.

    Parameters
    ----------
    text : str
        Anything.

    Returns
    -------
    str

    Examples
    --------
    >>> harmless("\x1b[2JNorth")
    '[2JNorth'
    """
    return _STEERING.sub("", text)


class _Harmless:
    """Something to show, its text made harmless as it is rendered."""

    def __init__(self, shown: RenderableType) -> None:
        self.shown = shown

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        return Measurement.get(console, options, self.shown)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for segment in console.render(self.shown, options):
            yield segment if segment.control else Segment(harmless(segment.text), segment.style)


class _Hook(RenderHook):
    def process_renderables(self, renderables: list[Any]) -> list[Any]:
        return [_Harmless(shown) for shown in renderables]


class PlainConsole(Console):
    """A console for text from files.

    Parameters
    ----------
    **options : object
        As of :class:`rich.console.Console`; nothing is highlighted.
    """

    def __init__(self, **options: Any) -> None:
        super().__init__(highlight=False, **options)
        self.push_render_hook(_Hook())

    def on_broken_pipe(self) -> NoReturn:
        """Let the caller decide what a closed pipe means."""
        raise BrokenPipeError(errno.EPIPE, os.strerror(errno.EPIPE))
