"""The change since the visit before: gauge = weather + trees, and the target apart."""

import dataclasses
import io
from pathlib import Path

import pypdf
import pytest
from helpers.drawn_content import full
from rich.console import Console

from stressmap.output.paper.crew_sheet import write_crew_sheet
from stressmap.output.report.page import Background, write_report
from stressmap.output.terminal.run_summary import print_summary
from stressmap.output.text.words import Words
from stressmap.output.view.change_words import change_cells, change_line, signed
from stressmap.output.view.content import Content

ROW = {
    "gauge_change_bar": 0.5,
    "weather_change_bar": 2.0,
    "trees_change_bar": -1.5,
    "target_change_bar": 2.5,
    "change": "relieved",
}
"""The gauge shows 0.5 bar more, a fully watered tree 2 bar more, so the trees stand 1.5 bar better."""


def changed(past: int = 0) -> Content:
    content = full()
    flags = [place < past for place in range(len(content.valves))]
    return dataclasses.replace(content, valves=content.valves.assign(**ROW, past_limit=flags))


@pytest.mark.parametrize(
    ("value", "expected"),
    [(1.5, "+1.5"), (-1.5, "\N{MINUS SIGN}1.5"), (0.01, "0.0"), (float("nan"), "no data"), (None, "no data")],
)
def test_a_change_has_a_sign(value: float | None, expected: str) -> None:
    assert signed(value, Words("en")) == expected


def test_gauge_is_weather_and_trees_and_the_words_are_of_the_trees() -> None:
    assert change_cells(ROW, Words("en")) == ("+0.5", "+2.0", "\N{MINUS SIGN}1.5", "relieved", "+2.5")
    assert change_line(ROW, Words("en")) == "+0.5 = weather +2.0, trees \N{MINUS SIGN}1.5 (relieved)"


@pytest.mark.parametrize("weather", [None, float("nan")])
def test_without_weather_the_trees_are_not_praised(weather: float | None) -> None:
    row = ROW | {"gauge_change_bar": -1.3, "weather_change_bar": weather, "trees_change_bar": -1.3}
    said = "\N{MINUS SIGN}1.3; weather unknown, all of it put down to the trees"
    assert change_line(row, Words("en")) == said
    assert "aliviados" not in change_line(row, Words("es"))
    cells = change_cells(row, Words("en"))
    assert cells is not None
    assert (cells[1], cells[3]) == ("unknown", "weather unknown")


def test_a_psi_crew_reads_its_gauge_s_change_in_psi_too() -> None:
    """1.3 bar x 14.5038 psi a bar = 18.9 psi (NIST Special Publication 811, appendix B; from memory)."""
    line = change_line(ROW | {"gauge_change_bar": 1.3}, Words("en"), "psi")
    assert line.startswith("+1.3 (+19 psi) = weather +2.0")


def test_without_a_visit_before_nothing_is_said() -> None:
    assert change_cells({}, Words("en")) is None
    assert change_line({}, Words("en")) == ""


def test_the_terminal_has_the_three_numbers(tmp_path: Path) -> None:
    out = io.StringIO()
    print_summary(changed(), tmp_path, Console(file=out, width=100, highlight=False))
    lines = [line.split() for line in out.getvalue().splitlines()]
    assert ["Change", "since", "Jun", "30,", "2026,", "bar;", "+", "is", "drier"] in lines
    assert ["B1-3", "+0.5", "+2.0", "\N{MINUS SIGN}1.5", "relieved", "+2.5"] in lines


def test_the_report_has_them_too_and_what_is_past_the_limit_under_a_heading(tmp_path: Path) -> None:
    write_report(changed(past=2), Background({}), tmp_path / "report.html")
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "heat is not taken out" in text
    assert text.index("<h3>Past what the crop bears</h3>") < text.index("<h3>The others, in order</h3>")
    for part in text.split('id="specialist"'):
        assert part.count(">P1 past what the crop bears<") == 2
    assert "<h3>Change since Jun 30, 2026, bar; + is drier</h3>" in text


@pytest.mark.parametrize("past", [0, 2, 8])
def test_the_sheet_marks_what_is_past_the_limit(past: int, tmp_path: Path) -> None:
    content = dataclasses.replace(changed(past), water_plan=None, timetable=None)
    write_crew_sheet(content, tmp_path / "sheet.pdf")
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "sheet.pdf").pages)
    assert "heat is not taken out" in text
    assert ("Past what the crop bears / " in text) == (past > 0)
    assert ("The others, in order / " in text) == (0 < past < 8)


def test_the_terminal_marks_what_is_past_the_limit_and_counts_trees(tmp_path: Path) -> None:
    out = io.StringIO()
    print_summary(changed(past=2), tmp_path, Console(file=out, width=110, highlight=False))
    lines = out.getvalue().splitlines()
    assert sum("P1 past its limit" in line for line in lines) == 2
    assert "heat is not taken out" in out.getvalue()
    assert any(line.startswith("Past what the crop bears: ") for line in lines)
    assert any(line.startswith("Trees: read trees behind the figure") for line in lines)
