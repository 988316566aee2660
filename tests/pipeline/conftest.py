"""Fixtures of whole runs."""

import pytest
from command import Command


@pytest.fixture
def stressmap(monkeypatch, capsys):
    return Command(monkeypatch, capsys)
