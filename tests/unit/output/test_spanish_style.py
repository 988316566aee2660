"""The Spanish of crews: words that mislead, and the better ones in their place (common practice, no source).

The list is of irrigators' usage in Mexico and California, from memory, not yet read by a native speaker;
docs/translating.md tells the same to translators.
"""

import re
import tomllib
from pathlib import Path

import pytest
from helpers.english_words import english_words
from helpers.paths import REPOSITORY

TEXTS = REPOSITORY / "stressmap" / "output" / "text"
CROPS = REPOSITORY / "stressmap" / "agronomy" / "crops"

MISLEADING = {
    r"\blas bares\b": "bar is masculine",
    r"\bbares\b": "bares are pubs; the unit is written bar",
    r"\bturnos?\b": "a shift of work; a set is a riego",
    r"\b[Ll]ugar(es)?\b": "a place on the map; a rank is a puesto, a spot is where one measures",
    r"\bseguridad\b": "safety; how sure a figure is, is certeza",
    r"\bseguro\b": "insurance; how sure a figure is, is cierto",
    r"\bnogal(es)?\b(?! de Castilla)": "a pecan in Mexico",
    r"\bregar después\b": "water later; priority 2 is watered at once",
    r"\bórdenes de agua\b": "an order for water; a water order is a restricción",
    r"\bpunto final\b": "book language; the second reading",
    r"\bla boca\b": "a mouth; the chamber has a tapa",
    r"\bsorteos?\b": "a lottery; drawn cases are simulaciones",
    r"\bestrés quitado\b|\b[Qq]uita \d": "stiff; stress is aliviado",
    r"\b[Cc]ompra\b": "water buys nothing in Spanish",
    r"\bacre-pie\b": "the plural is acres-pie",
    r"\bde lo necesario\b": "unclear as a heading",
    r"^parte: |^basta$": "unclear; parcial, ya basta",
    r"\b[Cc]olorear\b": "stiff; Color según",
    r"\bSigue:": "unclear; Ahora:",
    r"\b(solo|sólo) un consejo\b|\bMandan\b": "stiff; solo es una recomendación",
    r"\bmomentos en que\b": "stiff; vueltas a las válvulas",
    r"\barriba de cero\b": "senseless of a pressure",
    r"\btamaño de la nuez\b|\bllenado de la nuez\b": "crecimiento de la nuez, llenado del grano",
    r"\bfil\b": "slang for a field",
    r"\bponer en marcha\b": "only Spain says so; prender",
    r"\b[Pp]ersonal\b": "an office's; a crew is a cuadrilla",
    r"\b(datos|archivo|sin datos) del tiempo\b|\btiempo usual\b": "time; weather is clima",
    r"\bbombas? paradas?\b|\bBomba parada\b": "a stop of the round; apagada",
    r"\bzonas? de riego\b": "a riego is a set; zona de válvula",
    r"\bórdenes de recorte\b": "an order for goods; restricciones",
    r"\b[Rr]eloj:|\bSin reloj\b": "a clock, in talk a gauge; temporizador",
    r"\bRenglón \{row\}": "a line of writing; a row of a table is a fila",
}
ALLOWED = ("lentes de seguridad", "en su lugar")
"""Safety glasses are safety, and instead is instead."""


def texts_in(table: dict, path: str = "") -> list[tuple[str, str]]:
    """List the texts of a table with their keys."""
    found = []
    for key, value in table.items():
        if isinstance(value, dict):
            found += texts_in(value, f"{path}{key}.")
        elif isinstance(value, str):
            found.append((path + key, value))
    return found


def spanish() -> list[tuple[str, str]]:
    """List every Spanish text of catalogues and crops with its file and key."""
    found = []
    for file in sorted(TEXTS.glob("*es.toml")):
        found += [(f"{file.name}: {key}", text) for key, text in texts_in(tomllib.loads(file.read_text()))]
    for file in sorted(CROPS.glob("*.toml")):
        found += [
            (f"{file.name}: {path}.es", text)
            for path, text in _in_spanish(tomllib.loads(Path(file).read_text()))
        ]
    return found


def _in_spanish(node: object, path: str = "") -> list[tuple[str, str]]:
    if isinstance(node, dict):
        own = [(path, node["es"])] if isinstance(node.get("es"), str) else []
        return own + [one for key, value in node.items() for one in _in_spanish(value, f"{path}.{key}")]
    if isinstance(node, list):
        return [one for k, value in enumerate(node) for one in _in_spanish(value, f"{path}[{k}]")]
    return []


@pytest.mark.parametrize(("pattern", "why"), list(MISLEADING.items()))
def test_no_spanish_text_has_a_word_that_misleads(pattern: str, why: str) -> None:
    wrong = []
    for key, text in spanish():
        plain = text
        for allowed in ALLOWED:
            plain = plain.replace(allowed, "")
        if re.search(pattern, plain):
            wrong.append(f"{key}: {text}")
    assert not wrong, why


def test_there_is_spanish_to_read() -> None:
    assert len(spanish()) > 500


COLUMNS = frozenset(
    [
        "block",
        "crop",
        "valve",
        "soil",
        "source",
        "rate_mm_h",
        "flow_m3_h",
        "irrigation",
        "pump",
        "hours",
        "harvest",
        "checked",
        "start",
        "end",
    ]
)
"""Columns of files and settings, which texts name as the files have them."""
NAMED_IN_CODE = re.compile(r"\[\w+(\.\w+)*\]( \w+)*|\"[^\"]*\"|\{[^|{}]*\}|\{\w+:|(stressmap )?\w+ --\w+")
"""Settings with their keys, values, blanks and commands."""


def test_no_spanish_text_has_an_english_word() -> None:
    found = {}
    for key, text in spanish():
        words = english_words(NAMED_IN_CODE.sub(" ", text), COLUMNS)
        if words:
            found[key] = (words, text)
    assert found == {}
