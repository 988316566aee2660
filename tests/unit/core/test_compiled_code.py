"""Where the compiled loops are kept: where numba finds a place, else in a folder of the user's own."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import pytest

from stressmap.core import compiled_code


def one(x: float) -> float:
    return x


class Compiler:
    """Finds a place for machine code in some folders only, as numba does; notes what it was asked for."""

    def __init__(self, *writable: str) -> None:
        self.writable, self.asked = writable, list[tuple[bool, str]]()

    def __call__(self, *, cache: bool = False, **_: object) -> Callable[[Any], Any]:
        self.asked.append((cache, numba.config.CACHE_DIR))
        if cache and numba.config.CACHE_DIR not in self.writable:
            msg = "cannot cache function: no locator available"
            raise RuntimeError(msg)
        return lambda function: function


@pytest.mark.parametrize(
    ("own", "writable", "asked"),
    [
        ("mine", ("",), [(True, "")]),
        ("mine", ("mine",), [(True, ""), (True, "mine")]),
        ("mine", (), [(True, ""), (True, "mine"), (False, "")]),
        (None, (), [(True, ""), (False, "")]),
    ],
)
def test_places_are_tried_one_after_the_other_and_without_any_the_code_still_runs(
    monkeypatch: pytest.MonkeyPatch, own: str | None, writable: tuple[str, ...], asked: list[tuple[bool, str]]
) -> None:
    compiler = Compiler(*writable)
    monkeypatch.setattr(numba, "njit", compiler)
    monkeypatch.setattr(numba.config, "CACHE_DIR", "")
    monkeypatch.setattr(compiled_code, "folder_of_ones_own", lambda: None if own is None else Path(own))
    assert compiled_code.compiled(one)(2.0) == 2.0
    assert compiler.asked[: len(asked)] == asked
    assert numba.config.CACHE_DIR == ""
