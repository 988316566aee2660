"""A new ranch's remarks and what ``start`` says: the same in both languages, nothing left in English."""

from __future__ import annotations

import re
from string import Formatter

from stressmap.core.settings import known_keys
from stressmap.output.staging.starter import water_lines
from stressmap.output.text.start_words import StartWords

EN, ES = StartWords("en").table(), StartWords("es").table()


def blanks(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


def test_both_languages_have_the_same_texts_with_the_same_values() -> None:
    assert EN.keys() | {"water"} == ES.keys()
    for section, texts in EN.items():
        assert texts.keys() == ES[section].keys()
        assert {key: blanks(text) for key, text in texts.items()} == {
            key: blanks(text) for key, text in ES[section].items()
        }


def test_no_spanish_text_is_the_english_one() -> None:
    assert [key for section in EN for key, text in EN[section].items() if text == ES[section][key]] == []


def test_every_key_of_the_water_plan_is_explained_in_spanish() -> None:
    assert sorted(ES["water"]) == sorted(known_keys(("water",)))
    for line, english in zip(water_lines("es"), water_lines("en"), strict=True):
        assert line.partition("    # ")[0] == english.partition("    # ")[0]
        assert line != english


def test_settings_and_units_named_in_a_meaning_are_named_in_both_languages() -> None:
    """What stands in brackets or quotes is the unit or the value to write, whatever the language."""
    written = re.compile(r"\[[^]]*\]|\"[^\"]*\"")
    for line, english in zip(water_lines("es"), water_lines("en"), strict=True):
        assert written.findall(line) == written.findall(english), line


def test_one_is_told_as_one() -> None:
    said = StartWords("en", "us")("comment.blocks", blocks=1, area="3.0 acres", crops="prune")
    assert said == "1 block, 3.0 acres; crops: prune"
