"""Cells come from strangers' files: a spreadsheet runs none of them, and a row stays a line.

What starts a formula: common practice, no source; the full-width and small forms are those of the Unicode
Standard's blocks "Halfwidth and Fullwidth Forms" (FF1D, FF0B, FF0D, FF20) and "Small Form Variants" (FE62 to
FE6B), from memory.
"""

import csv

import pandas as pd
import pytest

from stressmap.output.gis.csv_tables import defuse, write_csv

BEFORE = [
    "",
    " ",
    "\u00a0",
    "\t",
    "\r",
    "\n",
    "\u200b",
    "\ufeff",
    "\u2060",
    "\u202e",
    "\x00",
    "\ufeff\u200b \r\n",
]
OPENERS = ["=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\ufe66", "\ufe62", "\ufe63", "\ufe6b"]


@pytest.mark.parametrize("before", BEFORE, ids=ascii)
@pytest.mark.parametrize("opener", OPENERS, ids=ascii)
def test_a_formula_in_any_dress_gets_an_apostrophe(before, opener):
    assert defuse(f"{before}{opener}cmd|' /C calc'!A0").startswith("'")


@pytest.mark.parametrize(
    "text", ["T12", "leaf torn", "a-b", "5 + 3", "1/2", "Peña", "果園", "", "'=", "x = 2"]
)
def test_other_text_stays(text):
    assert defuse(text) == text


@pytest.mark.parametrize("form", ["plain", "en", "es"])
def test_a_row_is_a_line_for_a_plain_reader(tmp_path, form):
    breaks = ["\n", "\r", "\r\n", "\v", "\f", "\x1c", "\x1d", "\x1e", "\x85", "\u2028", "\u2029", "\x00"]
    notes = [f"one{mark}=HYPERLINK(2)" for mark in breaks]
    file = tmp_path / "readings.csv"
    write_csv(pd.DataFrame({"note": notes, "row": range(len(notes))}), file, form)
    raw = file.read_bytes()
    assert raw.count(b"\n") == len(notes) + 1
    assert b"\r" not in raw
    text = raw.decode("utf-8-sig")
    assert len(text.splitlines()) == len(notes) + 1
    rows = list(csv.reader(text.split("\n")[:-1], delimiter=";" if form == "es" else ","))
    assert [row[0] for row in rows[1:]] == ["one =HYPERLINK(2)"] * len(notes)


def test_a_cell_that_another_locale_would_cut_holds_no_formula(tmp_path):
    file = tmp_path / "valves.csv"
    write_csv(pd.DataFrame({"valve": ["V1;=1+1", "V2|@x", "V3; ok"]}), file)
    for line in file.read_text(encoding="utf-8").splitlines():
        for sep in ";|,\t":
            assert not any(cell.strip(' "').startswith(("=", "@")) for cell in line.split(sep))
