"""Whatever lies in and beside the output folder: nothing else is touched, and no result lost."""

import os
import sys

import pytest
from helpers.disordered_folders import one

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forks and links as Linux has them")


@pytest.mark.parametrize("seed", [20260714, 20260715, 20260716, 20260717])
def test_no_state_of_the_folder_does_harm(tmp_path, monkeypatch, seed):
    monkeypatch.setattr(os, "fsync", lambda _: None)
    harmed = [line for n in range(30) for line in one(tmp_path / str(n), seed * 1000 + n)]
    assert harmed == []
