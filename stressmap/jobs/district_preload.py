"""What a worker that a district began on this computer loads first: it must not outlive who began it."""

from __future__ import annotations

import multiprocessing

from stressmap.core.bound_process import end_with_parent


def dask_setup(_worker: object) -> None:
    """Bind the worker's process to that of the command; called by Dask as the worker starts."""
    parent = multiprocessing.parent_process()
    if parent is not None and parent.pid is not None:
        end_with_parent(parent.pid)
