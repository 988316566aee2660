"""With Spanish first, no screen, page or sheet holds a word of English."""

import json
import re
import tomllib
from html import unescape
from importlib.resources import files
from pathlib import Path

import pytest
from helpers import small_ranch
from helpers.english_words import english_words
from helpers.watered_ranch import MORE_COLUMNS, WATER
from openpyxl import load_workbook
from pypdf import PdfReader

TEXTS = "stressmap.output.text"
SETTINGS = small_ranch.SETTINGS.replace(
    '"America/Los_Angeles"', '"America/Los_Angeles"\nlanguages = ["es", "en"]'
)
WORD = re.compile(r"(?<![\w./\[-])[A-Za-zÁÉÍÓÚÑÜáéíóúñü]{3,}(?![\w/-]|\.\w)")
"""A word of prose: no part of a file's name, a setting's key or a code."""
NAMES = set("Two Sheds North South Shed Leaflet JavaScript BSD Clause licence Licence".lower().split())
"""Of the ranch, and of the software that the map names."""
WRITTEN = frozenset([*NAMES, "checked", "harvest", "soil", "source", "by", "eye"])
"""Names, and columns of files and words of ``ranch.toml`` that people are told to write."""


@pytest.fixture
def source(tmp_path):
    """Without weather, with a broken bag and a crew far from its block; with water: it says all it can."""
    made = small_ranch.write(tmp_path / "ranch", SETTINGS.replace('weather = "weather.csv"\n', "") + WATER)
    small_ranch.valves().merge(MORE_COLUMNS).to_file(made.parent / "valves.gpkg", driver="GPKG")
    table = small_ranch.readings()
    table.loc[3, "bag_minutes"] = 2
    table.loc[4, "pressure_bar"] = None
    table.assign(block=["Nowhere", *[None] * (len(table) - 1)]).to_csv(
        made.parent / "readings.csv", index=False
    )
    return made


def words_of(language: str) -> set[str]:
    """Every word of the texts of a language."""
    found: set[str] = set()
    for name in ("", "water_", "notes_", "start_", "record_"):
        page = tomllib.loads(files(TEXTS).joinpath(f"{name}{language}.toml").read_text(encoding="utf-8"))
        for section in page.values():
            found |= {
                w.lower()
                for text in section.values()
                for w in WORD.findall(re.sub(r"\{[^|]*?\}|\{\w+:", " ", text))
            }
    return found


ENGLISH = words_of("en") - words_of("es") - NAMES


def english_in(text: str) -> set[str]:
    """Find English words, but not among columns of files, which are called the same in every language."""
    said = re.sub(r"(?ms)Se ley(ó|eron todas las columnas): .*?(\.\s|$)", " ", text)
    return {word for word in WORD.findall(said) if word.lower() in ENGLISH} | english_words(said, WRITTEN)


def visible(page: str) -> str:
    """What a page shows or reads aloud: no scripts, styles or drawings' marks."""
    bare = re.sub(r"(?s)<(script|style|code)\b.*?</\1>|<!--.*?-->", " ", page)
    spoken = re.findall(r'\b(?:aria-label|title|alt|placeholder)="([^"]*)"', bare)
    return unescape(" . ".join([re.sub(r"<[^>]+>", " ", bare), *spoken]))


def told_by(path: Path) -> str:
    """What a file says to people; nothing of tables, whose columns are called the same in every language."""
    if path.suffix == ".pdf":
        return " ".join(page.extract_text() for page in PdfReader(path).pages)
    if path.suffix == ".xlsx":
        book = load_workbook(path, read_only=True)
        return " . ".join(
            str(cell) for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row if cell
        )
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".html":
        return visible(re.sub(r'(?s)<section id="settings">.*?</section>', " ", text))
    if path.suffix in {".gpx", ".kml"}:
        return visible(re.sub(r"<type>(valve|tree)</type>", " ", text))
    return text


SAID = {".html", ".pdf", ".txt", ".gpx", ".kml", ".xlsx"}
TABLES = {".csv", ".geojson", ".gpkg", ".tif", ".png"}
RECORD = "run.json"
"""Of what was done, in English for programs."""


