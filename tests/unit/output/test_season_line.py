"""When the next water is due, where it shows: tables, map, crew sheet, report, terminal."""

import datetime as dt
import io
import json

import pandas as pd
import pytest
from helpers.drawn_content import full
from rich.console import Console

from stressmap.core import schemas
from stressmap.output.report.page import Background, write_report
from stressmap.output.terminal.run_summary import print_summary
from stressmap.output.text.words import Words
from stressmap.output.view.crew_words import turns
from stressmap.output.view.season_line import due_counted, due_counts, due_text, with_due
from stressmap.output.view.since_water import since_water
from stressmap.output.web.map_data import map_data

TODAY = dt.date(2026, 7, 15)
DAYS = ((0, 0, 0), (2, 0, 6), (5, 3, None), (None, 15, None), (None, None, None))


def day(left):
    return None if left is None else TODAY + dt.timedelta(days=left)


@pytest.fixture(scope="module")
def content():
    drawn = full()
    valves = drawn.valves["valve"].tolist()
    left = [DAYS[k % len(DAYS)] for k in range(len(valves))]
    due = pd.DataFrame(
        {
            "valve": valves[::-1], "days_since_water": 5.04,
            **{name: pd.Series([day(one[k]) for one in left[::-1]], dtype=object)
               for k, name in enumerate(("due", "due_early", "due_late"))},
        }
    )  # fmt: skip
    return with_due(drawn, due, TODAY)


def test_the_tables_have_the_columns_of_the_contract(content) -> None:
    table = content.valves
    named, own = list(schemas.RANKED_VALVES.columns), list(table.columns)
    there = named[-5:]
    assert there == ["days_since_water", "due", "due_early", "due_late", "geometry"]
    assert own[own.index("geometry") - 4 : own.index("geometry") + 1] == there
    assert table["due"].iloc[:5].tolist() == ["2026-07-15", "2026-07-17", "2026-07-20", None, None]
    assert table["due_late"].iloc[1] == "2026-07-21"
    assert (table["days_since_water"] == 5.0).all()
    assert schemas.RANKED_VALVES.metadata["version"] == 3


def test_overdue_and_soon_are_counted(content) -> None:
    overdue, now, soon = due_counts(content)
    turns_of = range(len(content.valves))
    assert overdue + now == sum(k % 5 == 0 for k in turns_of)
    assert soon == sum(k % 5 == 1 for k in turns_of)
    told = f"Overdue: {overdue}; due now, though not surely: {now}; due in 3 days: {soon}."
    assert due_counted(content, Words("en")) == [told]
    assert due_counted(full(), Words("en")) == []


@pytest.mark.parametrize(
    ("place", "english", "sheet"),
    [
        (0, "overdue", "5 d / now"),
        (1, "due Jul 17, Jul 15 to Jul 21", "5 d / Jul 15\N{EN DASH}21"),
        (2, "due from Jul 18 on", "5 d / Jul 18\N{EN DASH}"),
        (3, "not within three weeks, at the earliest Jul 30", "5 d / Jul 30\N{EN DASH}"),
        (4, "not within three weeks", "5 d / over 3 wk"),
    ],
)
def test_each_valve_says_its_day_with_the_range(content, place, english, sheet) -> None:
    by_valve = {turn.row["valve"]: turn for turn in turns(content)}
    turn = by_valve[content.valves["valve"].iloc[place]]
    assert due_text(turn.row, TODAY, Words("en")) == english
    assert since_water(turn, content, Words("en")) == sheet


def test_the_map_carries_it_in_each_language(content) -> None:
    valves = {one["valve"]: one for one in map_data(content)["valves"]}
    first = valves[content.valves["valve"].iloc[0]]["season"]
    assert first == {
        "en": ["overdue", "overdue · water 5 days ago"], "es": ["atrasada", "atrasada · agua hace 5 días"],
    }  # fmt: skip
    assert all(one["season"] is None for one in map_data(full())["valves"])
    json.dumps(first)


def test_the_report_and_the_terminal_begin_with_it(content, tmp_path) -> None:
    said = due_counted(content, Words("en"))[0]
    write_report(content, Background({}), tmp_path / "report.html")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert said in page[: page.index('id="specialist"')]
    told = Console(file=io.StringIO(), width=120)
    print_summary(content, tmp_path, told)
    assert said in told.file.getvalue()
