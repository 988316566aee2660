"""Putting a finished folder in the place of an earlier one, so that no crash leaves half of either.

Beside the target stands a hidden workshop, ``.NAME.xxxxxxxx.partial``. It holds a lock, which the system lets
go when its process ends, however it ends; ``new``, the folder being written; and while things are moved
``old``, what was taken out of the target, and ``go``, which says that ``new`` is whole and goes in file by
file. So the next run can tell the workshops of processes that are gone, put right what they left half done,
and clear them away.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from stressmap.core.interrupts import unbroken

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

MARK = "run.json"
"""A folder that holds this file is an earlier result and may be replaced as a whole."""
LOCK, NEW, OLD, GO = "stressmap.lock", "new", "old", "go"
LONG_AGO_S = 86_400.0
"""Where the system has no locks, a workshop this old counts as left behind."""
_AT_FDCWD, _RENAME_EXCHANGE = -100, 2


@contextmanager
def workshop(place: Path) -> Iterator[Path]:
    """Make a locked workshop beside a folder, after clearing those that were left behind.

    Parameters
    ----------
    place : Path
        The folder that will be put in place; its parent exists.

    Yields
    ------
    Path
        The workshop; it is taken away in the end, whatever happens.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    shop: Path | None = None
    try:
        with unbroken(), _alone(place.parent):
            _clear_left_behind(place.parent)
            prefix = f".{place.name[:60]}."
            shop = Path(tempfile.mkdtemp(prefix=prefix, suffix=".partial", dir=place.parent))
            lock = (shop / LOCK).open("w", encoding="utf-8", newline="\n")
            lock.write(place.name)
            lock.flush()
            _hold(lock)
        with lock:
            (shop / NEW).mkdir()
            yield shop
    finally:
        if shop is not None:
            with unbroken():
                with suppress(OSError):
                    mend(shop, place)
                _clear(shop)


def put(shop: Path, place: Path) -> None:
    """Put what a workshop holds in its place.

    A place that is new, empty or an earlier result is replaced as a whole. In a folder that also holds files
    of the user's own, or that the program was started in, only the files of a result are replaced one by one.

    Parameters
    ----------
    shop : Path
        A workshop with a whole ``new``.
    place : Path
        The folder.

    Raises
    ------
    OSError
        If it cannot be done; the place is as it was.
    """
    _flush(shop / NEW)
    with unbroken(), _alone(place.parent):
        if not place.exists():
            (shop / NEW).rename(place)
        elif _may_go_whole(shop / NEW, place):
            _swap(shop, place)
        else:
            _one_by_one(shop, place)
        _flush_folder(place.parent)


def mend(shop: Path, place: Path) -> None:
    """Put right what a workshop left half done.

    Parameters
    ----------
    shop : Path
        A workshop.
    place : Path
        The folder it was made for.
    """
    if (shop / GO).exists() and place.is_dir():
        for name in (shop / GO).read_text(encoding="utf-8").splitlines():
            (place / name).unlink(missing_ok=True)
        for name in _in_order(shop / NEW):
            (shop / NEW / name).replace(place / name)
        (shop / GO).unlink()
    elif (shop / OLD).exists() and not place.exists():
        (shop / OLD).rename(place)


def exchange(a: Path, b: Path) -> bool:
    """Let two folders change places in one step, as only Linux can.

    Parameters
    ----------
    a, b : Path
        On one file system.

    Returns
    -------
    bool
        False where the system or the file system cannot.

    Raises
    ------
    OSError
        If it can, but not with these.
    """
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, TypeError, OSError):
        return False
    if rename(_AT_FDCWD, os.fsencode(a), _AT_FDCWD, os.fsencode(b), ctypes.c_uint(_RENAME_EXCHANGE)) == 0:
        return True
    number = ctypes.get_errno()
    if number in {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP}:
        return False
    raise OSError(number, os.strerror(number), str(b))


def _swap(shop: Path, place: Path) -> None:
    if exchange(shop / NEW, place):
        return
    place.rename(shop / OLD)
    try:
        (shop / NEW).rename(place)
    except OSError:
        (shop / OLD).rename(place)
        raise


