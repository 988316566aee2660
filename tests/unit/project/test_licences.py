"""What is installed, shipped and bounded stands on the page of licences."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ROWS = dict(re.findall(r"^\| ([a-z0-9-]+) \| ([^|]+) \| ", PAGE, flags=re.MULTILINE))
"""Licences by package."""
RECIPROCAL = re.compile(r"\b(A?L?GPL|MPL|ODbL|EPL|EUPL)\b|General Public|Open Database|Mozilla Public")
SHORT = {"General Public": "GPL", "Open Database": "ODbL", "Mozilla Public": "MPL"}


def applies(need: Requirement, extras: set[str]) -> bool:
    return need.marker is None or any(need.marker.evaluate({"extra": extra}) for extra in extras | {""})


def installed() -> list[str]:
    """Give what a plain install brings here: the declared packages, what they require, and so on."""
    waiting = [Requirement(line) for line in PROJECT["dependencies"]]
    found: set[str] = set()
    seen: set[tuple[str, frozenset[str]]] = set()
    while waiting:
        need = waiting.pop()
        key = (canonicalize_name(need.name), frozenset(need.extras))
        if key in seen:
            continue
        seen.add(key)
        found.add(key[0])
        lines = distribution(need.name).requires or []
        waiting += [line for line in map(Requirement, lines) if applies(line, need.extras)]
    return sorted(found)


def told_by(name: str) -> str:
    """Give the licence that a package's metadata names, without the full text some put there."""
    try:
        metadata = distribution(name).metadata
    except PackageNotFoundError:
        return ""
    lines = [metadata.get("License-Expression") or (metadata.get("License") or "").strip().split("\n")[0]]
    return " ".join([*lines, *(c for c in metadata.get_all("Classifier") or [] if c.startswith("License"))])


def test_everything_that_a_plain_install_brings_is_on_the_page() -> None:
    packages = installed()
    assert len(packages) > len(PROJECT["dependencies"])
    assert [name for name in packages if name not in ROWS] == []


@pytest.mark.parametrize("name", installed())
def test_a_licence_that_shares_alike_is_named_as_what_it_is(name: str) -> None:
    words = {SHORT.get(found[0], found[0]) for found in RECIPROCAL.finditer(told_by(name))}
    assert [word for word in sorted(words) if word not in ROWS[name]] == []


def test_words_of_sharing_alike_are_found() -> None:
    for text in (
        "LGPL-3.0-only",
        "MPL-2.0",
        "Open Database License (ODbL) v1.0",
        "GNU Affero General Public",
    ):
        assert RECIPROCAL.search(text), text
    assert not RECIPROCAL.search("MIT AND BSD-3-Clause AND PSF-2.0 AND Apache-2.0 WITH LLVM-exception")


def test_licences_of_others_in_the_package_are_shipped_and_on_the_page() -> None:
    paths = [path.relative_to(ROOT).as_posix() for path in (ROOT / "stressmap").rglob("LICENSE*")]
    assert set(PROJECT["license-files"]) == {"LICENSE", *paths}
    assert [path for path in paths if f"`{path}`" not in PAGE] == []


def test_upper_bounds_are_those_that_the_page_gives_reasons_for() -> None:
    bounds = {
        f"{need.name} {bound}"
        for need in map(Requirement, PROJECT["dependencies"])
        for bound in map(str, need.specifier)
        if bound.startswith("<")
    }
    assert bounds == set(re.findall(r"^\| ([a-z0-9-]+ <\d+) \| \w", PAGE, flags=re.MULTILINE))
