"""Threads over independent pieces of work; the result does not depend on how many."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar

from threadpoolctl import ThreadpoolController

Piece = TypeVar("Piece")
Result = TypeVar("Result")


def each(work: Callable[[Piece], Result], pieces: Iterable[Piece], *, jobs: int) -> list[Result]:
    """Do some work on every piece, several at once, each with one BLAS thread.

    Small factorisations are many times slower with several BLAS threads than with one, and sums taken in
    another order change the last digits; so it is one thread within a piece and ``jobs`` across them.

    Parameters
    ----------
    work : callable
        Must let other threads run (compiled loops, BLAS) to gain anything.
    pieces : iterable
        What to work on; cut the same way whatever ``jobs`` is.
    jobs : int
        Threads.

    Returns
    -------
    list
        Results in the order of the pieces.

    Examples
    --------
    >>> each(abs, [-1, 2, -3], jobs=2)
    [1, 2, 3]
    """
    with _libraries().limit(limits=1):
        if jobs <= 1:
            return [work(piece) for piece in pieces]
        pool = ThreadPoolExecutor(jobs)
        try:
            return list(pool.map(work, pieces))
        finally:
            pool.shutdown(cancel_futures=True)


@cache
def _libraries() -> ThreadpoolController:
    """Find the BLAS libraries of the process, once: that takes longer than most pieces of work."""
    return ThreadpoolController()
