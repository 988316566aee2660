"""Every note has words in both languages, and no word stands unused."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest

import stressmap
from stressmap.core.notes import SEVERITIES, Note
from stressmap.output.text.note_words import sentence, texts_of
from stressmap.output.text.words import Words

EN, ES = texts_of("en"), texts_of("es")
PACKAGE = Path(stressmap.__file__).parent
CODE = re.compile(r"[a-z][a-z0-9_]*")


def blanks(text: str) -> set[str]:
    """What a text is filled with, looked for inside the forms for one and for many too."""
    found = set()
    for _, name, form, _ in Formatter().parse(text):
        found |= {name} if name else set()
        found |= blanks(form) if form else set()
    return found


def said() -> Iterator[tuple[ast.Call, str]]:
    """Each call that makes a note, and where it stands."""
    for file in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                owner = node.func.value
                named = isinstance(owner, ast.Name) and owner.id
                if node.func.attr == "say" or (node.func.attr == "of" and named == "Note"):
                    yield node, f"{file.relative_to(PACKAGE)}:{node.lineno}"


def told_codes() -> set[str]:
    """Each code that a row of a file is told with; it must be written out there."""
    codes = set()
    for file in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "ToldRow.of":
                assert isinstance(node.args[1], ast.Constant), f"{file}:{node.lineno}"
                codes.add(node.args[1].value)
    return codes


SAID = [(call, where) for call, where in said() if where.partition(":")[0] != "core/notes.py"]


def test_every_code_is_written_out_where_it_is_said_and_has_words_in_both_languages() -> None:
    codes = {}
    for call, where in SAID:
        assert isinstance(call.args[0], ast.Constant), where
        codes[call.args[0].value] = where
    assert {code: where for code, where in codes.items() if not CODE.fullmatch(code)} == {}
    assert set(codes) == set(EN["note"]) == set(ES["note"])


def test_every_severity_is_one_of_the_allowed() -> None:
    for call, where in SAID:
        for severity in call.args[1:]:
            assert isinstance(severity, ast.Constant), where
            assert severity.value in SEVERITIES, where


def test_no_function_takes_the_collector() -> None:
    """What a stage says comes back with its result; nobody hands the list down."""
    takers = [
        f"{file.relative_to(PACKAGE)}:{node.lineno}"
        for file in sorted(PACKAGE.rglob("*.py"))
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.arg) and node.annotation and "NoteList" in ast.unparse(node.annotation)
    ]
    assert takers == []


def test_another_severity_is_refused() -> None:
    with pytest.raises(ValueError, match="'loud' is none of info, caution, warning"):
        Note.of("weather_gap", "loud")


def test_the_words_of_both_languages_are_the_same_ones() -> None:
    assert set(EN["word"]) == set(ES["word"])


def test_every_reason_of_a_row_has_words_in_both_languages() -> None:
    assert told_codes() == set(EN["row"]) == set(ES["row"])
    assert {code: blanks(text) for code, text in EN["row"].items()} == {
        code: blanks(text) for code, text in ES["row"].items()
    }


def test_what_to_do_about_a_row_is_said_in_both_languages_with_the_values_that_its_reason_has() -> None:
    for texts in (EN, ES):
        assert set(texts["row_remedy"]) == set(texts["row"])
        for code, text in texts["row_remedy"].items():
            assert blanks(text) <= blanks(texts["row"][code]), code


@pytest.mark.parametrize("code", EN["note"])
def test_both_languages_say_the_same_values(code: str) -> None:
    english, spanish = EN["note"][code], ES["note"][code]
    assert blanks(english) == blanks(spanish)
    assert english != spanish or not re.search("[a-z]{3}", re.sub(r"\{[^{}]*\}", "", english))


@pytest.mark.parametrize(
    ("count", "english", "spanish"),
    [
        (1, "a.csv: 1 row without a time was left out.", "a.csv: 1 fila sin hora se dejó fuera."),
        (2, "a.csv: 2 rows without a time were left out.", "a.csv: 2 filas sin hora se dejaron fuera."),
    ],
)
def test_one_and_many(count: int, english: str, spanish: str) -> None:
    note = Note.of("weather_without_time", "caution", file="a.csv", count=count)
    assert sentence(note, Words("en")) == english
    assert sentence(note, Words("es")) == spanish


def test_text_of_a_file_is_never_taken_for_a_blank() -> None:
    note = Note.of("sheet_chosen", file="{0}{file!r:>99}.xlsx", sheet="{__class__}")
    assert sentence(note, Words("en")) == (
        "{0}{file!r:>99}.xlsx: the sheet '{__class__}' was read, the others were not."
    )
