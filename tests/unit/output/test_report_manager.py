"""Page one of the report: what changed, what is urgent, what the water does, where to measure."""

import dataclasses
import re
from collections import Counter
from html import unescape
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers.drawn_content import full, large, priority_of, ranch, small, unmeasured
from helpers.drawn_drought import PAST, drought
from helpers.moved_ranch import moved
from helpers.water_cases import random_ranch, terms

from stressmap.core.notes import Note
from stressmap.output.report.manager import URGENT, block_changes, manager_parts
from stressmap.output.report.page import DRAWN, Background, write_report
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import turns
from stressmap.output.view.plan_digest import FEWER, MOST_DAYS, MOST_LINES, NAMED, digest
from stressmap.output.view.priority_moves import ONE_BY_ONE, by_block, priority_moves
from stressmap.output.view.water_words import Section, WaterWords
from stressmap.water.water_plan import Advice, advise, timetable_table

EN = Words("en", "us")
Parts = dict[str, tuple[Section, ...]]


@pytest.fixture(scope="module")
def advice() -> Advice:
    drawn = random_ranch(3)
    return advise(drawn.case(), terms(drawn.water, drawn.limits.first, draws=20))


def parts_of(content: Content, brief: tuple[Section, ...] = (), words: Words = EN) -> Parts:
    return dict(manager_parts(content, turns(content), brief, words))


def text_of(sections: tuple[Section, ...]) -> str:
    return "\n".join(line for one in sections for line in (*(" ".join(row) for row in one.rows), *one.lines))


def page_of(content: Content, folder: Path) -> str:
    write_report(content, Background({}), folder / "report.html")
    return unescape((folder / "report.html").read_text(encoding="utf-8"))


def test_what_a_priority_was_follows_from_what_the_gauge_showed_then() -> None:
    """3 bar more on the gauge in the same weather: each zone stood 3 bar lower, with edges at 0, 2 and 4."""
    content = moved(small(), 3.0)
    moves = {move.valves[0]: move for move in priority_moves(content, turns(content))}
    for row in content.valves.itertuples():
        was, now = priority_of(row.stress_bar - 3.0), priority_of(row.stress_bar)
        assert (row.valve in moves) == (was != now)
        if was != now:
            move = moves[row.valve]
            assert (move.before.priority, move.now.priority) == (was, now)
            assert move.before.mean == pytest.approx(row.stress_bar - 3.0)
            assert move.before.high - move.before.low == pytest.approx(2 * 1.6449 * 0.6, abs=1e-3)
            assert move.worse


def test_weather_alone_that_the_target_follows_changes_no_priority() -> None:
    content = moved(small(), 2.0, weather_bar=2.0)
    assert priority_moves(content, turns(content)) == []


def test_the_more_urgent_come_first_and_the_less_urgent_last() -> None:
    content = small()
    gauge = [-3.0 if k % 2 else 3.0 for k in range(len(content.valves))]
    moves = priority_moves(moved(content, gauge), turns(moved(content, gauge)))
    assert {move.worse for move in moves} == {True, False}
    assert [move.worse for move in moves] == sorted((move.worse for move in moves), reverse=True)
    urgent = [move.now.priority for move in moves if move.worse]
    assert urgent == sorted(urgent)


def test_a_block_not_read_at_both_visits_has_no_change_of_priority() -> None:
    content = moved(small(), 3.0)
    before = [move.block for move in priority_moves(content, turns(content))]
    assert "B1" in before
    old = content.readings["flags"].eq("outside_visit") & content.readings["block"].eq("B1")
    fewer = dataclasses.replace(content, readings=content.readings[~old])
    assert "B1" not in [move.block for move in priority_moves(fewer, turns(fewer))]
    bare = moved(unmeasured(small()), 3.0)
    assert "B1" not in [move.block for move in priority_moves(bare, turns(bare))]


def test_many_are_told_by_block_and_none_is_lost() -> None:
    content = moved(large(), 3.0)
    moves = priority_moves(content, turns(content))
    assert len(moves) > ONE_BY_ONE
    joined = by_block(moves)
    assert Counter(name for one in joined for name in one.valves) == Counter(m.valves[0] for m in moves)
    assert len({(one.block, one.before.priority, one.now.priority) for one in joined}) == len(joined)
    alone = {move.valves[0]: move for move in moves}
    one = max(joined, key=lambda move: len(move.valves))
    own = [alone[name] for name in one.valves]
    areas = [move.area_ha for move in own]
    assert one.now.mean == pytest.approx(np.average([move.now.mean for move in own], weights=areas))
    assert one.now.low == min(move.now.low for move in own)


def test_each_change_has_a_picture_that_says_what_it_shows(tmp_path: Path) -> None:
    content = moved(ranch([("B1", "prune", 3)], across=1), 3.0)
    moves = priority_moves(content, turns(content))
    assert moves
    page = page_of(content, tmp_path)
    shown = re.findall(r'<svg viewBox[^>]* role="img" aria-label="([^"]+)"', page)
    assert [label.split(":")[0] for label in shown] == [move.valves[0] for move in moves]
    first, label = moves[0], shown[0]
    assert f"P{first.before.priority} to P{first.now.priority}" in label
    assert f"{first.now.mean:.1f} bar" in label


