"""``round.xlsx``: the paper's twin, a row a stop, to type in what was read."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path
from typing import Any

from stressmap.core.text import one_line
from stressmap.core.troubles import TREE_TROUBLES
from stressmap.output.paper.valve_times import TINT, timeless
from stressmap.output.text.round_words import RoundWords
from stressmap.output.text.words import Words
from stressmap.output.view.round_content import GAUGE_DECIMALS, RoundContent
from stressmap.rounds.round import Stop

NAME = "round.xlsx"
WIDTHS = {
    "stop": 7, "crew": 10, "code": 9, "tree_id": 18, "block": 20, "valve": 12, "row": 8,
    "planned_bag": 13, "planned_read": 13, "expected": 15, "date": 12, "bagged_at": 11, "time": 10,
    "pressure": 15, "recheck": 17, "chamber": 12, "trouble": 18, "note": 30, "lon": 13, "lat": 13,
}  # fmt: skip
"""Columns in their order, and their widths in characters."""
FILLED_IN = ("bagged_at", "time", "pressure", "recheck", "chamber", "trouble", "note")
CLOCK, DAY = "hh:mm", "yyyy-mm-dd"
HOWS = 7
EXTRA = 12
"""Rows below the stops that are dressed alike, for trees that are not listed."""


def write_round_book(content: RoundContent, path: Path) -> None:
    """Write the workbook.

    Parameters
    ----------
    content : RoundContent
        The round; stops in the order of the readings, crew after crew; headings in the ranch's first
        language, the page of instructions in all.
    path : Path
        File to write; the same content gives the same bytes.
    """
    import openpyxl  # slow to load

    book, words = openpyxl.Workbook(), RoundWords(content.ranch.languages[0])
    sheet = book.active
    sheet.title = words("book.sheet")
    sheet.append([words(f"book.{name}", unit=content.reading.unit) for name in WIDTHS])
    stops = sorted(content.planned.stops, key=lambda stop: (stop.crew, stop.read_at, stop.number))
    for stop in stops:
        sheet.append(_cells(content, stop))
    _dress(sheet, len(stops), content, words)
    page = book.create_sheet(words("book.how"))
    page.column_dimensions["A"].width = 120
    for language in content.ranch.languages:
        for line in _instructions(content, language):
            page.append([line])
    data = io.BytesIO()
    book.save(data)
    path.write_bytes(timeless(data.getvalue()))


def _cells(content: RoundContent, stop: Stop) -> list[Any]:
    lon, lat = content.degrees[stop.number]
    words = Words(content.ranch.languages[0], content.ranch.units)
    told = {
        "stop": stop.number, "crew": str(stop.crew), "code": content.codes[stop.number],
        "tree_id": one_line(stop.tree_id, most=200), "block": one_line(stop.block, most=200),
        "valve": one_line(stop.valve, most=200), "row": stop.row, "planned_bag": _minute(stop.bag_at),
        "planned_read": _minute(stop.read_at), "expected": content.expected(stop, words) or None,
        "date": content.on, "lon": round(lon, 7), "lat": round(lat, 7),
    }  # fmt: skip
    return [told.get(name) for name in WIDTHS]


def _minute(moment: dt.datetime) -> dt.time:
    return dt.time(moment.hour, moment.minute)


def _instructions(content: RoundContent, language: Any) -> list[str]:
    words, dates = RoundWords(language), Words(language, content.ranch.units)
    title = words("book.title", day=dates.date(content.on))
    return [title, *(words(f"book.how_{n}", file=NAME) for n in range(1, HOWS + 1)), ""]


def _dress(sheet: Any, stops: int, content: RoundContent, words: RoundWords) -> None:
    """Give columns their widths and forms, and headings their look."""
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter

    bold, tint = Font(bold=True), PatternFill("solid", fgColor=TINT)
    digits = GAUGE_DECIMALS[content.reading.unit]
    figure = "0." + "0" * digits if digits else "0"
    forms = {"planned_bag": CLOCK, "planned_read": CLOCK, "date": DAY, "lon": "0.0000000", "lat": "0.0000000"}
    forms |= {"pressure": figure, "recheck": figure}
    texts = {"crew", "code", "tree_id", "block", "valve", "expected", "chamber"}
    for place, (name, width) in enumerate(WIDTHS.items(), 1):
        letter = get_column_letter(place)
        sheet.column_dimensions[letter].width = width
        sheet[f"{letter}1"].font = bold
        if name in FILLED_IN:
            sheet[f"{letter}1"].fill = tint
        for row in range(2, stops + EXTRA + 2):
            cell = sheet[f"{letter}{row}"]
            if name in forms:
                cell.number_format = forms[name]
            if name in texts and cell.value is not None:
                cell.data_type = "s"  # a name that begins with = is no formula
    sheet.freeze_panes = "E2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    _choices(sheet, stops + EXTRA + 1, words)


def _choices(sheet: Any, last: int, words: RoundWords) -> None:
    """Let troubles be chosen, and say how hours are written."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    letters = {name: get_column_letter(place) for place, name in enumerate(WIDTHS, 1)}
    chosen = ",".join(words(f"paper.trouble_{code}") for code in TREE_TROUBLES)
    troubles = DataValidation(type="list", formula1=f'"{chosen}"', allow_blank=True, showErrorMessage=False)
    troubles.add(f"{letters['trouble']}2:{letters['trouble']}{last}")
    clocks = DataValidation(
        showInputMessage=True, promptTitle=words("book.time"), prompt=words("book.prompt")
    )
    clocks.add(f"{letters['bagged_at']}2:{letters['time']}{last}")
    for validation in (troubles, clocks):
        sheet.add_data_validation(validation)
