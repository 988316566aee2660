"""One of a thing is never told in the plural, in any text of the catalogues."""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from importlib.resources import files
from string import Formatter
from typing import Literal

import pytest

from stressmap.core.notes import Note
from stressmap.output.text.note_words import _Filler, sentence, word_of
from stressmap.output.text.words import Words, filled
from stressmap.output.view.plan_words import WaterWords

LANGUAGES: tuple[Literal["en", "es"], ...] = ("en", "es")
CATALOGUES = ("", "notes_", "water_", "start_", "form_", "district_")
_NAMES = (
    "file column heading ours sheet layer valve name one kept block crop crops kind reference zone "
    "cell named where what text unit profile method moment until source near label written meant "
    "suggested rank priority figure short first last date day ranch visit "
)
NAMES = frozenset(_NAMES.split())
"""Blanks that hold names, words or days, not counts."""
NEVER_ONE = {
    "least": "trees that practice asks for", "usual": "trees that practice asks for", "enough": "trees that "
    "practice asks for", "years": "age of a young tree", "days": "longest quiet spell of a log",
    "hours": "longest gap of a weather record", "draws": "patterns drawn, a hundred if not set",
}  # fmt: skip
"""Figures that the program sets and that are not one."""
ONLY_OF_MANY = {
    "figures_all_alike": "said from a dozen readings on",
    "trees_on_one_spot": "said from three trees on", "others_cut": "said from thousands on",
}  # fmt: skip
"""Notes that are only said of several; beside them every key that ends with ``many``."""
NO_PLURAL = frozenset(["is", "was", "has", "does", "as", "es", "más"]) | frozenset(
    ["reads", "holds", "lies", "states", "crosses", "ends", "begins", "buys", "gets", "needs", "stands"]
)
"""Words with an s at their end that are no plurals."""
PLURAL = re.compile(r"(?<![\w.,])1 (?:no )?([^\W\d_]+s)\b")


def blanks(text: str) -> list[tuple[str, str]]:
    """Each blank with its form, those inside forms too."""
    found = []
    for _, name, form, _ in Formatter().parse(text):
        found += [(name, form or "")] if name else []
        found += blanks(form) if form else []
    return found


def texts(language: str) -> list[tuple[str, str]]:
    found = []
    for catalogue in CATALOGUES:
        page = files("stressmap.output.text").joinpath(f"{catalogue}{language}.toml")
        for section, own in tomllib.loads(page.read_text(encoding="utf-8")).items():
            found += [(f"{catalogue}{section}.{key}", text) for key, text in own.items()]
    return found


def with_ones(text: str, language: Literal["en", "es"]) -> str:
    """Fill a text with ones wherever a count may stand."""
    values: dict[str, object] = {}
    for name, form in blanks(text):
        if re.match(r"\(?(first|quoted|places|read|meant|taken)\d", form) or form in {
            "in_psi",
            "in_bar",
            "span",
        }:
            values[name] = ()
        elif form == "day":
            values[name] = dt.date(2026, 7, 14)
        elif name == "none":
            values[name] = 0
        elif name in NAMES or form in {"word", "Word", "crop", "Crop", "says", "remedy", "shown", "area"}:
            values[name] = 0.5 if form == "area" else "N"
        elif name in NEVER_ONE:
            values[name] = 3
        else:
            values.setdefault(name, 1)
    return _Filler(Words(language)).vformat(text, (), values)


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_of_a_thing_is_never_told_in_the_plural(language: Literal["en", "es"]) -> None:
    wrong = {}
    for key, text in texts(language):
        name = key.rpartition(".")[2]
        if not blanks(text) or name.endswith("many") or name in ONLY_OF_MANY:
            continue
        written = with_ones(text, language)
        if [word for word in PLURAL.findall(written) if word not in NO_PLURAL]:
            wrong[key] = written
    assert wrong == {}


def test_the_plan_and_the_notes_count_to_one_in_both_languages() -> None:
    facts = {"used": "1 m³", "available": "2 m³", "served": 1, "count": 1, "need": 1}
    assert WaterWords("en")("plan.amount", **facts) == (
        "1 m³ of 2 m³ used; 1 of 1 valve gets water, 1 needs it."
    )
    assert WaterWords("es")("plan.amount", **facts) == (
        "Se usan 1 m³ de 2 m³; recibe agua 1 de 1 válvula, la necesita 1."
    )
    many = facts | {"served": 2, "count": 3, "need": 2}
    assert WaterWords("en")("plan.amount", **many).endswith("2 of 3 valves get water, 2 need it.")
    note = Note.of("deficit_no_time", none=False, count=1, total=2)
    assert sentence(note, Words("en")) == (
        "1 of 2 readings has no vapour pressure deficit and so no baseline: no time was written down."
    )
    assert sentence(note, Words("es")).startswith("1 de 2 lecturas no tiene déficit de presión de vapor")


def test_what_is_wrong_with_readings_says_no_number_in_spanish() -> None:
    """It stands behind one and behind many, and in the list to mend of a single reading."""
    for code in ("outside_window", "duplicate", "sign_read_as_potential", "unlike_neighbours", "short_bag"):
        said = word_of("says", code, Words("es"))
        assert not re.search(r"\b\w+(?:das|tas)\b", said.split(",")[0]), said


def test_a_form_for_one_and_many_is_the_same_in_every_catalogue() -> None:
    assert filled("{n:1 row|{n} rows}", {"n": 1}) == "1 row"
    assert WaterWords("en")("table.more_valves", count=1).startswith("1 more valve:")
