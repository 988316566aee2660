"""Putting a finished folder in the place of an earlier one, so that no crash leaves half of either.

A result is written in a hidden workshop beside the target (:mod:`stressmap.output.staging.workshops`).
Where the system can exchange two folders in one step, that is all. Else, and in a folder that also holds
files of the user's own, the earlier files are taken out first, under the mark ``back``, and the new ones
are put in then, under the mark ``go``. So the next run can tell what a process that is gone left half done:
under ``back`` what was taken out goes back, under ``go`` what is new goes in. No list of names is kept:
what is moved is what lies in the workshop and bears the name of a result's file.
"""

from __future__ import annotations

import ctypes
import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from stressmap.core.interrupts import unbroken
from stressmap.output.staging.result_files import MARK, JobFiles, is_file, listed, strangers
from stressmap.output.staging.workshops import (
    BACK,
    GO,
    NEW,
    OLD,
    WHOLE,
    alone,
    clear,
    is_folder,
    left_behind,
    make_workshop,
)

_AT_FDCWD, _RENAME_EXCHANGE = -100, 2


@contextmanager
def workshop(place: Path, files: JobFiles) -> Iterator[Path]:
    """Make a locked workshop beside a folder, after clearing those that were left behind.

    Parameters
    ----------
    place : Path
        The folder that will be put in place; its parent exists.
    files : JobFiles
        What the job may write, and the names that may be moved and cleared.

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
        with unbroken(), alone(place.parent):
            for left, target in left_behind(place.parent, place):
                with suppress(OSError):
                    mend(left, target, files.known)
                clear(left, files.known)
            shop, lock = make_workshop(place)
        with lock:
            (shop / NEW).mkdir()
            yield shop
    finally:
        if shop is not None:
            with unbroken(), alone(place.parent):
                with suppress(OSError):
                    mend(shop, place, files.known)
                clear(shop, files.known)


def put(shop: Path, place: Path, files: JobFiles) -> None:
    """Put what a workshop holds in its place.

    A place that is new, empty or an earlier result is replaced as a whole. In a folder that also holds files
    of the user's own, or that the program was started in, only the files of a result are replaced one by one.

    Parameters
    ----------
    shop : Path
        A workshop with a whole ``new``.
    place : Path
        The folder.
    files : JobFiles
        What the job may write.

    Raises
    ------
    OSError
        If it cannot be done; the place is as it was.
    ValueError
        If a job wrote a file whose name is not in the table of result files.
    """
    if odd := sorted({p.name for p in (shop / NEW).iterdir()} - files.writes):
        msg = f"{', '.join(odd)}: no file of a result has such a name"
        raise ValueError(msg)
    _flush(shop / NEW)
    with unbroken(), alone(place.parent):
        if not os.path.lexists(place):
            (shop / NEW).rename(place)
        elif not is_folder(place):
            raise NotADirectoryError(errno.ENOTDIR, "it is not a folder that can be written")
        elif _may_go_whole(shop / NEW, place, files.known):
            _swap(shop, place, files.known)
        else:
            _one_by_one(shop, place, files)
        _flush_folder(place.parent)


def mend(shop: Path, place: Path, known: frozenset[str]) -> None:
    """Put right what a workshop left half done.

    Nothing that stands in the folder is replaced: if anything is in the way, all stays in the workshop.

    Parameters
    ----------
    shop : Path
        A workshop of ours.
    place : Path
        The folder it was made for.
    known : frozenset of str
        Names of the files of a result; only those are moved.

    Raises
    ------
    OSError
        If it cannot be done.
    """
    if is_file(shop / GO):
        mark, source = shop / GO, shop / NEW
    elif is_file(shop / BACK):
        mark, source = shop / BACK, shop / OLD
    else:
        return
    if mark.name == BACK and is_folder(shop / WHOLE):
        done = not is_folder(shop / NEW) or _put_back(shop / WHOLE, place)
    else:
        done = not is_folder(source) or _all_moved(source, place, known)
    if done:
        mark.unlink()


def _put_back(whole: Path, place: Path) -> bool:
    if os.path.lexists(place):
        return False
    whole.rename(place)
    return True


def _all_moved(source: Path, place: Path, known: frozenset[str]) -> bool:
    """Move a result's files into a folder; False, and none is moved, if a name of theirs is taken.

    The record among them would call a file its own that the user has put there since.
    """
    if not os.path.lexists(place):
        place.mkdir()
    names = _in_order(source, known)
    if not is_folder(place) or any(os.path.lexists(place / name) for name in names):
        return False
    for name in names:
        (source / name).rename(place / name)
    _flush_folder(place)
    return True


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


def _swap(shop: Path, place: Path, known: frozenset[str]) -> None:
    if exchange(shop / NEW, place):
        for file in (shop / NEW).iterdir():
            if file.name not in known:  # saved there since the folder was looked at
                file.rename(place / file.name)
        return
    _set_mark(shop / BACK)
    place.rename(shop / WHOLE)
    try:
        (shop / NEW).rename(place)
    except OSError:
        (shop / WHOLE).rename(place)
        raise
    (shop / BACK).unlink()


def _one_by_one(shop: Path, place: Path, files: JobFiles) -> None:
    names = _in_order(shop / NEW, files.known)
    if mine := strangers(place, files):
        raise FileExistsError(errno.EEXIST, f"{' and '.join(mine)} in it: not of an earlier run")
    present = listed(place, files.known)
    earlier = present if MARK in names else present & set(names)
    (shop / OLD).mkdir()
    _set_mark(shop / BACK)
    try:
        for name in sorted(
            earlier, key=lambda name: (name != MARK, name)
        ):  # the mark first: no more a result
            (place / name).rename(shop / OLD / name)
        (shop / BACK).rename(shop / GO)
        _flush_folder(shop)
        for name in names:
            (shop / NEW / name).rename(place / name)
        _flush_folder(place)
        (shop / GO).unlink()
    except OSError:
        _take_back(shop, place, names, files.known)
        raise


def _take_back(shop: Path, place: Path, names: list[str], known: frozenset[str]) -> None:
    """Undo in the opposite order; ended at any step, the marks still say how to go on."""
    if is_file(shop / GO):
        for name in reversed(names):
            if not os.path.lexists(shop / NEW / name):
                (place / name).rename(shop / NEW / name)
        (shop / GO).rename(shop / BACK)
    for name in _in_order(shop / OLD, known):
        (shop / OLD / name).rename(place / name)
    (shop / BACK).unlink()


def _in_order(folder: Path, known: frozenset[str]) -> list[str]:
    """Names of a result's plain files in a folder, the mark last: it is there once all else is."""
    found = {p.name for p in folder.iterdir() if is_file(p)} & known
    return sorted(found, key=lambda name: (name == MARK, name))


def _may_go_whole(new: Path, place: Path, known: frozenset[str]) -> bool:
    """Tell whether a folder is empty, or holds nothing but an earlier result."""
    present = {p.name for p in place.iterdir()}
    whole = not present or (MARK in {p.name for p in new.iterdir()} and present <= listed(place, known))
    return whole and not _started_in(place)


def _started_in(place: Path) -> bool:
    """Tell whether the program was started in a folder: its shell would be left in one that is gone."""
    try:
        return Path.cwd().resolve().is_relative_to(place)
    except OSError:
        return False


def _set_mark(mark: Path) -> None:
    mark.touch(exist_ok=False)
    _flush_folder(mark.parent)


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
