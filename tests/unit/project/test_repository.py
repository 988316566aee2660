"""What people expect of a repository: one version, a changelog, a citation, pages that name what there is."""

from __future__ import annotations

import builtins
import fnmatch
import re
import subprocess
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest
from helpers.command import Command
from helpers.offline_pages import fetched_by, fetched_by_page

from stressmap import __version__

ROOT = Path(__file__).parents[3]
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "CITATION.cff", "LICENSE", "pyproject.toml", ".ci",
    ".gitignore", "stressmap", "tests", "demo_gis", "config", "outputs", "docs",
}  # fmt: skip
PAGES = [
    page
    for page in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
    if page.stem != "changelog"
]
CITED = re.compile(
    r"\d+(?:\(\d+\))?:\d+-\d+\b(?!:)|\b\d{3}:\d{6}\b|Paper \d+|RFC \d+|ISO/IEC \d+|Special Publication \d+"
)
"""How sources are cited: volume(issue):pages, volume:article, or a number of their own."""
PATH = re.compile(r"`([\w./*<>-]+(?:\.(?:py|js|toml|md|json|cff|csv|svg|jinja|html|css)|/))(?::\w+)?`")
"""A file or folder (it ends in a slash) in code type."""


def ignored(name: str) -> bool:
    patterns = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    return name == ".git" or any(fnmatch.fnmatch(name, pattern.rstrip("/")) for pattern in patterns)


def test_nothing_else_stands_at_the_top() -> None:
    assert {path.name for path in ROOT.iterdir() if not ignored(path.name)} | {"outputs"} == TOP_LEVEL


def test_the_version_stands_in_one_place() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert "version" not in project["project"]
    assert project["project"]["dynamic"] == ["version"]
    assert project["tool"]["hatch"]["version"]["path"] == "stressmap/__init__.py"
    assert re.fullmatch(r"\d+\.\d+\.\d+((a|b|rc)\d+)?(\.dev\d+)?", __version__)


def test_what_is_installed_is_this_version() -> None:
    try:
        assert version("stressmap") == __version__
    except PackageNotFoundError:
        pytest.skip("not installed")


def test_a_plain_checkout_tells_its_version() -> None:
    call = [sys.executable, "-m", "stressmap.cli", "--version"]
    told = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["stressmap", __version__]


def test_types_are_said_to_be_there() -> None:
    assert (ROOT / "stressmap" / "py.typed").read_text(encoding="utf-8") == ""