def test_sixty_changes_have_a_picture_each_and_more_are_told_by_block(tmp_path: Path) -> None:
    """Each of the crops' zones stands 3 bar drier than before, more than a priority's width of 2 bar."""
    for blocks, alone in ((9, True), (18, False)):
        content = moved(ranch([(f"B{i}", "prune", 6) for i in range(blocks)], across=6), 3.0)
        moves = priority_moves(content, turns(content))
        assert (24 < len(moves) <= 60) == alone
        page = page_of(content, tmp_path)
        assert (page.count('<figure class="move">') == len(moves)) == alone
        assert ("valves of one block with the same change stand together" in page) == (not alone)


def test_page_one_says_nothing_of_columns_and_files_where_valves_are_to_be_looked_at(tmp_path: Path) -> None:
    note = Note.of("look_before_opening", "warning", valves=["B1-1", "B1-2"], count=2)
    content = dataclasses.replace(small(), notes=(note,))
    first, _, specialist = page_of(content, tmp_path).partition('id="specialist"')
    assert "Until someone has looked and noted it they get no more than the crop uses" in first
    assert "column checked" not in first
    assert "column checked of the valves file" in specialist


def test_readings_that_would_settle_most_are_counted_by_place() -> None:
    """A name that comes twice is written once with its count."""
    content = small()
    spots = content.readings.groupby("valve").head(1).head(3)
    twice = dataclasses.replace(content, look_again=pd.concat([spots, spots], ignore_index=True))
    told = text_of(parts_of(twice)[EN("manager.next")])
    line = next(line for line in told.splitlines() if "would settle most" in line)
    assert line.startswith(f"{2 * len(spots)} more readings")
    assert line.count(" (2)") == len(spots) == 3


def test_pictures_are_bounded_and_the_rest_is_named(tmp_path: Path) -> None:
    content = moved(large(), 3.0)
    page = page_of(content, tmp_path)
    assert page.count('<figure class="move">') == DRAWN
    assert "Not drawn: " in page


def test_the_change_of_a_block_is_the_mean_over_its_area() -> None:
    content = small()
    content = moved(content, [0.5 * k for k in range(len(content.valves))], weather_bar=0.5)
    for change in block_changes(turns(content), []):
        own = content.valves[content.valves["block"] == change.block]
        mean = np.average(own["trees_change_bar"], weights=own["area_ha"])
        assert change.trees == pytest.approx(mean)
        assert change.gauge == pytest.approx(change.weather + change.trees)


def test_the_manager_reads_what_changed() -> None:
    told = text_of(parts_of(moved(small(), 3.0, weather_bar=1.0))["What changed"])
    said = "Since Jun 30, 2026, mean over the area: gauge +3.0 = weather +1.0, trees +2.0 bar; plus is drier."
    assert said in told
    assert "B1 +3.0 +1.0 +2.0" in told


@pytest.mark.parametrize(("language", "said"), [("en", "Nothing to compare with"), ("es", "No hay con qué")])
def test_without_a_visit_before_that_is_said(language, said) -> None:
    parts = manager_parts(small(), turns(small()), (), Words(language))
    assert said in text_of(parts[0][1])


def test_what_is_past_its_limit_comes_first_then_the_first_priority() -> None:
    content = drought()
    table = parts_of(content)["What is urgent"][1]
    assert [row[1] for row in table.rows] == [str(name) for name in content.valves["valve"][:URGENT]]
    assert all("past what the crop bears" in row[3] for row in table.rows[:PAST])
    assert all("P1 water first" in row[3] for row in table.rows[PAST:])


def test_where_nothing_is_urgent_the_first_of_the_order_are_told() -> None:
    content = full()
    calm = content.valves.assign(priority=3, stress_bar=1.0, past_limit=False)
    lead, table = parts_of(dataclasses.replace(content, valves=calm))["What is urgent"]
    assert "none is first priority" in lead.lines[0]
    assert len(table.rows) == 3


def test_valves_to_look_at_before_they_are_opened_are_named() -> None:
    content = full()
    assert content.water_plan is not None
    name = str(content.water_plan["valve"].iloc[1])
    plan = content.water_plan.assign(
        inspect=[("not_relieved",) if valve == name else () for valve in content.water_plan["valve"]]
    )
    told = text_of(parts_of(dataclasses.replace(content, water_plan=plan))["What is urgent"])
    assert f"Look before you open: {name}. Pressure, filter, emitters, flow." in told


def test_the_water_in_short_has_every_set_on_its_day(advice: Advice) -> None:
    told = digest(advice, WaterWords("en", "metric"))
    days = next(section for section in told if section.kind == "day")
    table = timetable_table(advice)
    by_day = Counter(start.date() for start in table["start"])
    assert [int(row[1]) for row in days.rows] == [by_day[day] for day in sorted(by_day)][:MOST_DAYS]
    assert all(row[3].count(",") + row[3].count(";") < NAMED for row in days.rows)
    kinds = [section.kind for section in told]
    assert kinds == ["outline", "day", "dry", "binds"]
    assert all(len(section.lines) <= MOST_LINES + 1 for section in told)
    assert FEWER < NAMED


def test_without_a_plan_that_is_said() -> None:
    assert "No water plan" in text_of(parts_of(small())["What the water does"])


def test_where_to_measure_is_told_with_the_tree() -> None:
    content = full()
    told = text_of(parts_of(content)["What to measure next"])
    assert content.look_again is not None
    for row in content.look_again.itertuples():
        assert f"{row.valve} (tree {row.tree_id})" in told


def test_page_one_is_bounded_however_large_the_ranch() -> None:
    for title, sections in parts_of(moved(large(), 3.0)).items():
        assert sum(len(one.rows) + len(one.lines) for one in sections) <= 14, title
