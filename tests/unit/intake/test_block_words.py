"""Words for systems and soils, in English and Spanish, in any case and joining; an unknown one is named."""

import pandas as pd
import pytest
from helpers.told import english

from stressmap.core.notes import Noted
from stressmap.intake.block_words import soil_of, system_of, unknown_words

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
        ("pivot", "b.csv: block 'B3': irrigation 'pivot' is not known; write drip, micro_sprinkler, "
         "sprinkler, flood."),
        ("gotteo", "b.csv: block 'B3': irrigation 'gotteo' is not known; did you mean 'goteo'?"),
    ],
)  # fmt: skip
def test_an_unknown_word_is_named_with_the_nearest(word: str, said: str) -> None:
    blocks = pd.DataFrame({"block": ["B1", "B2", "B3"], "irrigation": ["Drip", None, word]})
    assert english(Noted(None, unknown_words(blocks, "b.csv", "irrigation"))) == [said]
