"""The plan in words: the same texts in both languages, and what must be in them."""

import dataclasses
import datetime as dt
import io
import string
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from helpers.water_cases import need, random_ranch, terms
from rich.console import Console

from stressmap.core.settings import Water
from stressmap.output.terminal import plan_tables
from stressmap.output.text.words import catalogue
from stressmap.output.view.plan_days import days
from stressmap.output.view.plan_proof import proof
from stressmap.output.view.plan_words import cautions, headlines, tell
from stressmap.output.view.water_words import Section, WaterWords, as_text
from stressmap.water.alternatives import NAMES
from stressmap.water.formulation import formulate
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import STATUS, Advice, advise, timetable_table

FIRST = dt.date(2026, 7, 16)


def fields(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_both_languages_have_the_same_texts_with_the_same_gaps() -> None:
    english, spanish = catalogue("water_en"), catalogue("water_es")
    assert {s: sorted(names) for s, names in english.items()} == {s: sorted(n) for s, n in spanish.items()}
    for section, texts in english.items():
        for name, text in texts.items():
            assert fields(text) == fields(spanish[section][name]), f"{section}.{name}"


def test_every_status_and_way_has_words() -> None:
    for language in ("en", "es"):
        assert set(STATUS) - {""} <= set(catalogue(f"water_{language}")["status"])
        assert {name.replace(" ", "_") for name in NAMES} <= set(catalogue(f"water_{language}")["compare"])


@pytest.fixture(scope="module")
def advice() -> Advice:
    drawn = random_ranch(3)
    return advise(drawn.case(), terms(drawn.water, drawn.limits.first, draws=20))


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_plan_can_be_told_in_every_language_and_unit(advice, language, units) -> None:
    text = as_text(tell(advice, WaterWords(language, units)))
    assert "{" not in text
    assert all(line in text for line in cautions(WaterWords(language, units)))


def test_the_first_irrigation_of_prune_is_not_said_to_hang_on_the_pressure_chamber(advice) -> None:
    """Note on baselines for prune and almond, university extension article, about 2023 (read)."""
    said = "Do not choose the first irrigation of the year in prune by stem water potential"
    spoken = "No decida el primer riego del año en ciruela pasa por el potencial del tallo"
    assert said in as_text(tell(advice, WaterWords("en")))
    assert spoken in as_text(tell(advice, WaterWords("es")))


def part(made: Advice, kind: str, language: str = "en", **more: object) -> Section:
    return next(s for s in tell(made, WaterWords(language), **more) if s.kind == kind)


def planned(needs: list[Requirement], **water: object) -> Advice:
    settings = Water.model_validate({"days": 3} | water)
    case = formulate(needs, settings, FIRST, ZoneInfo("America/Los_Angeles"))
    return advise(case, terms(settings, FIRST))


@pytest.mark.parametrize(
    ("bar", "mark"), [(18.0, "moderate to high: "), (25.0, "from memory, no text read): ")]
)
def test_a_level_from_memory_is_marked_as_such(bar: float, mark: str) -> None:
    """Of prune -16 to -20 bar was read, -20 to -30 is from memory only."""
    # the target is -13 bar, and 40 mm at 15 mm a bar dry the trees by 2.7 bar until the next turn, less 0.5
    needs = [need(0, dry_bar=99.0), need(1, dry_bar=bar - 13.0 - 40.0 / 15.0 + 0.5, min_hours=12.0, harm=0.1)]
    made = planned(needs, available="900 m3")
    report, paper = (part(made, "dry", remembered=remembered) for remembered in (True, False))
    assert f"{bar:.0f} bar" in report.lines[0]
    assert mark in report.lines[0]
    assert (paper.lines == report.lines) == ("memory" not in mark), "what is remembered is for the report"
    assert "memory" not in paper.lines[0]


def test_a_valve_left_dry_is_listed_with_what_that_risks() -> None:
    made = planned([need(0, dry_bar=8.0), need(1, dry_bar=0.5, harm=0.3, min_hours=12.0)], available="900 m3")
    assert made.solution.steps[0] > 0
    assert made.solution.steps[1] == 0
    # 13 bar of target and 0.5 + 40 mm / 15 mm a bar - 0.5 bar of stress.
    assert part(made, "dry").lines == (
        "Not enough water: V2 (B1). About \N{MINUS SIGN}16 bar by Jul 19, 2026, mild to moderate: suggested "
        "from late June to early August; shoots slow, fruit sizing does not. Stage: fruit sizing.",
    )


def test_what_stays_dry_for_one_reason_and_at_one_risk_is_one_sentence() -> None:
    """By hand: two blocks of like valves without water, and two that need none."""
    needs = [need(0, dry_bar=8.0), *(need(k, dry_bar=0.5, harm=0.3, min_hours=12.0) for k in range(2, 8))]
    needs += [need(k, dry_bar=-9.0, etc_until_mm=1.0) for k in (8, 9)]
    for listed, names in (
        (120, "V3, V4 (B1); V5, V6, V7, V8 (B2)."),
        (3, "V3, V4 (B1); V5 (B2) and 3 more."),
    ):
        lines = part(planned(needs, available="900 m3"), "dry", most=listed).lines
        assert len(lines) == 2
        assert lines[0].startswith(f"Not enough water: {names} About ")
        assert lines[1] == "Stay closed, none needed yet: V9, V10 (B3)."


def test_every_set_stands_under_its_day_in_the_order_of_the_clock(advice) -> None:
    """Against the table of sets that leaves the program."""
    sets = timetable_table(advice)
    words = WaterWords("en", "metric")
    told = days(advice, words)
    assert sum(len(day.rows) for day in told) == len(sets) > 0
    opened_on = sets["start"].map(words.weekday)
    assert [day.title for day in told] == list(dict.fromkeys(opened_on))
    for day in told:
        opened = [row[0] for row in day.rows]
        assert opened == sorted(opened)
        of_day = sets[
            sets["start"].map(lambda one, day=day: WaterWords("en", "metric").weekday(one) == day.title)
        ]
        assert sorted(row[2] for row in day.rows) == sorted(of_day["valve"])


def test_a_set_over_midnight_closes_with_its_weekday() -> None:
    """16 July 2026 is a Thursday."""
    made = planned([need(0, dry_bar=8.0)], available="9000 m3", hours=["20:00", "06:00"], days=1)
    (day,) = days(made, WaterWords("es", "metric"))
    assert day.title == "jue 16 jul 2026"
    assert day.rows == (("20:00", "vie 06:00", "V1", "B1", "10 h 00 min", "15 mm", "600 m³"),)


def test_what_is_to_be_looked_at_is_said_first_and_marked_in_its_row() -> None:
    made = planned(
        [need(0, dry_bar=8.0, inspect=("drier_than_block",)), need(1, dry_bar=8.0)], available="9000 m3"
    )
    first, *others = tell(made, WaterWords("en"))
    assert any(line.startswith("Look before you open: V1. ") for line in first.lines)
    marks = {row[2]: row[-1] for s in others if s.kind == "day" for row in s.rows}
    assert marks == {"V1": "look first", "V2": ""}


def test_proven_is_for_the_report_alone(advice) -> None:
    for language, word in (("en", "prove"), ("es", "probado")):
        words = WaterWords(language)
        assert word not in as_text(tell(advice, words)).lower()
        assert word in as_text((proof(advice, words),)).lower()


def test_the_terminal_is_told_amount_valves_what_binds_and_what_is_overdue() -> None:
    """By hand: water for one of two valves that need it, one of them past its crop's limit, the other not."""
    needs = [
        need(0, dry_bar=8.0, limit_bar=6.0, min_hours=12.0),
        need(1, dry_bar=0.5, harm=0.3, min_hours=12.0),
    ]
    amount, binds, overdue = headlines(planned(needs, available="900 m3"), WaterWords("en", "metric"))
    assert amount.endswith("of 900 m³ used; 1 of 2 valves gets water, 2 need it.")
    assert binds.startswith("What keeps valves short of their need: the water there is (")
    assert overdue == "Past the crop's limit as the plan begins (1): V1."


def test_overdue_is_judged_on_the_first_day_of_the_plan_and_not_at_the_visit() -> None:
    """By hand: inside its limit when its trees were read, past it when the plan begins."""
    needs = [need(0, dry_bar=5.0, start_bar=7.0, limit_bar=6.0), need(1, dry_bar=5.0, limit_bar=6.0)]
    overdue = headlines(planned(needs, available="900 m3"), WaterWords("en", "metric"))[2]
    assert overdue.startswith("Past the crop's limit as the plan begins (1): V1.")


def test_trees_past_their_limit_that_stay_dry_are_told_what_that_harms() -> None:
    """Common practice, no source; said where no level of the crop was read, too."""
    needs = [need(k, dry_bar=12.0, min_hours=12.0, limit_bar=6.0) for k in (0, 1)]
    (line,) = part(planned(needs, available="700 m3"), "dry").lines
    assert line.endswith(
        "Past what this crop bears: it harms the trees, this crop and the buds of next year's."
    )


def test_trees_and_book_that_are_apart_are_both_told() -> None:
    facts = {"inspect": ("witnesses_apart",), "need_by_trees_mm": 61.0, "need_by_book_mm": 114.0}
    first = tell(planned([need(0, **facts), need(1)], available="900 m3"), WaterWords("en", "metric"))[0]
    assert "Trees and book apart, look why: V1 (trees 61 mm, book 114 mm)." in first.lines


def test_valves_that_get_far_less_or_far_more_than_they_need_are_named() -> None:
    """By hand: 12 h at 1.5 mm/h x 0.9 are 16 mm and 2 are needed; 4 h are 5.4 mm and 152.5 are, 3.5 %."""
    needs = [need(0, dry_bar=-2.0, etc_until_mm=39.5, min_hours=12.0), need(1, dry_bar=8.0, max_hours=4.0)]
    first = tell(planned(needs, available="90000 m3", turns=1), WaterWords("en", "metric"))[0]
    assert "Get water, but much less than they need: V2 (3.5 %)." in first.lines
    assert any("lost: V1 (needs 2.0 mm, gets " in line for line in first.lines)


def test_valves_that_get_water_on_the_word_of_one_tree_or_none_are_counted() -> None:
    """By hand: both valves get water, one of them read on two trees."""
    needs = [need(0, dry_bar=8.0), need(1, dry_bar=8.0)]
    made = planned(needs, available="9000 m3")
    first, second = (one.valve for one in needs)
    words = WaterWords("en")

    def few(trees: dict[str, int] | None) -> list[str]:
        return [line for line in part(made, "assumed", trees=trees).lines if "one tree or none" in line]

    assert made.alternatives[0].served == 2
    assert few(None) == []
    assert few({first: 2, second: 5}) == []
    assert few({}) == [words("plan.few_trees", share="100 %", count=2, valves=f"{first}, {second}")]
    (line,) = few({first: 1, second: 2})
    assert first in line
    assert second not in line


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_terminal_of_80_columns_cuts_no_name_and_no_status(advice, language) -> None:
    words, out = WaterWords(language), io.StringIO()
    plan_tables.print_advice(advice, words, Console(file=out, width=80), {})
    said = out.getvalue()
    assert "\N{HORIZONTAL ELLIPSIS}" not in said
    assert max(map(len, said.splitlines())) <= 80
    table = said[said.index(words("table.valve")) :]
    assert all(f"\n{name} " in table for name in advice.case.problem.names)


def test_more_valves_and_sets_than_are_shown_are_counted(advice, monkeypatch) -> None:
    """Both counts, one and many, are in the same text."""
    for count in (1, 2):
        monkeypatch.setattr(plan_tables, "SHOWN", len(advice.case.requirements) - count)
        monkeypatch.setattr(plan_tables, "SHOWN_SETS", len(advice.timetable.sets) - count)
        out = io.StringIO()
        plan_tables.print_advice(advice, WaterWords("en"), Console(file=out, width=100))
        plural = "s" if count > 1 else ""
        assert f"{count} more valve{plural}: see water_plan.csv" in out.getvalue()
        assert f"{count} more set{plural}: see timetable.csv" in out.getvalue()


@pytest.mark.parametrize("language", ["en", "es"])
def test_blocks_whose_system_is_guessed_stand_at_the_top(advice, language) -> None:
    words = WaterWords(language, "us")
    needs = [dataclasses.replace(one, assumed=("system",)) for one in advice.case.requirements]
    guessed = dataclasses.replace(advice, case=dataclasses.replace(advice.case, requirements=needs))
    first = tell(guessed, words)[0].lines[0]
    blocks = list(dict.fromkeys(one.block for one in needs))
    assert first == words("plan.no_system", count=len(blocks), blocks=", ".join(blocks))
    clear = [dataclasses.replace(one, assumed=()) for one in advice.case.requirements]
    known = dataclasses.replace(advice, case=dataclasses.replace(advice.case, requirements=clear))
    assert tell(known, words)[0].lines[0] != first


def test_dry_valves_are_not_spoken_of_where_there_are_none(advice) -> None:
    words = WaterWords("es", "us")
    steps = np.ones_like(advice.solution.steps)
    wet = dataclasses.replace(advice, solution=dataclasses.replace(advice.solution, steps=steps))
    warned = {section.kind: section.lines for section in tell(wet, words)}["caution"]
    assert words("caution.dry") not in warned
    assert words("caution.harm") in warned
