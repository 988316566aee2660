"""Awkward workbooks: each name says what is awkward about the file, and its kind which clean twin it holds.

Kinds: ``stations`` (``clean_station.csv``), ``readings`` (``clean.csv``) and ``logs`` (``clean_log.csv``).
"""

import datetime as dt
import re
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl
import pandas as pd
from openpyxl.styles import PatternFill
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet

TWINS = Path(__file__).parents[1] / "awkward"
OLD_KIND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504)
"""How a workbook of the old kind begins, and the envelope of one with a password."""


class Awkward(NamedTuple):
    kind: str
    make: Callable[[Path], None]


def table(name: str) -> list[list[Any]]:
    """The header and the rows of a clean twin, moments and figures as such."""
    frame = pd.read_csv(TWINS / name)
    for column in {"time", "start", "end"} & set(frame.columns):
        frame[column] = pd.to_datetime(frame[column])
    rows = [[None if pd.isna(cell) else cell for cell in row] for row in frame.itertuples(index=False)]
    plain = [[c.to_pydatetime() if isinstance(c, pd.Timestamp) else c for c in row] for row in rows]
    return [list(frame.columns), *plain]


def station() -> list[list[Any]]:
    return [row[:3] for row in table("clean_station.csv")]


def readings() -> list[list[Any]]:
    return table("clean.csv")


def log() -> list[list[Any]]:
    return [row[:3] for row in table("clean_log.csv")]


def fill(sheet: Worksheet, rows: Sequence[Sequence[Any]], down: int = 0, right: int = 0) -> None:
    for at, row in enumerate(rows, 1 + down):
        for to, cell in enumerate(row, 1 + right):
            sheet.cell(at, to, cell)


def book(path: Path, **sheets: Sequence[Sequence[Any]]) -> None:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        fill(made.create_sheet(name.replace("_", " ")), rows)
    made.save(path)


def title_merged_above(path: Path) -> None:
    made = openpyxl.Workbook()
    made.active.merge_cells("A1:I1")
    made.active["A1"] = "Pressure readings, north side"
    made.active["A2"] = "Taken by two crews"
    fill(made.active, readings(), down=3)
    made.save(path)


def groups_merged_above(path: Path) -> None:
    made = openpyxl.Workbook()
    made.active["A1"], made.active["E1"] = "Tree", "Reading"
    made.active.merge_cells("A1:D1")
    made.active.merge_cells("E1:G1")
    fill(made.active, readings(), down=1)
    made.save(path)


def notes_before_and_behind(path: Path) -> None:
    book(
        path,
        Read_me=[["The station stands at the north gate"], ["Cleaned on", dt.datetime(2026, 5, 2)]],
        Data=station(),
        Repairs=[["What", "When"], ["New battery", dt.datetime(2026, 6, 1)]],
    )


def figures_as_text(path: Path) -> None:
    header, *rows = readings()
    book(
        path,
        Visit=[
            header,
            *([str(c).replace(".", ",") if isinstance(c, float) else c for c in row] for row in rows),
        ],
    )


def serial_days(path: Path) -> None:
    header, *rows = station()
    start = dt.datetime(1899, 12, 30)
    book(path, Data=[header, *([(row[0] - start).total_seconds() / 86_400, *row[1:]] for row in rows)])


def day_and_clock_apart(path: Path) -> None:
    _, *rows = station()
    book(
        path,
        Datos=[
            ["Fecha", "Hora", "Temp. (°C)", "HR (%)"],
            *([r[0].date(), r[0].time(), *r[1:]] for r in rows),
        ],
    )


def day_and_clock_as_text(path: Path) -> None:
    _, *rows = station()
    book(
        path,
        Datos=[
            ["Fecha", "Hora", "Temperatura", "Humedad"],
            *(
                [f"{r[0]:%d/%m/%Y}", f"{r[0]:%I:%M} {'a' if r[0].hour < 12 else 'p'}. m.", *r[1:]]
                for r in rows
            ),
        ],
    )


def formulas_with_results(path: Path) -> None:
    """Pressures that a spreadsheet has worked out and kept beside their formulas."""
    book(path, Visit=readings())
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    name = "xl/worksheets/sheet1.xml"
    text = parts[name].decode()
    text, count = re.subn(r'(<c r="E[2-7]"[^>]*>)(<v>)', r"\1<f>0.0689476*200</f>\2", text)
    if count != len(readings()) - 1:
        raise ValueError(count)
    parts[name] = text.encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for part, content in parts.items():
            packed.writestr(part, content)


def hidden(path: Path, rows: Sequence[Sequence[Any]], shown: Sequence[Sequence[Any]]) -> None:
    made = openpyxl.Workbook()
    fill(made.active, shown)
    other = made.create_sheet("Last year")
    fill(other, rows)
    other.sheet_state = "hidden"
    made.save(path)


def rows_formatted_below(path: Path) -> None:
    made = openpyxl.Workbook()
    fill(made.active, log())
    for row in range(7, 200):
        made.active.cell(row, 2).number_format = "yyyy-mm-dd hh:mm"
        made.active.cell(row, 4).fill = PatternFill("solid", start_color="FFFF00")
    made.active.cell(190, 1, " ")
    made.save(path)


