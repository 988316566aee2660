"""What is imported is declared, what nothing imports is not; what only tests import stands with the tests."""

from __future__ import annotations

import ast
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from stressmap.output.staging.run_record import versions

REPOSITORY = Path(__file__).parents[3]
PROJECT = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NOT_IMPORTED = {
    "cryptography": "distributed makes the keys between workers with it",
    "psycopg": "SQLAlchemy's driver for PostgreSQL",
    "tzdata": "zoneinfo reads it on systems that have no time zones of their own",
    "mypy": "a program, run on the package",
    "ruff": "a program, run on the repository",
    "pytest-xdist": "a plugin: pytest finds it, for running on all cores",
    "pandas-stubs": "types for mypy",
    "types-defusedxml": "types for mypy",
}
"""What is declared although no line imports it, and why."""
BY_HAND = {
    "atheris": "the fuzzer says itself how to get it",
    "cosmic_ray": "the mutation script says itself how to get it",
}
OURS = {"stressmap", "helpers", "draw_ranch", "drawing", "drawn_district", "drawn_ranch", "large_ranch",
        "network_namespaces", "watched_processes"}  # fmt: skip


def declared(lines: list[str]) -> set[str]:
    return {canonicalize_name(Requirement(line).name) for line in lines}


RUN = declared(PROJECT["dependencies"])
TEST = declared(PROJECT["optional-dependencies"]["test"])
EXTRAS = {
    name: set(lines)
    for name, lines in PROJECT["optional-dependencies"].items()
    if name not in {"test", "docs"}
}
"""What a user may install besides, each for some commands or addresses alone."""
EXTRA = declared([line for lines in EXTRAS.values() for line in lines])


def imported(*folders: str) -> set[str]:
    """Give the distributions whose modules are imported below some folders."""
    found: set[str] = set()
    for path in (path for folder in folders for path in (REPOSITORY / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
                found.add(node.module.split(".")[0])
    known = packages_distributions()
    foreign = found - set(sys.stdlib_module_names) - OURS - set(BY_HAND)
    return {canonicalize_name(known[name][0]) for name in foreign}


def test_the_program_declares_what_it_imports_and_no_more() -> None:
    assert imported("stressmap") == (RUN | EXTRA) - set(NOT_IMPORTED)


def test_the_tests_declare_what_only_they_import_and_no_more() -> None:
    assert imported("tests", "demo_gis") - RUN - EXTRA == TEST - EXTRA - set(NOT_IMPORTED)


@pytest.mark.parametrize("name", NOT_IMPORTED)
def test_an_exception_is_still_declared(name: str) -> None:
    assert name in RUN | TEST


@pytest.mark.parametrize("extra", EXTRAS)
def test_what_tests_need_of_an_extra_is_what_the_extra_brings(extra: str) -> None:
    assert set(PROJECT["optional-dependencies"]["test"]) >= EXTRAS[extra]


def test_the_record_of_a_run_names_the_version_of_every_library() -> None:
    told = {canonicalize_name(name) for name in versions()}
    assert told == RUN | {"python", "stressmap", "gdal", "geos", "proj"}
