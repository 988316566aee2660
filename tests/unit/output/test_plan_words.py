"""The plan in words: the same texts in both languages, and what must be in them."""

import datetime as dt
import io
import string
from zoneinfo import ZoneInfo

import pytest
from helpers.water_cases import need, random_ranch, terms
from rich.console import Console

from stressmap.core.settings import Water
from stressmap.output.terminal import plan_tables
from stressmap.output.view.plan_words import WaterWords, _table, as_text, cautions, tell
from stressmap.water.alternatives import NAMES
from stressmap.water.formulation import formulate
from stressmap.water.water_plan import STATUS, Advice, advise


def fields(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_both_languages_have_the_same_texts_with_the_same_gaps() -> None:
    english, spanish = _table("en"), _table("es")
    assert {s: sorted(names) for s, names in english.items()} == {s: sorted(n) for s, n in spanish.items()}
    for section, texts in english.items():
        for name, text in texts.items():
            assert fields(text) == fields(spanish[section][name]), f"{section}.{name}"


def test_every_status_and_way_has_words() -> None:
    for language in ("en", "es"):
        assert set(STATUS) - {""} <= set(_table(language)["status"])
        assert {name.replace(" ", "_") for name in NAMES} <= set(_table(language)["compare"])


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


@pytest.mark.parametrize(
    ("bar", "mark"), [(18.0, "moderate to high: "), (25.0, "from memory, no text read): ")]
)
def test_a_level_from_memory_is_marked_as_such(bar: float, mark: str) -> None:
    """Of prune -16 to -20 bar was read, -20 to -30 is from memory only."""
    water = Water.model_validate({"available": "900 m3", "days": 3})
    # the target is -13 bar, and 40 mm at 15 mm a bar dry the trees by 2.7 bar until the next turn, less 0.5
    needs = [need(0, dry_bar=99.0), need(1, dry_bar=bar - 13.0 - 40.0 / 15.0 + 0.5, min_hours=12.0, harm=0.1)]
    case = formulate(needs, water, dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles"))
    made = advise(case, terms(water, dt.date(2026, 7, 16)))
    dry = next(s for s in tell(made, WaterWords("en")) if s.title == "Left dry, and what that risks")
    assert f"{bar:.0f} bar" in dry.lines[0]
    assert mark in dry.lines[0]


def test_a_valve_left_dry_is_listed_with_what_that_risks() -> None:
    water = Water.model_validate({"available": "900 m3", "days": 3})
    needs = [need(0, dry_bar=8.0), need(1, dry_bar=0.5, harm=0.3, min_hours=12.0)]
    case = formulate(needs, water, dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles"))
    made = advise(case, terms(water, dt.date(2026, 7, 16)))
    assert made.solution.steps[0] > 0
    assert made.solution.steps[1] == 0
    dry = next(s for s in tell(made, WaterWords("en")) if s.title == "Left dry, and what that risks")
    # 13 bar of target and 0.5 + 40 mm / 15 mm a bar - 0.5 bar of stress.
    assert dry.lines == (
        "V2 (B1): about \N{MINUS SIGN}16 bar by Jul 19, 2026, mild to moderate: suggested from late June to "
        "early August; shoots slow, fruit sizing does not. Stage: fruit sizing.",
    )


def test_valves_that_get_water_on_the_word_of_one_tree_or_none_are_named() -> None:
    """By hand: both valves get water, one of them read on two trees."""
    water = Water.model_validate({"available": "9000 m3", "days": 3})
    needs = [need(0, dry_bar=8.0), need(1, dry_bar=8.0)]
    case = formulate(needs, water, dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles"))
    made = advise(case, terms(water, dt.date(2026, 7, 16)))
    first, second = (one.valve for one in needs)
    words = WaterWords("en")

    def few(trees: dict[str, int] | None) -> list[str]:
        return [line for line in tell(made, words, trees)[0].lines if "one tree or none" in line]

    assert made.alternatives[0].served == 2
    assert few(None) == []
    assert few({first: 2, second: 5}) == []
    assert few({}) == [words("plan.few_trees", share="100 %", valves=f"{first}, {second}")]
    (line,) = few({first: 1, second: 2})
    assert first in line
    assert second not in line


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
