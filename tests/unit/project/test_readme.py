"""The README names what there is: every key of the settings with its default, every file and column."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from stressmap.core.memory_settings import Memory
from stressmap.core.ranch_names import Names
from stressmap.core.record_place import Store
from stressmap.core.round_settings import RoundSettings
from stressmap.core.season_settings import SeasonSettings
from stressmap.core.settings import Files, Map, ModelPriors, Ranch, Reading, Settings, Visit, Water
from stressmap.output.outputs import names
from stressmap.zoning.ranking import CHANGE_COLUMNS, COLUMNS

README = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
TABLES: dict[str, Any] = {
    "ranch": Ranch, "files": Files, "names": Names, "visit": Visit, "reading": Reading, "map": Map,
    "model": ModelPriors, "memory": Memory, "water": Water, "store": Store,
    "round": RoundSettings, "season": SeasonSettings,
}  # fmt: skip
CODE = re.findall(r"```.*?```|`[^`\n]+`", README, flags=re.DOTALL)
ROWS = re.findall(r"^\| `\[(\w+)\] (\w+)` \| (.+?) \| ", README, flags=re.MULTILINE)
USUAL = 19
"""Columns of the valve table that need no word there; those after them are ours to explain."""


def named(word: str) -> bool:
    return any(re.search(rf"(?<![\w.]){re.escape(word)}(?![\w])", code) for code in CODE)


def keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def test_the_tables_are_all_of_the_settings() -> None:
    assert set(keys(Settings)) - {"columns", "crops"} == set(TABLES)


@pytest.mark.parametrize("table", TABLES)
def test_every_key_is_named(table: str) -> None:
    assert [key for key in keys(TABLES[table]) if not named(key)] == []


@pytest.mark.parametrize(("table", "key", "default"), ROWS)
def test_a_default_is_what_the_settings_say(table: str, key: str, default: str) -> None:
    field = TABLES[table].model_fields[key]
    if default.startswith("`"):
        given = tomllib.loads(f"x = {default.strip('`')}")["x"]
        assert given == (list(field.default) if isinstance(field.default, tuple) else field.default)
    else:
        assert field.default is None


def test_water_keys_marked_as_default_are_the_default() -> None:
    sample = next(code for code in CODE if "[water.pumps]" in code)
    marked = re.findall(r"^(\w+) = (\S+) .*# (?:.*; )?default(?:$|; or)", sample, flags=re.MULTILINE)
    assert {key for key, _ in marked} >= {
        "days",
        "step_hours",
        "draws",
        "time_limit_s",
    }
    for key, value in marked:
        assert tomllib.loads(f"x = {value}")["x"] == Water.model_fields[key].default


@pytest.mark.parametrize("column", [*COLUMNS[USUAL:], *CHANGE_COLUMNS])
def test_every_less_usual_column_is_named(column: str) -> None:
    assert named(column)


@pytest.mark.parametrize("name", sorted(names()))
def test_every_file_of_a_job_is_named(name: str) -> None:
    assert named(name)
