"""Hidden workshops beside a target, in which a result is written; how to tell ours from planted ones.

A workshop ``.NAME.xxxxxxxx.partial`` holds a lock, which the system lets go when its process ends, however it
ends; a proof; and folders of files. Anyone can make a folder that looks like one, an unpacked archive for
instance, so nothing in it is believed but the proof: the number and the time of last change of the lock
file, both given by the system when the workshop was made and settable by no program and no archive. A
folder without it is left as it is.
"""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from stressmap.output.staging.result_files import is_file

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

LOCK, PROOF = "stressmap.lock", "stressmap.proof"
NEW, OLD, WHOLE = "new", "old", "whole"
"""Folders in a workshop: the result being written, files taken out of the target, the whole old target."""
BACK, GO = "back", "go"
"""Marks while a result is put in place: what was taken out goes back; what is new goes in."""
PATTERN, ENDING = ".*.????????.partial", len(".xxxxxxxx.partial")
LONG_AGO_S = 86_400.0
"""Where the system has no locks, a workshop this old counts as left behind."""
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)


def make_workshop(place: Path) -> tuple[Path, IO[bytes]]:
    """Make a locked workshop with its proof.

    Parameters
    ----------
    place : Path
        The folder that will be put in place; its parent exists.

    Returns
    -------
    Path, file
        The workshop, and its lock to keep open.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    prefix = f".{place.name[:60]}."
    shop = Path(tempfile.mkdtemp(prefix=prefix, suffix=".partial", dir=place.parent))
    try:
        lock = (shop / LOCK).open("xb")
        _hold(lock.fileno())
        with (shop / PROOF).open("xb") as proof:
            proof.write(_proof(shop, lock.fileno(), place.name))
            proof.flush()
            os.fsync(proof.fileno())
    except OSError:
        clear(shop, frozenset())
        raise
    return shop, lock


def left_behind(parent: Path, place: Path) -> Iterator[tuple[Path, Path]]:
    """Find workshops of ours whose processes are gone.

    Parameters
    ----------
    parent : Path
        The folder they stand in.
    place : Path
        A folder in it.

    Yields
    ------
    Path, Path
        A workshop, and the folder beside it that it was made for.
    """
    for shop in sorted(parent.glob(PATTERN)):
        with suppress(OSError):
            names = {p.name for p in shop.iterdir()} if _mine(shop) else None
            if names is None:
                continue
            if names <= {LOCK, PROOF}:
                _drop_bare(shop, names)
                continue
            with _free_lock(shop) as handle:
                target = None if handle is None else _made_for(shop, handle, place.name)
            if target is not None:
                yield shop, parent / target


def clear(shop: Path, known: frozenset[str]) -> None:
    """Take a workshop away unless it is still needed; only files of a result are taken away with it.

    Parameters
    ----------
    shop : Path
        One of ours.
    known : frozenset of str
        Names of the files of a result.
    """
    if is_file(shop / BACK) or is_file(shop / GO):
        return
    with suppress(OSError):
        for folder in (shop / NEW, shop / OLD, shop / WHOLE):
            if is_folder(folder):
                _empty(folder, tuple(known))
        if {p.name for p in shop.iterdir()} <= {LOCK, PROOF}:
            (shop / PROOF).unlink(missing_ok=True)
            (shop / LOCK).unlink(missing_ok=True)
            shop.rmdir()


def is_folder(path: Path) -> bool:
    """Tell whether a folder, and no link to one, is there.

    Parameters
    ----------
    path : Path
        Where.

    Returns
    -------
    bool
    """
    try:
        return stat.S_ISDIR(path.lstat().st_mode)
    except (FileNotFoundError, NotADirectoryError):
        return False


@contextmanager
def alone(parent: Path) -> Iterator[None]:
    """Keep other runs from moving things in a folder meanwhile, where the system has locks on folders.

    Parameters
    ----------
    parent : Path
        The folder.
    """
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


def _empty(folder: Path, known: tuple[str, ...]) -> None:
    """Take away files that a result has, and what a library left beside one, such as a journal."""
    for file in sorted(folder.iterdir()):
        if is_file(file) and file.name.startswith(known):
            file.unlink()
    folder.rmdir()


def _mine(shop: Path) -> bool:
    """Tell whether it is a folder, no link, of the user whom the program runs as."""
    found = shop.lstat()
    owner = os.geteuid() if hasattr(os, "geteuid") else found.st_uid
    return stat.S_ISDIR(found.st_mode) and found.st_uid == owner


def _drop_bare(shop: Path, names: set[str]) -> None:
    """Take a workshop away that was left before anything was in it."""
    if LOCK in names:
        with _free_lock(shop) as handle:
            if handle is None:
                return
    if all(is_file(shop / name) for name in names):
        for name in sorted(names, reverse=True):  # the lock last: without it nobody could tell whose it was
            (shop / name).unlink()
        shop.rmdir()


@contextmanager
def _free_lock(shop: Path) -> Iterator[int | None]:
    """Open and take the lock of a workshop whose process is gone; None if it is held, or no plain file."""
    if not is_file(shop / LOCK):
        yield None
        return
    handle = os.open(shop / LOCK, os.O_RDWR | _NO_LINK)
    try:
        held = _hold(handle)
        old = time.time() - os.fstat(handle).st_mtime > LONG_AGO_S
        yield handle if held or (held is None and old) else None
    finally:
        os.close(handle)


def _hold(handle: int) -> bool | None:
    """Take the lock on an open file; False if another has it, None if there are no locks here."""
    if fcntl is None:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def _proof(shop: Path, lock: int, name: str) -> bytes:
    """Say what only the workshop's maker can know: what the system numbered and dated when it was made."""
    file, parent = os.fstat(lock), shop.parent.stat()
    told = f"{file.st_ino} {file.st_ctime_ns} {parent.st_ino} {name}"
    return hashlib.sha256(told.encode("utf-8", "surrogateescape")).hexdigest().encode()


def _made_for(shop: Path, lock: int, name: str) -> str | None:
    """Give the name of the folder that a workshop of ours was made for; None if it proves no such thing."""
    if not is_file(shop / PROOF) or (shop / PROOF).lstat().st_nlink != 1 or os.fstat(lock).st_nlink != 1:
        return None
    handle = os.open(shop / PROOF, os.O_RDONLY | _NO_LINK)
    try:
        said = os.read(handle, 100)
    finally:
        os.close(handle)
    its_own = shop.name[1:-ENDING]
    return next((n for n in (name, its_own) if n and said == _proof(shop, lock, n)), None)
