"""Threads over independent pieces of work; the result does not depend on how many."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar

from threadpoolctl import ThreadpoolController

Piece = TypeVar("Piece")
Result = TypeVar("Result")


def cores() -> int:
    """Count the processor cores that this process may use.

    Returns
    -------
    int

    Examples
    --------
    >>> cores() >= 1
    True
    """
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def each(
    work: Callable[[Piece], Result],
    pieces: Iterable[Piece],
    *,
    jobs: int,
    step: Callable[[], None] = lambda: None,
) -> list[Result]:
    """Do some work on every piece, several at once, each with one BLAS thread.

    Small factorisations are many times slower with several BLAS threads than with one, and sums taken in
    another order change the last digits; so it is one thread within a piece and ``jobs`` across them. Work
    that is spread out again within a piece is done there, one after the other.

    Parameters
    ----------
    work : callable
        Must let other threads run (compiled loops, BLAS) to gain anything.
    pieces : iterable
        What to work on; cut the same way whatever ``jobs`` is.
    jobs : int
        Threads.
    step : callable
        Called as each piece is done, in their order.

    Returns
    -------
    list
        Results in the order of the pieces.

    Examples
    --------
    >>> each(abs, [-1, 2, -3], jobs=2)
    [1, 2, 3]
    """
    todo = list(pieces)
    if getattr(_here, "busy", False):
        return _in_turn(map(work, todo), step)
    with _libraries().limit(limits=1):
        if jobs <= 1 or len(todo) <= 1:
            return _in_turn(map(work, todo), step)
        pool = ThreadPoolExecutor(jobs, initializer=_make_busy)
        try:
            return _in_turn(pool.map(work, todo), step)
        finally:
            pool.shutdown(cancel_futures=True)


def _in_turn(results: Iterable[Result], step: Callable[[], None]) -> list[Result]:
    found = []
    for result in results:
        found.append(result)
        step()
    return found


def _make_busy() -> None:
    _here.busy = True


_here = threading.local()
"""Whether this thread is one of those that work on pieces."""


@cache
def _libraries() -> ThreadpoolController:
    """Find the BLAS libraries of the process, once: that takes longer than most pieces of work."""
    return ThreadpoolController()
