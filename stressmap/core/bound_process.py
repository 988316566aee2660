"""A process that helps another and must not outlive it, whatever it is doing."""

from __future__ import annotations

import ctypes
import os
import signal
import sys

_PR_SET_PDEATHSIG = 1


def end_with_parent(parent: int) -> None:
    """Let the system end this process when the one that started it is gone.

    A helper that watches its parent by a thread of Python sees nothing while a compiled routine keeps Python
    from running, which can be half a minute. Only Linux can do better: ``prctl(PR_SET_PDEATHSIG)`` of its
    manual, section 2. Elsewhere nothing is done.

    Parameters
    ----------
    parent : int
        Number of the process that started this one; gone already, this one ends at once.
    """
    if sys.platform != "linux":
        return
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:
        os.kill(os.getpid(), signal.SIGKILL)
