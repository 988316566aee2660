import datetime as dt
import re
from string import Formatter

from stressmap.core.settings import FLAG_CODES
from stressmap.output.text.words import Words, missing

EN, ES = Words("en").table(), Words("es").table()


def blanks(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


def test_no_text_is_missing_in_either_language() -> None:
    assert missing(EN, ES) == set()
    assert missing(ES, EN) == set()


def test_both_languages_fill_in_the_same_values() -> None:
    differ = {
        f"{section}.{name}"
        for section, names in EN.items()
        for name, text in names.items()
        if text and blanks(text) != blanks(ES[section][name])
    }
    assert differ <= {"locale.date", "locale.date_metric"}


def test_a_spanish_text_is_not_the_english_one() -> None:
    """Signs, units and words that are the same in both languages stay."""
    same = {
        f"{section}.{name}" for section, names in EN.items() for name, text in names.items()
        if text == ES[section][name] and re.search(r"[A-Za-z]{3}", re.sub(r"\{\w+\}", "", text))
    }  # fmt: skip
    assert same <= {
        "locale.date_metric",
        "unit.ML",
        "unit.acres",
        "unit.bar",
        "unit.gal",
        "unit.gpm",
        "unit.hours",
        "unit.kPa",
        "unit.psi",
        "report.area_axis_us",
    }


def test_every_flag_has_words() -> None:
    assert set(EN["flag"]) == set(FLAG_CODES)


def test_the_trade_words_of_the_priorities() -> None:
    """Labels of the four priorities (the table in docs/contract.md)."""
    assert [EN["priority"][f"p{n}"] for n in (1, 2, 3, 4)] == [
        "water first",
        "water next",
        "watch",
        "can wait",
    ]
    assert [ES["priority"][f"p{n}"] for n in (1, 2, 3, 4)] == [
        "regar primero", "regar enseguida", "vigilar", "puede esperar",
    ]  # fmt: skip


def test_what_is_not_known_is_said_so() -> None:
    nan = float("nan")
    assert Words("en").number(nan) == "no data"
    assert Words("en").known("crop", "quince") == "quince"


def test_days_of_a_visit() -> None:
    one, two = dt.date(2026, 7, 14), dt.date(2026, 7, 15)
    assert Words("en", "us").days(one, one) == "Jul 14, 2026"
    assert Words("en", "metric").days(one, two) == "14 Jul 2026 to 15 Jul 2026"
    assert Words("es", "us").days(one, two) == "del 14 al 15 de julio de 2026"
    later = dt.date(2026, 8, 1)
    assert Words("es", "us").days(one, later) == "del 14 jul 2026 al 1 ago 2026"
    assert Words("en", "us").days(one, two) == "Jul 14, 2026 to Jul 15, 2026"
