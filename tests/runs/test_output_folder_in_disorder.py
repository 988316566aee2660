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


@pytest.mark.parametrize("seed", [4538, 7380, 7912])
def test_states_that_once_did_harm(tmp_path, seed):
    """A user's own file, put where a killed run had taken one away, was called the earlier result's own."""
    assert one(tmp_path / "state", seed) == []
