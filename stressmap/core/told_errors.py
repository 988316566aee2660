"""An error as whoever waits for a job is told it: lines, and the exit code."""

from __future__ import annotations

from stressmap.core.errors import StressmapError
from stressmap.core.text import one_line

MOST_PROBLEMS = 50
"""So many are listed, then their count."""


def told(error: Exception) -> tuple[int, tuple[str, ...]]:
    """Say what is wrong, and give the exit code.

    Parameters
    ----------
    error : Exception
        Any.

    Returns
    -------
    tuple of (int, tuple of str)
        1 for what is no error of the user's.

    Examples
    --------
    >>> code, lines = told(ValueError("no such thing"))
    >>> code, lines[0]
    (1, 'error: stressmap: a defect of the program (ValueError: no such thing). \
Run it again with --debug and report what it prints.')
    """
    if not isinstance(error, StressmapError):
        kind = type(error).__name__
        what = f"error: stressmap: a defect of the program ({kind}: {one_line(str(error), most=300)})."
        return 1, (f"{what} Run it again with --debug and report what it prints.",)
    lines = [f"error: {problem}" for problem in error.problems[:MOST_PROBLEMS]]
    more = len(error.problems) - MOST_PROBLEMS
    if more > 0:
        where = error.problems[-1].where
        lines.append(f"error: {where}: {more:,} more problems. Correct these first.")
    return error.exit_code, tuple(lines)
