"""How much memory this process may take, and how many things of a size fit into it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import suppress
from math import floor, log10
from pathlib import Path

ASSUMED_BYTES = 8_000_000_000
"""Where the system does not tell."""
SHARE = 0.5
"""Of the memory that one run may take: other programs, and what was not measured, need the rest."""
NO_LIMIT = 2**60
"""Control groups of version 1 tell more than this where there is no limit."""
CONTAINER_LIMITS = (
    Path("/sys/fs/cgroup/memory.max"),
    Path("/sys/fs/cgroup/memory/memory.limit_in_bytes"),
)
"""Where Linux tells how much a container may take: control groups of version 2 and of version 1."""


def memory_bytes(limits: Sequence[Path] = CONTAINER_LIMITS) -> int:
    """Tell how much memory there is: the machine's, or less where a container is held to less.

    Parameters
    ----------
    limits : sequence of Path
        Files that may hold the limit of a container.

    Returns
    -------
    int
        :data:`ASSUMED_BYTES` where the system does not tell (Windows).

    Examples
    --------
    >>> memory_bytes() > 100_000_000
    True
    """
    found = []
    with suppress(AttributeError, OSError, ValueError):
        found.append(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))
    for limit in limits:
        with suppress(OSError, ValueError):
            found.append(int(limit.read_text(encoding="ascii")))
    return min([one for one in found if 0 < one < NO_LIMIT], default=ASSUMED_BYTES)


def most_that_fit(bytes_each: float, memory: int | None = None) -> int:
    """Tell how many things fit into a run's share of the memory, in two figures.

    Parameters
    ----------
    bytes_each : float
        What one takes.
    memory : int, optional
        Bytes there are; by default what :func:`memory_bytes` tells.

    Returns
    -------
    int
        Rounded down.

    Examples
    --------
    >>> most_that_fit(300, 16_000_000_000)
    26000000
    """
    fit = SHARE * (memory_bytes() if memory is None else memory) / bytes_each
    step = 10 ** max(0, floor(log10(max(fit, 1.0))) - 1)
    return int(fit // step * step)
