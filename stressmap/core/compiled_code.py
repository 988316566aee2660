"""Loops compiled to machine code, and where that is kept for the next run."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

from stressmap.core.own_folder import folder_of_ones_own

_FAST = {"contract", "nnan", "ninf", "nsz"}
_OPTIONS: dict[str, Any] = {"fastmath": _FAST, "error_model": "numpy", "no_cfunc_wrapper": True}


def compiled(function: Callable[..., Any]) -> Any:
    """Compile a loop, keeping the machine code for the next run where a place to keep it can be written.

    That is beside the source, else the user's folder for caches, else a folder of the user's own among the
    temporary files.

    Parameters
    ----------
    function : callable

    Returns
    -------
    callable
    """
    options = {"nogil": True, **_OPTIONS}
    try:
        return numba.njit(cache=True, **options)(function)
    except RuntimeError:  # there is no place that numba knows of
        folder = folder_of_ones_own()
    if folder is None:
        return numba.njit(**options)(function)
    config: Any = numba.config
    usual, config.CACHE_DIR = config.CACHE_DIR, str(folder)
    try:
        return numba.njit(cache=True, **options)(function)
    except RuntimeError:
        pass
    finally:
        config.CACHE_DIR = usual
    return numba.njit(**options)(function)


def inner(function: Callable[..., Any]) -> Any:
    """Compile a part that only compiled loops call: kept with them, and without what Python calls it by.

    Parameters
    ----------
    function : callable

    Returns
    -------
    callable
        Not to be called from Python.
    """
    return numba.njit(**{**_OPTIONS, "no_cpython_wrapper": True})(function)
