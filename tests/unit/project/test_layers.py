"""The house has one data flow: a room imports only rooms below it, and the lowest rooms stay pure."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[3] / "stressmap"
ORDER = ["core", "store", "intake", "agronomy", "quality", "geostat", "zoning", "water", "rounds", "season",
         "output", "jobs", "desk", "command_frame", "cli"]  # fmt: skip
OUTPUT_ORDER = [
    "text",
    "view",
    "gis",
    "web",
    "paper",
    "report",
    "terminal",
    "staging",
    "outputs",
    "round_outputs",
    "district_outputs",
]
MODULES = sorted(PACKAGE.rglob("*.py"))


def name_of(path: Path) -> str:
    """Give the dotted name of a module."""
    parts = ["stressmap", *path.relative_to(PACKAGE).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {name_of(path): path for path in MODULES}


def imports(path: Path, *, at_load: bool = False) -> set[str]:
    """Give the modules of this package that a module imports, relative imports resolved.

    With ``at_load`` only those imported while the module itself is loaded.
    """
    found: set[str] = set()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in _nodes(tree) if at_load else ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= _named(path, node)
    return {_module(name) for name in found if name.split(".")[0] == "stressmap"} - {"stressmap"}


def _named(path: Path, node: ast.ImportFrom) -> set[str]:
    base = node.module or ""
    if node.level:
        package = name_of(path).split(".") if path.name == "__init__.py" else name_of(path).split(".")[:-1]
        above = package[: len(package) - node.level + 1]
        base = ".".join([*above, *([base] if base else [])])
    return {f"{base}.{alias.name}" for alias in node.names}


def _nodes(tree: ast.AST) -> list[ast.AST]:
    """Give the nodes that run while a module is loaded: nothing inside functions or for type checkers."""
    out: list[ast.AST] = []
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            continue
        out += [node, *_nodes(node)]
    return out


def _module(name: str) -> str:
    """Cut what is imported down to the module that holds it."""
    parts = name.split(".")
    while len(parts) > 1 and ".".join(parts) not in NAMES:
        parts.pop()
    return ".".join(parts)


def test_imports_are_found_however_they_are_written() -> None:
    file = PACKAGE / "water" / "invented.py"
    lines = ["from .milp import solve", "from ..geostat import kriging", "from . import schedule",
             "import stressmap.core.units", "from stressmap.agronomy import baseline"]  # fmt: skip
    tree = [node for node in ast.walk(ast.parse("\n".join(lines))) if isinstance(node, ast.ImportFrom)]
    assert {_module(name) for node in tree for name in _named(file, node)} == {
        "stressmap.water.milp", "stressmap.geostat.kriging", "stressmap.water.schedule",
        "stressmap.agronomy.baseline",
    }  # fmt: skip


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_room_imports_only_rooms_below_it(path: Path) -> None:
    parts = name_of(path).split(".")
    if len(parts) == 1:
        return
    used = {name.split(".")[1] for name in imports(path)}
    above = {other for other in used if ORDER.index(other) > ORDER.index(parts[1])}
    assert not above, f"{path.name} in {parts[1]} imports {above}"


@pytest.mark.parametrize("path", sorted((PACKAGE / "output").rglob("*.py")), ids=lambda p: p.name)
def test_a_room_of_output_imports_only_those_below_it(path: Path) -> None:
    parts = name_of(path).split(".")
    if len(parts) < 3:
        return
    used = {n.split(".")[2] for n in imports(path) if n.startswith("stressmap.output.")}
    above = {other for other in used if OUTPUT_ORDER.index(other) > OUTPUT_ORDER.index(parts[2])}
    assert not above, f"{path.name} in output/{parts[2]} imports {above}"


def test_no_module_needs_one_that_needs_it() -> None:
    """Types that only a checker reads count as well: a circle is a circle."""
    needs = {name: imports(path) for name, path in NAMES.items()}
    left = dict(needs)
    while free := [name for name, used in left.items() if not used & left.keys() - {name}]:
        for name in free:
            del left[name]
    assert not left, f"in or above a circle: {sorted(left)}"


def test_no_module_name_and_no_class_name_stands_twice() -> None:
    """A job may be called as the room whose work it starts."""
    modules = [path.stem for path in MODULES if path.name != "__init__.py" and path.parent.name != "jobs"]
    classes = [
        n.name
        for p in MODULES
        for n in ast.walk(ast.parse(p.read_text("utf-8")))
        if isinstance(n, ast.ClassDef)
    ]
    for names in (modules, classes):
        twice = {name for name in names if names.count(name) > 1}
        assert not twice


@pytest.mark.parametrize("path", sorted((PACKAGE / "geostat").glob("*.py")), ids=lambda p: p.name)
def test_geostat_knows_no_tables_and_no_files(path: Path) -> None:
    heavy = {"pandas", "geopandas", "shapely", "rasterio", "folium", "pathlib"}
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    assert not {name.split(".")[0] for name in names} & heavy


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_stays_readable_in_one_sitting(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 450
