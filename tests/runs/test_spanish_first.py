"""With Spanish first, headings and labels are Spanish, and the notes of a run are said to be in English."""

import json
import re
import tomllib
from html import unescape
from importlib.resources import files

import pytest
from helpers import small_ranch
from helpers.watered_ranch import MORE_COLUMNS, WATER

SETTINGS = small_ranch.SETTINGS.replace(
    '"America/Los_Angeles"', '"America/Los_Angeles"\nlanguages = ["es", "en"]'
)


@pytest.fixture
def source(tmp_path):
    """Without weather, so that the run has something to say; with water, so that it says all it can."""
    made = small_ranch.write(tmp_path / "ranch", SETTINGS.replace('weather = "weather.csv"\n', "") + WATER)
    small_ranch.valves().merge(MORE_COLUMNS).to_file(made.parent / "valves.gpkg", driver="GPKG")
    return made


def only_english() -> set[str]:
    """Every text of the English files that reads differently in the Spanish ones."""
    english, spanish = set(), set()
    for language, texts in (("en", english), ("es", spanish)):
        for name in (f"{language}.toml", f"water_{language}.toml"):
            page = tomllib.loads(files("stressmap.output.text").joinpath(name).read_text(encoding="utf-8"))
            texts |= {text for section in page.values() for text in section.values()}
    return english - spanish - {""}


def test_the_terminal_and_the_report(stressmap, source, tmp_path):
    answer = stressmap("run", source, "--out", tmp_path / "out")
    assert (answer.code, answer.err) == (0, "")
    notes = json.loads((tmp_path / "out" / "run.json").read_text())["warnings"]
    assert notes
    printed = " ".join(answer.out.split())
    for note in notes:
        assert f"aviso (en inglés): {' '.join(note.split())}" in printed
    assert "note:" not in printed
    assert "Resultados:" in printed
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    labels = {unescape(t).strip() for t in re.findall(r"<(?:h\d|th|summary|title)[^>]*>(.*?)</", page)}
    assert labels & {"Avisos del programa (en inglés)", "Prioridad", "Todos los ajustes"}
    assert not labels & only_english()
    assert '<ul lang="en">' in page


def test_the_water_plan_alone(stressmap, source, tmp_path):
    answer = stressmap("water", source, "--out", tmp_path / "plan")
    assert (answer.code, answer.err) == (0, "")
    assert "Plan de agua, " in answer.out
    assert "aviso (en inglés): " in answer.out
    assert f"Resultados: {tmp_path / 'plan'}" in answer.out.replace("\n", "")
    lines = {line.strip() for line in answer.out.splitlines()}
    assert not lines & only_english()
