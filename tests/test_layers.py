"""The house has one data flow: a room imports only rooms below it, and the lowest rooms stay pure."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "stressmap"
ORDER = [
    "errors", "opening", "stopping", "progress", "units", "toml_file", "settings", "intake", "agronomy",
    "quality", "survey", "field", "zoning", "water", "share", "preparing", "findings", "pipeline",
    "water_job", "cli",
]  # fmt: skip
MODULES = sorted(PACKAGE.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_room_imports_only_rooms_below_it(path: Path) -> None:
    room = room_of(path)
    if room == "__init__":
        return
    used = {name.split(".")[1] for name in imports(path) if name.startswith("stressmap.")} - {"__version__"}
    above = {other for other in used if other != room and ORDER.index(other) > ORDER.index(room)}
    assert not above, f"{path.name} in {room} imports {above}"


@pytest.mark.parametrize("path", [p for p in MODULES if room_of(p) == "field"], ids=lambda p: p.name)
def test_field_knows_no_tables_and_no_files(path: Path) -> None:
    heavy = {"pandas", "geopandas", "shapely", "rasterio", "folium", "pathlib"}
    assert not {name.split(".")[0] for name in imports(path)} & heavy


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_stays_readable_in_one_sitting(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 450