def test_a_shell_completes_commands(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, value in {
        "_STRESSMAP_COMPLETE": "complete_bash",
        "COMP_WORDS": "stressmap ch",
        "COMP_CWORD": "1",
    }.items():
        monkeypatch.setenv(name, value)
    assert Command(monkeypatch, capsys)().out.split() == ["check"]


def test_the_citation_has_what_its_format_asks_for() -> None:
    """Citation File Format 1.2.0, schema guide: required keys (from memory)."""
    text = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    keys = dict(re.findall(r"^([\w-]+): ?(.*)$", text, flags=re.MULTILINE))
    assert {"cff-version", "message", "title", "authors"} <= set(keys)
    assert keys["cff-version"] == "1.2.0"
    assert "version" not in keys


def test_the_changelog_begins_with_what_is_not_released() -> None:
    """Keep a Changelog 1.1.0: newest first, dated releases, changes grouped by kind (from memory)."""
    text = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    releases = re.findall(r"^## (.+)$", text, flags=re.MULTILINE)
    assert releases[0] == "[Unreleased]"
    assert all(re.fullmatch(r"\[\d+\.\d+\.\d+\] - \d{4}-\d\d-\d\d", release) for release in releases[1:])
    kinds = {"Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"}
    assert set(re.findall(r"^### (.+)$", text, flags=re.MULTILINE)) <= kinds


def exists(name: str) -> bool:
    """Tell whether a path stands in the repository: from its top, the package, the tests or the docs."""
    if "<" in name:
        return True
    places = [ROOT, ROOT / "stressmap", ROOT / "stressmap" / "output", ROOT / "tests", ROOT / "docs"]
    if any(any(place.glob(name.rstrip("/"))) for place in places):
        return True
    return "/" not in name.rstrip("/") and any(
        any((ROOT / top).rglob(name.rstrip("/")))
        for top in ("stressmap", "tests", "docs", "config", "demo_gis")
    )


@pytest.mark.parametrize(
    "page", [page for page in PAGES if page.name != "contract.md"], ids=lambda page: page.name
)
def test_every_path_that_a_page_names_exists(page: Path) -> None:
    """But for docs/contract.md, which names what is handed in and given back: test_contract.py holds it."""
    named = set(PATH.findall(page.read_text(encoding="utf-8"))) - GIVEN_OR_MADE
    assert sorted(name for name in named if not exists(name)) == []


@pytest.mark.parametrize("page", PAGES[1:], ids=lambda page: page.name)
def test_every_class_that_a_page_names_exists(page: Path) -> None:
    named = set(re.findall(r"`((?:[A-Z][a-z]+){1,4})(?:\(|`)", page.read_text(encoding="utf-8")))
    texts = [path.read_text(encoding="utf-8") for path in (ROOT / "stressmap").rglob("*.py")]
    defined = {
        name for text in texts for name in re.findall(r"^(?:class )?([A-Z]\w+)\b", text, flags=re.MULTILINE)
    }
    assert sorted(named - defined - set(dir(builtins)) - {"Unreleased", "Security"}) == []


GIVEN_OR_MADE = {
    "ranch.toml", "readings.csv", "blocks.csv", "valves.csv", "zones.geojson", "mend.csv", "map.html",
    "report.html", "run.json",
    "look_again.csv", "round.csv", "season.html", "season.csv", "cycles.csv", "due.csv",
    "season_blocks.csv", "water_plan.csv", "timetable.csv", "water_curve.csv",
    "DISTRICT.toml", "district.html", "district.csv", "problems.csv",
    "district_water.csv",
}  # fmt: skip
"""What a ranch hands in and a run makes: named in pages, not kept here."""


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_between_pages_leads_somewhere(page: Path) -> None:
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    links = [link for link in re.findall(r"\]\(([^)]+)\)", text) if not re.match(r"https?:", link)]
    targets = [page.parent / link.split("#")[0] for link in links]
    broken = [str(target) for target in targets if not target.exists()]
    assert broken == []


def test_every_source_that_the_package_cites_is_listed() -> None:
    listed = (ROOT / "docs" / "references.md").read_text(encoding="utf-8")
    files = [path for kind in ("*.py", "*.toml") for path in (ROOT / "stressmap").rglob(kind)]
    texts = {path: " ".join(path.read_text(encoding="utf-8").replace("\\\n", "").split()) for path in files}
    cited = {source for text in texts.values() for source in CITED.findall(text)}
    assert len(cited) >= 5
    assert sorted(source for source in cited if source not in listed) == []
    untitled = re.compile(r"(?<!, )university extension page")
    assert [path.name for path, text in texts.items() if untitled.search(text)] == []


def test_pages_that_fetch_from_a_network_are_found(tmp_path: Path) -> None:
    page = """<link rel="stylesheet" href="https://fonts.example/a.css">
        <script src="//cdn.example/b.js"></script><a href="https://standard.example">x</a>
        <style>@font-face { src: url("https://fonts.example/c.woff2") }</style>
        <img src="pictures/d.png"><script src="data:text/javascript,1"></script>"""
    assert fetched_by_page(page) == [
        "<link href=https://fonts.example/a.css>",
        "<script src=//cdn.example/b.js>",
        "https://fonts.example/c.woff2",
    ]  # fmt: skip
    (tmp_path / "e.css").write_text('@import "https://fonts.example/f.css"; a { background: url(g.png) }')
    assert fetched_by(tmp_path) == ["e.css: https://fonts.example/f.css"]
