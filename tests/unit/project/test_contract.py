"""``docs/contract.md`` promises what there is: commands, keys, columns, codes and files."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from stressmap.cli import app
from stressmap.core import schemas
from stressmap.core.errors import DataError, OutputError, Problem, SettingsError
from stressmap.core.interrupts import code_of
from stressmap.core.season_schemas import SEASON_SCHEMAS, versions_of_season
from stressmap.core.settings import FLAG_CODES
from stressmap.output.outputs import names
from stressmap.output.staging.ranch_schema import ranch_schema
from stressmap.quality.checks import CHECKS
from stressmap.zoning.ranking import LABELS

REPOSITORY = Path(__file__).parents[3]
PAGE = (REPOSITORY / "docs" / "contract.md").read_text(encoding="utf-8")
ANNOUNCED = PAGE.split("## Announced")[1]
INPUTS = {
    "readings": schemas.READINGS, "blocks": schemas.BLOCKS, "valves": schemas.VALVES,
    "weather": schemas.WEATHER, "irrigation": schemas.IRRIGATION,
}  # fmt: skip


def section(title: str) -> str:
    return re.split(r"^## ", PAGE.split(f"\n## {title}\n")[1], flags=re.MULTILINE)[0]


def rows(text: str) -> list[list[str]]:
    """Give the cells of all tables, heads and rulers left out."""
    lines = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    heads = {i - 1 for i, cells in enumerate(lines) if set("".join(cells)) <= {"-", " ", "|"}}
    return [cells for i, cells in enumerate(lines) if i not in heads and i - 1 not in heads]


def quoted(text: str) -> list[str]:
    return re.findall(r"`([^`]+)`", text)


COMMANDS: dict[str, Any] = typer.main.get_command(app).commands  # type: ignore[attr-defined]
PROMISED = {
    quoted(cells[0])[0].split()[1]: cells for cells in rows(section("Commands")) if "stressmap " in cells[0]
}


def test_the_commands_are_those_of_the_page() -> None:
    assert set(PROMISED) == set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_takes_the_options_of_the_page(name: str) -> None:
    options = {opt for p in COMMANDS[name].params for opt in p.opts if opt.startswith("--")} - {"--help"}
    promised = {option.split()[0] for option in quoted(PROMISED[name][2]) if option.startswith("--")}
    assert promised == options
    argument = next(p for p in COMMANDS[name].params if not p.opts[0].startswith("-"))
    assert quoted(PROMISED[name][0])[0].split()[2] == argument.metavar


def test_the_version_can_be_asked_for() -> None:
    assert "`stressmap --version`" in PAGE
    assert CliRunner().invoke(app, ["--version"]).output.startswith("stressmap ")


def test_the_exit_codes_are_those_of_the_page() -> None:
    codes = {cells[0].strip("`") for cells in rows(section("Commands")) if re.fullmatch(r"`\d+`", cells[0])}
    told = [error(Problem("f", "w", "r")).exit_code for error in (SettingsError, DataError, OutputError)]
    assert told == [2, 3, 4]
    assert codes == {"0", "1", *map(str, told), str(code_of(KeyboardInterrupt()))}


def test_an_error_has_the_form_of_the_page() -> None:
    problem = Problem("FILE", "what is wrong", "What to do about it", row=3, column="C")
    assert f"error: {problem}".replace("row 3", "row N") == (
        "error: FILE, row N, column C: what is wrong. What to do about it."
    )
    assert "`error: FILE[, row N][, column C]: what is wrong. What to do about it.`" in PAGE


def test_every_key_of_the_settings_stands_on_the_page_with_its_default() -> None:
    told = {quoted(cells[0])[0] for cells in rows(section("Settings: `ranch.toml`"))}
    wanted = set()
    for table, inside in ranch_schema()["properties"].items():
        wanted.add(f"[{table}]")
        wanted |= {f"[{table}] {key}" for key in inside.get("properties", {})}
    assert {key for key in told if not key.startswith("[crops.<name>]")} == wanted


@pytest.mark.parametrize("table", INPUTS)
def test_every_column_of_an_input_stands_on_the_page(table: str) -> None:
    cells = next(cells for cells in rows(section("Inputs")) if cells[0].split(",")[0] == table)
    told = set(quoted(" ".join(cells[1:])))
    alike = {"x", "y", "bagged_at", "temp_f", "hours"}
    own = set(schemas.columns_of(INPUTS[table])) - {"row", "file"}
    assert own <= told
    assert told - own <= alike


def test_the_flags_and_what_follows_are_those_of_the_page() -> None:
    told = [(quoted(cells[0])[0], cells[1]) for cells in rows(section("Flags"))]
    assert [code for code, _ in told] == list(FLAG_CODES)
    follows = {"leave out": "left out", "mend": "mended", "mark": "marked"}
    for code, then in told:
        if code in CHECKS:
            assert follows[CHECKS[code].action] == then


def test_the_words_of_the_priorities_are_those_of_the_page() -> None:
    told = [cells for cells in rows(section("Figures")) if cells[0].isdigit()]
    assert {int(cells[0]): (cells[2], cells[3]) for cells in told} == LABELS


LEAVING = {schema.name: schema for schema in (*schemas.SCHEMAS, *SEASON_SCHEMAS) if "." in schema.name}
TABLES = {quoted(cells[0])[0]: cells for cells in rows(section("Files")) if len(cells) == 3}


def test_every_table_that_leaves_stands_on_the_page() -> None:
    assert set(TABLES) == set(LEAVING)


@pytest.mark.parametrize("name", LEAVING)
def test_a_table_has_the_columns_and_the_version_of_the_page(name: str) -> None:
    always, _, sometimes = TABLES[name][2].partition(" (")
    assert quoted(always) == list(schemas.columns_of(LEAVING[name]))
    assert quoted(sometimes) == list(schemas.columns_of(LEAVING[name], required=False))
    assert TABLES[name][1] == str((schemas.versions_of_tables() | versions_of_season())[name])


def test_every_file_stands_on_the_page() -> None:
    listed = {name for cells in rows(section("Files")) if len(cells) == 2 for name in quoted(cells[0])}
    assert listed == names()


def test_nothing_that_is_announced_is_there_already() -> None:
    told = set(quoted(ANNOUNCED))
    assert not told & (set(COMMANDS) | names())
    keys = json.loads(json.dumps(ranch_schema()))["properties"]
    assert not {word.strip("[]") for word in told if word.startswith("[") and " " not in word} & set(keys)


def test_no_other_page_is_called_so() -> None:
    word = re.compile(r"\bcontract\b", re.IGNORECASE)
    places = [*(REPOSITORY / "stressmap").rglob("*.py"), *(REPOSITORY / "tests").rglob("*.py")]
    pages = [REPOSITORY / "README.md", REPOSITORY / "DEVELOPERS.md", *(REPOSITORY / "demo_gis").rglob("*.py")]
    for path in (*places, *pages):
        for line in path.read_text(encoding="utf-8").splitlines():
            if word.search(line) and path != Path(__file__) and "_FAST" not in line:
                assert "docs/contract.md" in line.replace('"contract.md"', "docs/contract.md"), (path, line)