def begins_in_c5(path: Path) -> None:
    made = openpyxl.Workbook()
    fill(made.active, log(), down=4, right=2)
    made.save(path)


def humidity_in_per_cent(path: Path) -> None:
    made = openpyxl.Workbook()
    header, *rows = station()
    fill(made.active, [header, *([time, temp, rh / 100] for time, temp, rh in rows)])
    for row in range(2, 10):
        made.active.cell(row, 3).number_format = "0%"
    made.save(path)


def days_and_clocks_of_a_log(path: Path) -> None:
    _, *rows = log()
    body = [[valve, start.date(), start.time(), end.date(), end.time()] for valve, start, end in rows]
    book(path, Riegos=[["Válvula", "Fecha inicio", "Hora inicio", "Fecha fin", "Hora fin"], *body])


def hours_as_durations(path: Path) -> None:
    _, *rows = log()
    made = openpyxl.Workbook()
    fill(
        made.active,
        [["valve", "start", "hours"], *([valve, start, end - start] for valve, start, end in rows)],
    )
    made.save(path)


def errors_of_formulas(path: Path) -> None:
    header, *rows = station()
    errors = ["#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#NULL!", None]
    book(
        path, Data=[[*header, "wind_m_s"], *([*row, error] for row, error in zip(rows, errors, strict=True))]
    )


def valves_merged(path: Path) -> None:
    """The cells of one valve's two sets merged into one, so that the second row has no valve."""
    header, *rows = log()
    made = openpyxl.Workbook()
    again = [None, dt.datetime(2026, 7, 20, 6), dt.datetime(2026, 7, 20, 9)]
    fill(made.active, [header, *rows, again])
    made.active.merge_cells("A6:A7")
    made.save(path)


def sum_below(path: Path) -> None:
    _, *rows = log()
    hours = [(end - start).total_seconds() / 3600 for _, start, end in rows]
    body = [[valve, start, long] for (valve, start, _), long in zip(rows, hours, strict=True)]
    book(path, Log=[["Válvula", "Inicio", "Horas"], *body, ["Total", None, sum(hours)]])


def days_from_1904(path: Path) -> None:
    made = openpyxl.Workbook()
    made.epoch = CALENDAR_MAC_1904
    fill(made.active, log())
    made.save(path)


def two_tables_of_a_station(path: Path) -> None:
    header, *rows = station()
    book(path, July_14=[header, *rows[:6]], July_15=[header, *rows[6:]])


def notes_to_the_right(path: Path) -> None:
    made = openpyxl.Workbook()
    fill(made.active, readings())
    made.active["L3"] = "ask for the key of the north gate"
    made.save(path)


def open_document(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("content.xml", "<office:document-content/>")


def binary_workbook(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("[Content_Types].xml", "<Types/>")
        packed.writestr("xl/workbook.bin", b"\x83\x01\x00")


def old_kind(path: Path) -> None:
    path.write_bytes(OLD_KIND)


def last_year(rows: list[list[Any]]) -> list[list[Any]]:
    return [rows[0], *([row[0].replace(year=2025), *row[1:]] for row in rows[1:])]


WORKBOOKS: dict[str, Awkward] = {
    "binary_workbook.xlsb": Awkward("readings", binary_workbook),
    "day_and_clock_apart.xlsx": Awkward("stations", day_and_clock_apart),
    "day_and_clock_as_text.xlsx": Awkward("stations", day_and_clock_as_text),
    "days_and_clocks_of_a_log.xlsx": Awkward("logs", days_and_clocks_of_a_log),
    "days_from_1904.xlsx": Awkward("logs", days_from_1904),
    "errors_of_formulas.xlsx": Awkward("stations", errors_of_formulas),
    "figures_as_text.xlsx": Awkward("readings", figures_as_text),
    "formulas_with_results.xlsx": Awkward("readings", formulas_with_results),
    "groups_merged_above.xlsx": Awkward("readings", groups_merged_above),
    "hidden_sheet_of_last_year.xlsx": Awkward(
        "stations", lambda path: hidden(path, last_year(station()), station())
    ),
    "hours_as_durations.xlsx": Awkward("logs", hours_as_durations),
    "humidity_in_per_cent.xlsx": Awkward("stations", humidity_in_per_cent),
    "notes_before_and_behind.xlsx": Awkward("stations", notes_before_and_behind),
    "notes_to_the_right.xlsx": Awkward("readings", notes_to_the_right),
    "only_the_hidden_sheet_is_filled.xlsx": Awkward("stations", lambda path: hidden(path, station(), [])),
    "open_document.ods": Awkward("stations", open_document),
    "rows_formatted_below.xlsx": Awkward("logs", rows_formatted_below),
    "saved_as_the_old_kind.xls": Awkward("logs", old_kind),
    "serial_days.xlsx": Awkward("stations", serial_days),
    "sum_below.xlsx": Awkward("logs", sum_below),
    "table_that_begins_in_c5.xlsx": Awkward("logs", begins_in_c5),
    "title_merged_above.xlsx": Awkward("readings", title_merged_above),
    "two_tables_of_a_station.xlsx": Awkward("stations", two_tables_of_a_station),
    "valves_merged.xlsx": Awkward("logs", valves_merged),
    "with_a_password.xlsx": Awkward("readings", old_kind),
}
