"""Every ranch has a folder of its own, with a name that any system takes."""

import datetime as dt
from itertools import combinations

import pytest

from stressmap.output.staging.output_folder import default_folder, slug

OTHERS = [
    "果園",
    "果樹園",
    "Сад",
    "Ранчо",
    "مزرعة",
    "ראנץ",
    "Rancho 1",
    "Ранчо 1",
    "Сад 1",
    "🌳",
    "🌴",
    "🌳🌴",
    "!!!",
    "?",
]


def test_names_that_differ_only_in_other_letters_share_no_folder():
    found = {name: slug(name) for name in OTHERS}
    assert all(found[a] != found[b] for a, b in combinations(OTHERS, 2))
    assert all(text.isascii() and text == text.lower() for text in found.values())


def test_long_names_that_differ_at_their_end_share_no_folder():
    assert slug("a" * 80 + "b") != slug("a" * 80 + "c")
    assert len(slug("a" * 5000)) < 70


@pytest.mark.parametrize(
    "name",
    [
        "con",
        "NUL",
        "Aux",
        "prn",
        "COM1",
        "com9",
        "lpt1",
        "LPT9",
        "COM¹",
        "con.",
        " nul ",
        "conin$",
        "CONOUT$",
    ],
)
def test_no_folder_is_called_as_a_device(name):
    """Names that Windows reserves: "Naming Files, Paths, and Namespaces", its documentation; from memory."""
    devices = {
        "con",
        "prn",
        "aux",
        "nul",
        "conin",
        "conout",
        *(f"{d}{n}" for d in ("com", "lpt") for n in range(10)),
    }
    assert slug(name) not in devices
    assert slug(name)[-1] not in ". "


def test_usual_names_are_written_as_before():
    assert default_folder("Peña & Hijos", dt.date(2026, 7, 14)).as_posix() == "outputs/pena-hijos/2026-07-14"