def _one_by_one(shop: Path, place: Path) -> None:
    names = _in_order(shop / NEW)
    for name in names:
        if (place / name).is_dir():
            raise IsADirectoryError(errno.EISDIR, f"{name} is a folder there")
    stale = sorted(_listed(place) - set(names)) if MARK in names else []
    (shop / OLD).mkdir()
    (shop / GO).write_text("\n".join(stale), encoding="utf-8", newline="\n")
    try:
        for name in (*stale, *names):
            with suppress(FileNotFoundError):
                (place / name).rename(shop / OLD / name)
            if name not in stale:
                (shop / NEW / name).rename(place / name)
    except OSError:
        (shop / GO).unlink()
        _take_back(shop, place, names)
        raise
    (shop / GO).unlink()


def _take_back(shop: Path, place: Path, names: list[str]) -> None:
    for name in names:
        if not (shop / NEW / name).exists():
            (place / name).unlink(missing_ok=True)
    for old in (shop / OLD).iterdir():
        old.replace(place / old.name)


def _in_order(folder: Path) -> list[str]:
    """Names in a folder, the mark last: it is there once all else is."""
    return sorted((p.name for p in folder.iterdir()), key=lambda name: (name == MARK, name))


def _may_go_whole(new: Path, place: Path) -> bool:
    present, ours = {p.name for p in place.iterdir()}, {p.name for p in new.iterdir()}
    known = {MARK} <= present & ours and present <= ours | _listed(place)
    return (known or not present) and not _started_in(place)


def _started_in(place: Path) -> bool:
    """Tell whether the program was started in a folder: its shell would be left in one that is gone."""
    try:
        return Path.cwd().resolve().is_relative_to(place)
    except OSError:
        return False


def _listed(place: Path) -> set[str]:
    """Names of the files that the result in a folder says are its own; none if it is no result of ours."""
    try:
        page = json.loads((place / MARK).read_text(encoding="utf-8"))
        names = page["files"] if "stressmap" in page["versions"] else []
        return {name for name in names if Path(name).name == name}
    except (FileNotFoundError, ValueError, LookupError, TypeError):
        return set()


def _clear_left_behind(parent: Path) -> None:
    for shop in sorted(parent.glob(".*.????????.partial")):
        lock = shop / LOCK
        with suppress(OSError):
            if shop.is_symlink() or (lock.is_file() and not _left_behind(lock)):
                continue
            if not lock.is_file():
                shop.rmdir()
                continue
            name = lock.read_text(encoding="utf-8")
            if Path(name).name == name:
                mend(shop, parent / name)
            _clear(shop)


def _clear(shop: Path) -> None:
    """Take a workshop away, its lock last: without it nobody could tell whose it was."""
    for folder in (shop / NEW, shop / OLD):
        shutil.rmtree(folder, ignore_errors=True)
    with suppress(OSError):
        (shop / GO).unlink(missing_ok=True)
        if {p.name for p in shop.iterdir()} <= {LOCK}:
            (shop / LOCK).unlink(missing_ok=True)
            shop.rmdir()


def _left_behind(lock: Path) -> bool:
    """Tell whether nobody holds a lock any more."""
    try:
        with lock.open("r+", encoding="utf-8", newline="\n") as opened:
            return _hold(opened) or time.time() - lock.stat().st_mtime > LONG_AGO_S
    except OSError:
        return False


def _hold(opened: IO[str]) -> bool:
    """Take the lock on an open file; False if another has it or there are no locks here."""
    if fcntl is None:
        return False
    try:
        fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextmanager
def _alone(parent: Path) -> Iterator[None]:
    """Keep other runs from moving things in a folder meanwhile, where the system has locks on folders."""
    handle = None
    with suppress(OSError):
        handle = os.open(parent, os.O_RDONLY)
        if fcntl is not None:
            fcntl.flock(handle, fcntl.LOCK_EX)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _flush(folder: Path) -> None:
    """See that a folder's files are on the disk: a lid may be closed on an empty battery."""
    for file in folder.iterdir():
        with file.open("rb+") as opened:
            os.fsync(opened.fileno())
    _flush_folder(folder)


def _flush_folder(folder: Path) -> None:
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
