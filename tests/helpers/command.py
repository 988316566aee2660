"""The command line as a user meets it, run in this process."""

from __future__ import annotations

import sys
from dataclasses import dataclass

import pytest

from stressmap import cli


@dataclass
class Answer:
    code: int
    out: str
    err: str

    @property
    def errors(self) -> list[str]:
        return self.err.splitlines()


class Command:
    """Call it with the words that would follow ``stressmap``."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch = monkeypatch
        self._capsys = capsys

    def __call__(self, *words: object) -> Answer:
        self._monkeypatch.setattr(sys, "argv", ["stressmap", *(str(w) for w in words)])
        self._capsys.readouterr()
        with pytest.raises(SystemExit) as caught:
            cli.main()
        printed = self._capsys.readouterr()
        return Answer(int(caught.value.code or 0), printed.out, printed.err)
