"""On 80 columns, as a window or a pipe has them, no name and no status is cut in either language."""

import dataclasses
import datetime as dt
import io
import re
from typing import Literal
from zoneinfo import ZoneInfo

import pytest
from helpers.drawn_content import ranch
from helpers.moved_ranch import moved
from helpers.water_cases import need, terms
from rich.console import Console

from stressmap.core.settings import Water
from stressmap.output.terminal.narrow_table import GAP, narrow_table
from stressmap.output.terminal.plan_tables import print_advice
from stressmap.output.terminal.run_summary import print_summary
from stressmap.output.text.words import Words
from stressmap.output.view.water_words import WaterWords
from stressmap.water.formulation import formulate
from stressmap.water.water_plan import advise

START = dt.date(2026, 7, 16)
Language = Literal["en", "es"]
LANGUAGES = pytest.mark.parametrize("language", ["en", "es"])
LONG = "Compuerta del canal viejo numero {k}"
"""Longer than half a line has room for, each word short enough for a column."""


def console(width: int = 80) -> Console:
    return Console(file=io.StringIO(), width=width, highlight=False)


def printed(made: Console) -> str:
    assert isinstance(made.file, io.StringIO)
    return made.file.getvalue()


@LANGUAGES
@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize("name", ["V1", LONG, "Unadelasvalvulasmaslargasquehay{k}"])
def test_every_character_of_every_cell_is_there(language: Language, width: int, name: str) -> None:
    words = Words(language)
    heads = [words(f"terminal.{head}") for head in ("rank", "valve", "block", "priority", "stress")]
    rows = [
        (str(k), name.format(k=k), "North by the road", words("past.priority", short="P1"), "3.4")
        for k in range(3)
    ]
    out = console(width)
    table = narrow_table(heads, rows, width, right={0, 4}, breaks={1, 2, 3})
    out.print(table)
    lines, start = printed(out).splitlines(), 0
    assert max(len(line.rstrip()) for line in lines) <= width
    for place, column in enumerate(table.columns):
        assert column.width is not None
        shown = "".join(line[start : start + column.width] for line in lines)
        start += column.width + GAP
        cells = "".join([heads[place], *(row[place] for row in rows)])
        assert re.sub(r"\s", "", shown) == re.sub(r"\s", "", cells)


def whole(text: str, names: list[str]) -> bool:
    """Whether every word of every name is there, and nothing was cut off."""
    counted = {
        word: sum(name.split().count(word) for name in names) for name in names for word in name.split()
    }
    return "\N{HORIZONTAL ELLIPSIS}" not in text and all(
        len(re.findall(rf"(?<!\w){re.escape(word)}(?!\w)", text)) >= count for word, count in counted.items()
    )


@LANGUAGES
def test_a_run_tells_long_names_whole(language: Language, tmp_path) -> None:
    content = moved(ranch([("B1", "prune", 4), ("B2", "almond", 3)], across=2, languages=(language,)), 3.0)
    names = [LONG.format(k=k) for k in range(len(content.valves))]
    content = dataclasses.replace(content, valves=content.valves.assign(valve=names))
    out = console()
    print_summary(content, tmp_path, out, [])
    said = printed(out)
    assert whole(said, 2 * names), "in the list and in what changed"
    for word in Words(language)("moved.drier").split():
        assert said.count(word) >= len(names)


@LANGUAGES
def test_a_plan_tells_long_names_and_every_status_whole(language: Language) -> None:
    needs = [
        dataclasses.replace(
            need(k, dry_bar=8.0 - k), valve=LONG.format(k=k), block="The block by the old road"
        )
        for k in range(5)
    ]
    water = Water.model_validate({"available": "900 m3", "draws": 0, "pump": "60 m3/h"})
    case = formulate(needs, water, START, ZoneInfo("America/Los_Angeles"))
    out, words = console(), WaterWords(language)
    print_advice(advise(case, terms(water, START)), words, out)
    said = printed(out)
    assert whole(said, [one.valve for one in needs])
    status = words("status.in_part_by", limit=words("limit.short_water"))
    assert all(word in said.split() for word in status.split())
