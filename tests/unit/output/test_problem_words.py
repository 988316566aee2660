"""The usual problems of ranches in Spanish: known again as the code words them, others left in English."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import stressmap
from stressmap.core.errors import Problem
from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.problem_words import phrase, problem_text, whole_in
from stressmap.output.text.words import Words, catalogue, missing

PROFILE = "{} a profile [crops.{}] in the settings, or one of {}"
IN_PARTS = {"crop_near", "crop_any"}
"""The code puts these together from a beginning and :data:`PROFILE`."""
SPANISH = DistrictWords(Words("es"))


def in_code() -> set[str]:
    """Give every text of the code, values as empty braces."""
    found = set()
    for file in Path(stressmap.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.JoinedStr):
                parts = [p.value if isinstance(p, ast.Constant) else "{}" for p in node.values]
                found.add("".join(map(str, parts)))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
    return found


def test_each_usual_problem_is_worded_in_the_code_just_so() -> None:
    texts = in_code()
    for kind, known in catalogue("problems_en").items():
        for name, text in known.items():
            plain = re.sub(r"\{\w+\}", "{}", text)
            parts = [plain] if name not in IN_PARTS else [PROFILE, plain.removesuffix(PROFILE[2:])]
            assert set(parts) <= texts, (kind, name)


def test_both_languages_have_the_same_texts_with_the_same_values() -> None:
    one, other = catalogue("problems_en"), catalogue("problems_es")
    assert missing(one, other) == missing(other, one) == set()
    assert len(one["what"]) >= 10
    for kind, texts in one.items():
        for name, text in texts.items():
            own = [set(re.findall(r"\{(\w+)\}", words)) for words in (text, other[kind][name])]
            assert own[0] - {"memory"} == own[1], name


@pytest.mark.parametrize("kind", ["what", "remedy"])
def test_each_usual_text_is_known_again_as_itself(kind: str) -> None:
    for name, text in catalogue("problems_en")[kind].items():
        values = {word: f"<{word}>" for word in re.findall(r"\{(\w+)\}", text)}
        said = phrase(kind, text.format(**values), "es")  # type: ignore[arg-type]
        assert said == catalogue("problems_es")[kind][name].format(**values)


def test_what_is_not_among_them_stays_english_beside_what_is() -> None:
    problem = Problem("r.csv", "'x7' is not a number", "Correct the path", row=4, column="pressure")
    assert problem_text(problem, SPANISH) == (
        "r.csv, fila 4, columna pressure: 'x7' is not a number. Corrija la ruta."
    )
    assert problem_text(problem, DistrictWords(Words("en"))) == str(problem)
    assert not whole_in(problem, "es")
    assert whole_in(Problem("r.csv", "there is no such file", "Correct the path"), "es")
    assert phrase("what", f"unknown key {'x' * 2_000}", "es") is None


def test_braces_in_a_file_s_own_words_are_no_values() -> None:
    assert phrase("what", "unknown key '{usual:99}{'", "es") == "clave desconocida '{usual:99}{'"
