"""``valve_times.xlsx``: a row a planned set, to fill in what was really opened and closed."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from pathlib import Path
from typing import Any

import pandas as pd

from stressmap.core.settings import Ranch
from stressmap.core.text import one_line
from stressmap.core.troubles import TROUBLES
from stressmap.output.text.record_words import RecordWords

NAME = "valve_times.xlsx"
COLUMNS = ("code", "valve", "block", "planned_start", "planned_end", "start", "end", "trouble", "note")
"""In their order; ``docs/contract.md`` has them."""
WIDTHS = (9, 12, 16, 18, 18, 18, 18, 20, 36)
"""Of the columns, in characters."""
MOMENT = "yyyy-mm-dd hh:mm"
FILLED_IN = ("start", "end", "trouble", "note")
TINT = "FFF7E0"
"""Behind the headings of what is to be filled in."""
HOWS = 6
_SAVED = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*(<)")
_WHEN = b"2000-01-01T00:00:00Z"


def write_valve_times(timetable: pd.DataFrame, ranch: Ranch, path: Path) -> None:
    """Write the sheet of valve times.

    Parameters
    ----------
    timetable : DataFrame
        As :data:`stressmap.core.schemas.TIMETABLE`.
    ranch : Ranch
        Languages: headings are in the first, the page of instructions in all.
    path : Path
        File to write; the same timetable gives the same bytes.
    """
    import openpyxl  # slow to load, and few ranches plan

    book, words = openpyxl.Workbook(), RecordWords(ranch.languages[0])
    sheet = book.active
    sheet.title = words("times.sheet")
    sheet.append([words(f"times.{name}") for name in COLUMNS])
    for row in timetable[["code", "valve", "block", "start", "end"]].itertuples(index=False):
        sheet.append([*(_text(one) for one in row[:3]), *(_local(one) for one in row[3:])])
    _dress(sheet, len(timetable), words)
    page = book.create_sheet(words("times.how"))
    page.column_dimensions["A"].width = 110
    for language in ranch.languages:
        for line in _instructions(RecordWords(language)):
            page.append([line])
    data = io.BytesIO()
    book.save(data)
    path.write_bytes(timeless(data.getvalue()))


def _text(value: Any) -> str | None:
    return None if pd.isna(value) else one_line(str(value), most=200)


def _local(moment: pd.Timestamp) -> dt.datetime:
    """Give the clock of the ranch; a workbook knows no time zones."""
    return moment.tz_localize(None).to_pydatetime()


def _instructions(words: RecordWords) -> list[str]:
    return [words("times.title"), *(words(f"times.how_{n}", file=NAME) for n in range(1, HOWS + 1)), ""]


def _dress(sheet: Any, rows: int, words: RecordWords) -> None:
    """Give columns their widths and forms, headings their look, and troubles a list to choose from."""
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    bold, tint = Font(bold=True), PatternFill("solid", fgColor=TINT)
    letters = dict(zip(COLUMNS, map(get_column_letter, range(1, len(COLUMNS) + 1)), strict=True))
    for name, width in zip(COLUMNS, WIDTHS, strict=True):
        sheet.column_dimensions[letters[name]].width = width
        heading = sheet[f"{letters[name]}1"]
        heading.font = bold
        if name in FILLED_IN:
            heading.fill = tint
    for cells in sheet.iter_rows(min_row=2, max_row=rows + 1, max_col=len(COLUMNS)):
        for cell in cells[:3]:
            if cell.value is not None:
                cell.data_type = "s"  # a name that begins with = is no formula
        for cell in cells[3:7]:
            cell.number_format = MOMENT
    sheet.freeze_panes = "A2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    last = max(2, rows + 1)
    chosen = ",".join(words(f"trouble.{code}") for code in TROUBLES)
    troubles = DataValidation(type="list", formula1=f'"{chosen}"', allow_blank=True, showErrorMessage=False)
    troubles.add(f"{letters['trouble']}2:{letters['trouble']}{last}")
    moments = DataValidation(showInputMessage=True, promptTitle=words("times.start"))
    moments.prompt = words("times.prompt")
    moments.add(f"{letters['start']}2:{letters['end']}{last}")
    for validation in (troubles, moments):
        sheet.add_data_validation(validation)


def timeless(data: bytes) -> bytes:
    """Take the time of writing out of a workbook, so that the same content gives the same bytes.

    Parameters
    ----------
    data : bytes
        An XLSX file.

    Returns
    -------
    bytes
        The same, as if it had been saved on 1 January 2000.
    """
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(made, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name == "docProps/core.xml":
                part = _SAVED.sub(rb"\g<1>" + _WHEN + rb"\g<3>", part)
            told = zipfile.ZipInfo(name, (2000, 1, 1, 0, 0, 0))
            told.compress_type, told.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            told.create_system = 3
            new.writestr(told, part)
    return made.getvalue()
