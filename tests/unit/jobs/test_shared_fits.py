"""One call of ``district`` works out what a ranch needs once, and never reads a foreign pickle."""

from __future__ import annotations

import pickle
import stat
import sys
from pathlib import Path

import pytest

from stressmap.jobs.shared_fits import RanchWork, SharedFits, shared_fits

READ: list[str] = []


class Evil:
    """A pickle that does something when it is read."""

    def __reduce__(self) -> tuple[object, ...]:
        return READ.append, ("read",)


class Work:
    """Counts how often it is done."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self) -> int:
        self.times += 1
        return 40 + self.times


@pytest.fixture
def fits(tmp_path: Path) -> SharedFits:
    return SharedFits(tmp_path, b"k" * 32)


def test_work_is_done_once_for_each_stamp(fits: SharedFits) -> None:
    work = Work()
    assert [fits.once("a", work), fits.once("a", work), fits.once("b", work)] == [41, 41, 42]
    assert RanchWork(fits, "s").once("fit", work) == RanchWork(fits, "s").once("fit", work) == 43
    assert RanchWork(None, "s").once("fit", work) == 44, "a ranch by itself keeps nothing"
    assert len(list(fits.folder.iterdir())) == 3


def test_a_pickle_that_this_call_did_not_write_is_never_read(fits: SharedFits) -> None:
    work = Work()
    fits.once("a", work)
    (place,) = fits.folder.iterdir()
    fits.once("b", work)
    (other,) = set(fits.folder.iterdir()) - {place}
    evil = pickle.dumps(Evil())
    signed_by_others = SharedFits(fits.folder, b"o" * 32)._sign(place.name, evil) + evil
    cut_off = place.read_bytes()[:-1]
    for held in (evil, b"", b"\0" * 32 + evil, signed_by_others, other.read_bytes(), cut_off):
        place.write_bytes(held)
        before = work.times
        assert fits.once("a", work) == 41 + before
        assert fits.once("a", work) == 41 + before
    assert READ == []


def test_where_the_folder_is_not_seen_all_is_worked_out(tmp_path: Path) -> None:
    fits, work = SharedFits(tmp_path / "elsewhere", b"k" * 32), Work()
    assert [fits.once("a", work), fits.once("a", work)] == [41, 42]
    assert not fits.folder.exists()


def test_the_folder_is_of_this_user_alone_and_goes_with_the_call() -> None:
    with shared_fits() as fits:
        fits.once("a", Work())
        if sys.platform != "win32":
            held = [fits.folder, *fits.folder.iterdir()]
            assert [stat.S_IMODE(one.stat().st_mode) for one in held] == [0o700, 0o600]
        assert "key" not in repr(fits)
        folder = fits.folder
    with shared_fits() as other:
        assert other.key != fits.key
    assert not folder.exists()
