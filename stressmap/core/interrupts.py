"""Ctrl-C ends a run within two seconds, whatever it is doing."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType

GRACE_S = 1.2
"""How long a run may take to clear up after itself before it is ended as it stands."""
ASKED = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
"""Signals that ask a run to end; Windows lacks the last."""
STOPPED = "error: stopped by the keyboard: {left}. Run it again."
KILLED = "error: stopped from outside: {left}. Run it again."
NOTHING_WRITTEN = "nothing was written"
REST_NOT_DONE = "what is done of it stays, the rest was not written"


class Stopped(KeyboardInterrupt):
    """The run was asked to end; carries which signal asked.

    Parameters
    ----------
    number : int
        Of the signal.
    """

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number


def code_of(stop: BaseException) -> int:
    """Give the exit code of a run that was stopped: 128 and the signal, 130 for Ctrl-C.

    Parameters
    ----------
    stop : exception
        :class:`Stopped` or any other way in which Ctrl-C arrives.

    Returns
    -------
    int

    Examples
    --------
    >>> code_of(KeyboardInterrupt())
    130
    """
    return 128 + (stop.number if isinstance(stop, Stopped) else signal.SIGINT)


def words_of(code: int, left: str = NOTHING_WRITTEN) -> str:
    """Say in one line why a run stopped.

    Parameters
    ----------
    code : int
        From :func:`code_of`.
    left : str
        What there is of its results.

    Returns
    -------
    str
    """
    return (STOPPED if code == 128 + signal.SIGINT else KILLED).format(left=left)


@contextmanager
def prompt(left: str = NOTHING_WRITTEN) -> Iterator[None]:
    """End the process soon after Ctrl-C, or after being asked to end, even deep in a compiled routine.

    Python sees a signal only between two of its own steps, and a compiled routine can take half a minute. So
    a thread waits for the signal beside the work; if the work has not come to its end within :data:`GRACE_S`,
    it ends the process. What that leaves in hidden folders the next run clears away.

    Parameters
    ----------
    left : str
        What there is then of its results.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    ears, mouth = os.pipe()
    os.set_blocking(mouth, False)
    before = {number: signal.signal(number, _stop) for number in ASKED}
    over = threading.Event()
    woken = signal.set_wakeup_fd(mouth, warn_on_full_buffer=False)
    watcher = threading.Thread(target=_wait, args=(ears, over, left), daemon=True)
    watcher.start()
    try:
        yield
    finally:
        over.set()
        signal.set_wakeup_fd(woken)
        for number, handler in before.items():
            signal.signal(number, handler)
        os.close(mouth)
        watcher.join()
        os.close(ears)


@contextmanager
def unbroken() -> Iterator[None]:
    """Let Ctrl-C wait until a few short steps that belong together are done."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    heard: list[int] = []
    before = {number: signal.signal(number, lambda n, _: heard.append(n)) for number in ASKED}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    if heard:
        signal.raise_signal(heard[0])


def _stop(number: int, _frame: FrameType | None) -> None:
    raise Stopped(number)


def _wait(ears: int, over: threading.Event, left: str) -> None:
    while heard := os.read(ears, 1):
        if heard[0] in ASKED and not over.wait(GRACE_S):
            code = 128 + heard[0]
            with suppress(OSError):
                show_cursor = "\x1b[?25h" if sys.stderr.isatty() else ""
                os.write(2, f"{show_cursor}{words_of(code, left)}\n".encode())
            os._exit(code)
