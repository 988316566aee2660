"""What the program is started in: variables, standard output and libraries of the system."""

from __future__ import annotations

import os
import re
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from stressmap.core.errors import OutputError, Problem, SettingsError

PACKAGES = {"libexpat.so.1": "libexpat1 (Debian, Ubuntu) or expat (Fedora, Alpine)"}
"""Packages of system libraries that a bare system may lack."""
_MISSING = re.compile(r"(lib[\w.+-]+\.so[\w.]*): cannot open shared object file")


def settle() -> None:
    """Put right what can be: called once, before any library is loaded.

    Characters that the standard output cannot show become question marks; warnings are not errors; a number
    of threads that is none, and folders of PROJ without its database, are as if not set. What rasterio
    says at random of rasters in memory that it brings into another CRS is not told (odc-geo's issue 131).
    """
    for stream in (sys.stdout, sys.stderr):
        encoding = (getattr(stream, "encoding", None) or "utf-8").lower().replace("-", "")
        if encoding != "utf8" and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if any(option.split(":")[0] == "error" for option in sys.warnoptions):
        warnings.simplefilter("ignore")
    warnings.filterwarnings("ignore", message="Dataset has no geotransform")
    threads = os.environ.get("NUMBA_NUM_THREADS", "1")
    if not (threads.isascii() and threads.isdigit() and int(threads[:9]) > 0):
        del os.environ["NUMBA_NUM_THREADS"]
    for name in ("PROJ_LIB", "PROJ_DATA"):
        folders = os.environ.get(name, "").split(os.pathsep)
        if name in os.environ and not any((Path(folder) / "proj.db").is_file() for folder in folders):
            del os.environ[name]


def refuse_unfit() -> None:
    """Refuse a Python that was told to leave out documentation: libraries build theirs as they load.

    Raises
    ------
    SettingsError
        If so.
    """
    if sys.flags.optimize > 1:
        what = "Python leaves out documentation (-OO), without which libraries do not load"
        raise SettingsError(Problem("PYTHONOPTIMIZE", what, "Unset it, or set it to 1"))


def missing_library(error: ImportError) -> SettingsError | None:
    """Say which package of the system is missing, if that is why a library cannot be loaded.

    Parameters
    ----------
    error : ImportError
        As raised.

    Returns
    -------
    SettingsError or None
        None if something else is wrong.
    """
    found = _MISSING.search(str(error))
    if found is None:
        return None
    library = found[1]
    needs = _library_of(error)
    package = PACKAGES.get(library, f"that holds {library}")
    what = f"the system library {library} is missing, which {needs} needs"
    return SettingsError(Problem("this computer", what, f"Install its package {package}"))


def _library_of(error: ImportError) -> str:
    """Give the library that a module belongs to; Python may name the module alone, its file says the rest."""
    installed = re.search(r"(?:site|dist)-packages[/\\](\w+)", error.path or "")
    return installed[1] if installed else (error.name or "a library").split(".")[0]


@contextmanager
def printing() -> Iterator[None]:
    """Let nothing that happens to the standard output undo what is done: who reads no more wants no more.

    Raises
    ------
    OutputError
        If what is printed cannot be written for another reason.
    """
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        _to_nowhere()
    except OSError as error:
        _to_nowhere()
        what = f"it cannot be written ({error.strerror or error})"
        remedy = "All files are in place; print again where there is room"
        raise OutputError(Problem("standard output", what, remedy)) from None


def _to_nowhere() -> None:
    """Send what is left in the buffer where it does no harm: Python would fail on it at its end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
