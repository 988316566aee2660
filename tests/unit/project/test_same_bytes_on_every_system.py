"""A file written in text mode has other line ends on other systems, unless its line end is named."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[3] / "stressmap"
WRITES = set("wax+")


def careless(source: str) -> list[int]:
    """Give the lines that write text without saying how a line ends."""
    return [
        node.lineno for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call) and _careless(node)
    ]


def _careless(call: ast.Call) -> bool:
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    given = {word.arg: word.value for word in call.keywords}
    if name == "write" and "xml_declaration" in given:  # ElementTree opens a path in text mode
        return True
    if name == "to_csv":
        return "lineterminator" not in given
    if name == "open":
        return _opens_text_to_write(call, given) and "newline" not in given
    return name == "write_text" and "newline" not in given


def _opens_text_to_write(call: ast.Call, given: dict[str | None, ast.expr]) -> bool:
    """Judge by the mode: a short text of mode letters; what os and rasterio open is no text."""
    values = [*call.args[:2], given.get("mode")]
    modes = {v.value for v in values if isinstance(v, ast.Constant) and isinstance(v.value, str)}
    if isinstance(call.func, ast.Attribute) and ast.unparse(call.func.value) in {"os", "rasterio"}:
        return False
    return any(set(mode) <= set("rwaxbt+") and set(mode) & WRITES and "b" not in mode for mode in modes)


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ('path.write_text("a", encoding="utf-8")', True),
        ('path.write_text("a", encoding="utf-8", newline="\\n")', False),
        ('open("a", "w")', True),
        ('path.open("r+")', True),
        ('path.open(mode="a")', True),
        ('path.open("w", newline="\\n")', False),
        ('path.open("rb+")', False),
        ("path.open()", False),
        ("table.to_csv(path)", True),
        ("ElementTree(root).write(path, xml_declaration=True)", True),
    ],
)
def test_a_careless_write_is_seen(line: str, *, found: bool) -> None:
    assert bool(careless(line)) is found


def test_every_writer_names_its_line_end() -> None:
    found = [
        f"{path.relative_to(PACKAGE)}:{line}"
        for path in sorted(PACKAGE.rglob("*.py"))
        for line in careless(path.read_text(encoding="utf-8"))
    ]
    assert found == []
