"""Words for systems and soils, in English and Spanish, in any case and joining; an unknown one is named."""

import json

import pandas as pd
import pytest
from helpers.told import english

from stressmap.core.notes import Noted
from stressmap.intake.block_words import soil_of, system_of, unknown_words
from stressmap.intake.blocks_and_valves import read_blocks
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words

# the words are those of the trade: common practice, no source
SYSTEMS = {
    "drip": "drip, DRIP, Drip irrigation, drip-line, goteo, Riego por goteo, cinta de goteo, goteros, SDI",
    "micro_sprinkler": "micro_sprinkler, Micro-Sprinklers, microsprinkler, micro sprinkler, microaspersión, "
    "MICROASPERSION, micro aspersores, riego por microaspersión, micro-jet, fanjet",
    "sprinkler": "sprinkler, Sprinklers, solid set, solid-set sprinklers, aspersión, Aspersores",
    "flood": "flood, Flood irrigation, furrow, furrows, border, border-strip, gravity, surcos, rodado, "
    "Riego rodado, gravedad, melgas, por gravedad, inundación, riego_por_surcos",
}
SOILS = {
    "sand": "sand, arena, Arenosa, loamy sand, arena franca",
    "sandy loam": "sandy loam, Sandy-Loam, franco arenoso, franco-arenosa, FRANCO_ARENOSO, "
    "suelo franco arenoso",
    "loam": "loam, silt loam, franco, Franco limoso, limo, suelo franco",
    "clay loam": "clay loam, silty clay loam, franco arcilloso, Franco-Arcillosa, franco arcillo limoso, "
    "sandy clay loam, franco arcillo arenoso",
    "clay": "clay, heavy clay, arcilla, arcilloso, arcillosa, silty clay",
}


def pairs(table: dict[str, str]) -> list[tuple[str, str]]:
    return [(word, name) for name, words in table.items() for word in words.split(", ")]


@pytest.mark.parametrize(("word", "name"), pairs(SYSTEMS))
def test_a_word_for_a_system(word: str, name: str) -> None:
    assert system_of(word) == name


@pytest.mark.parametrize(("word", "name"), pairs(SOILS))
def test_a_word_for_a_soil(word: str, name: str) -> None:
    assert soil_of(word) == name


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("pivot", "b.csv, row 4, Riego: block 'B3': 'pivot' is not known; write drip, micro_sprinkler, "
         "sprinkler, flood."),
        ("gotteo", "b.csv, row 4, Riego: block 'B3': 'gotteo' is not known; did you mean 'goteo'?"),
    ],
)  # fmt: skip
def test_an_unknown_word_is_named_with_the_nearest(word: str, said: str) -> None:
    table = pd.DataFrame({"block": ["B1", "B2", "B3"], "word": ["Drip", None, word]}, dtype=object)
    told = unknown_words(table.assign(file="b.csv", row=[2, 3, 4], column="Riego"), "irrigation")
    assert english(Noted(None, told)) == [said]


def test_the_choices_stand_in_the_reader_s_language_and_are_understood() -> None:
    for kind, known, read in (("irrigation", SYSTEMS, system_of), ("soil", SOILS, soil_of)):
        table = pd.DataFrame({"block": ["B"], "word": ["xyzzy"]}, dtype=object)
        (note,) = unknown_words(table.assign(file="b.csv", row=2, column="Riego"), kind)
        text = sentence(note, Words("es"))
        choices = text.partition("escriba ")[2].rstrip(".").split(", ")
        assert set(known) <= {read(word) for word in choices}


def test_a_word_is_told_of_the_file_that_it_stands_in(tmp_path) -> None:
    """An outline says one thing, the table by block another: each under its own heading and row."""
    shape = {"type": "Polygon", "coordinates": [[[-122, 39], [-122, 39.01], [-121.99, 39.01], [-122, 39]]]}
    other = {"type": "Polygon", "coordinates": [[[-121, 39], [-121, 39.01], [-120.99, 39.01], [-121, 39]]]}
    features = [
        {"type": "Feature", "geometry": one, "properties": {"block": name, "riego": "pivot"}}
        for name, one in (("North", shape), ("South", other))
    ]
    outlines, table = tmp_path / "b.geojson", tmp_path / "t.csv"
    outlines.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    rows = "Bloque,Cultivo,Riego,Suelo\nNorth,prune,,\nSouth,prune,jet fan,franco\n"
    table.write_text(rows, encoding="utf-8")
    notes = read_blocks(outlines, None, attributes=table, crops=("prune",)).notes
    told = [note for note in notes if note.code.startswith("word_not_known")]
    found = [
        (note.value("file"), note.value("rows"), note.value("column"), note.value("written")) for note in told
    ]
    assert found == [(str(outlines), (2,), "riego", "pivot"), (str(table), (3,), "Riego", "jet fan")]