def test_english_is_found_where_there_is_some() -> None:
    assert english_words("Abrir the valve; rank 3 (look_again.csv)") == {"the", "valve", "rank"}
    assert english_in("Incierto: 3 readings were left out.") == {"readings", "were", "left", "out"}
    assert not english_in("Lecturas en uso (look_again.csv), [water] eto, [map] rank_unmeasured = false.")


def test_the_check(stressmap, source, tmp_path):
    answer = stressmap("check", source, "--out", tmp_path / "mend.csv")
    assert (answer.code, answer.err) == (0, "")
    assert "con la bolsa puesta muy poco tiempo" in answer.out
    assert "Conviene corregir primero:" in answer.out
    assert not english_in(answer.out)
    rows = (tmp_path / "mend.csv").read_text(encoding="utf-8")
    assert "Corrija los minutos si están mal; si no, vuelva a medir el árbol" in rows


def test_a_new_ranch(stressmap, source, tmp_path):
    """All that ``start`` says, and every remark in the settings it writes."""
    blocks = source.parent / "blocks.geojson"
    answer = stressmap("start", tmp_path / "nuevo", "--blocks", blocks, "--language", "es")
    assert (answer.code, answer.err) == (0, "")
    assert not english_in(answer.out)
    lines = (tmp_path / "nuevo" / "ranch.toml").read_text(encoding="utf-8").splitlines()[1:]
    remarks = [line.partition(" # ")[2] if " = " in line else line for line in lines]
    columns = r"\b(time|valve|start|end|hours|block|crop|variety|planted)\b"
    prose = re.sub(rf'(?m)"[^"]*"|: prune$|{columns}', " ", "\n".join(remarks))
    assert "Ajustes de " in prose
    assert not english_in(prose)


def test_the_run(stressmap, source, tmp_path):
    """The sheet and the written plan carry all languages of the ranch: here Spanish alone."""
    source.write_text(source.read_text().replace('["es", "en"]', '["es"]'))
    answer = stressmap("run", source, "--out", tmp_path / "out")
    assert (answer.code, answer.err) == (0, "")
    assert "aviso: Ninguna lectura tiene déficit de presión de vapor" in " ".join(answer.out.split())
    assert not english_in(answer.out)
    record = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert "deficit_no_weather" in [note["code"] for note in record["notes"]]
    assert any(text.startswith("No reading has a vapour pressure deficit") for text in record["warnings"])
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    told = re.sub(r'(?s)<section id="settings">.*?</section>', " ", page)
    assert told != page, "the settings stand in the report as the settings file has them"
    assert not english_in(visible(told))
    found = {}
    for path in sorted((tmp_path / "out").iterdir()):
        assert path.suffix in SAID | TABLES or path.name == RECORD, "say whether it speaks to people"
        if path.suffix in SAID:
            found[path.name] = english_in(told_by(path))
    assert {name: words for name, words in found.items() if words} == {}
    assert {"map.html", "report.html", "crew_sheet.pdf", "water_plan.txt", "waypoints.gpx"} <= set(found)


def test_the_map(stressmap, source, tmp_path):
    assert stressmap("run", source, "--out", tmp_path / "out").code == 0
    page = (tmp_path / "out" / "map.html").read_text(encoding="utf-8")
    assert '<html lang="es">' in page
    carried = re.search(r'(?s)<script[^>]*type="application/json"[^>]*>(.*?)</script>', page)
    data = json.loads(carried.group(1))
    assert any("déficit de presión de vapor" in note for note in data["notes"]["es"])
    assert not english_in(" ".join(data["notes"]["es"]))
    assert any("vapour pressure deficit" in note for note in data["notes"]["en"])


def test_the_water_plan_alone(stressmap, source, tmp_path):
    answer = stressmap("water", source, "--curve", "--out", tmp_path / "plan")
    assert (answer.code, answer.err) == (0, "")
    assert "Plan de agua del " in answer.out
    assert "aviso: " in answer.out
    assert not english_in(answer.out)
