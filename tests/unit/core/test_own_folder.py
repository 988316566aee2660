"""The folder of the user's own: made for them alone, and none that others could have filled is taken."""

import os
from pathlib import Path

import pytest

from stressmap.core.own_folder import folder_of_ones_own

pytestmark = pytest.mark.skipif(
    not hasattr(os, "getuid"), reason="the system does not tell whose a folder is"
)


def test_it_is_made_for_its_owner_alone_and_found_again(tmp_path: Path) -> None:
    folder = folder_of_ones_own(tmp_path)
    assert folder is not None
    assert folder.stat().st_mode & 0o777 == 0o700
    assert folder_of_ones_own(tmp_path) == folder


def test_one_that_others_may_write_to_a_link_and_a_file_are_not_taken(tmp_path: Path) -> None:
    folder = folder_of_ones_own(tmp_path)
    assert folder is not None
    folder.chmod(0o770)
    assert folder_of_ones_own(tmp_path) is None
    folder.rmdir()
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    folder.symlink_to(tmp_path / "elsewhere")
    assert folder_of_ones_own(tmp_path) is None
    folder.unlink()
    folder.write_text("")
    assert folder_of_ones_own(tmp_path) is None


def test_where_nothing_can_be_written_there_is_none(tmp_path: Path) -> None:
    assert folder_of_ones_own(tmp_path / "not there") is None
