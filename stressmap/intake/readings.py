"""Readings files -> the table of ``schemas.READINGS``: every row, in the files' order, nothing judged yet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from stressmap.core.errors import DataError, NoRowsError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import RowCounts
from stressmap.core.schemas import READINGS, conform
from stressmap.core.settings import Reading, Settings
from stressmap.core.units import BAR_PER, M_PER_FOOT
from stressmap.intake.air_plausibility import Origin, celsius, mend_humidity, mend_temperature, split_degrees
from stressmap.intake.columns import Table, fitting, match, recogniser
from stressmap.intake.coordinates import read_place
from stressmap.intake.heading_recognition import recognise
from stressmap.intake.numbers import parse_numbers
from stressmap.intake.point_files import read_points
from stressmap.intake.record_inputs import RecordRows, record_readings
from stressmap.intake.several_files import Given, each, orders_of, sheets_of
from stressmap.intake.spellings import FIELDS, PRESSURE_UNITS
from stressmap.intake.tabular import Sheet
from stressmap.intake.times import Asked, Order, read_clock, read_dates, read_times
from stressmap.intake.unit_headings import normal, unit_in
from stressmap.intake.unread_columns import columns_of

_OWN = frozenset({"tree_id", "pressure", "recheck", "bagged_at", "bag_minutes", "leaf", "chamber", "crew"})
_CELL_UNIT = re.compile(r"^(.*\d)\s*(bars?|bares|mpa|kpa|psi|bar\.)$", re.IGNORECASE)
_MINUTES = re.compile(r"^(\d+(?:[.,]\d+)?)\s*(?:min\w*\.?|')$", re.IGNORECASE)
_FOR_THE_RECORD = dict.fromkeys(("reading_id", "version", "withdrawn", "trouble", "stop"), "")
"""Columns of a phone's export that only the record reads."""
_YES, _NO = ("yes", "y", "si", "s\u00ed", "true", "x"), ("no", "n", "false")
"""Under "bagged": yes tells nothing about minutes, no means none."""


def read_readings(given: Given, settings: Settings, record: RecordRows | None = None) -> Noted[pd.DataFrame]:
    """Read readings: a file, or several of any kind, each with its own columns.

    Parameters
    ----------
    given : Path, InputSource or sequence of these
        CSV, XLSX (each sheet of readings), GeoJSON, GeoPackage or GPX; or folders of such files.
    settings : Settings
        Its time zone, ``[columns]`` and ``[reading]`` are used.
    record : RecordRows, optional
        What the ranch's record holds; the files may then hold no row yet.

    Returns
    -------
    Noted of DataFrame
        As ``schemas.READINGS``, a row per row of the files, in their order, then those of the record.

    Raises
    ------
    DataError
        If a file cannot be read, a column is missing or doubtful, or a cell holds the wrong thing.
    """
    if record is None or not record.readings:
        return _read_files(given, settings)
    notes = NoteList()
    kept = notes.keep(record_readings(record, settings.ranch.zone))
    try:
        frames = [notes.keep(_read_files(given, settings)), kept]
    except NoRowsError:
        frames = [kept]
    return notes.beside(conform(pd.concat(frames, ignore_index=True), READINGS, record.where))


def no_readings(zone: ZoneInfo) -> pd.DataFrame:
    """Give the table of readings of a ranch that has none yet.

    Parameters
    ----------
    zone : ZoneInfo
        Of its times.

    Returns
    -------
    DataFrame
        As ``schemas.READINGS``, without a row.
    """
    bare = pd.DataFrame({name: pd.Series(dtype=object) for name in READINGS.columns})
    return conform(
        bare.astype({"row": "int64"}).assign(time=pd.DatetimeIndex([], tz=zone)), READINGS, "readings"
    )


def _read_files(given: Given, settings: Settings) -> Noted[pd.DataFrame]:
    notes, chosen = NoteList(), settings.columns
    known, fits = recogniser(FIELDS, chosen), fitting(FIELDS, chosen, ("pressure",), ("time", "date"))
    sheets = notes.keep(sheets_of(given, "readings", lambda source: read_points(source, known, fits)))
    tables = each(sheets, lambda sheet: match(sheet, FIELDS, chosen, required=("pressure",)))
    for sheet, table in zip(sheets, tables, strict=True):
        columns = notes.keep(columns_of(sheet, table, FIELDS, {**_FOR_THE_RECORD, **chosen}))
        if any(normal(heading) == "reading_id" for heading in sheet.headings):
            notes.say("export_as_file", "caution", file=sheet.where)
        notes.count(RowCounts.of(table.where, "readings", sheet.rows, sheet.told, columns=columns))
    _refuse_unknown_choice(tables, settings, [sheet.headings for sheet in sheets])
    days = [table.columns.get("date", table.columns.get("time")) for table in tables]
    orders = orders_of(sheets, days, settings.reading.date_order)
    asked = [_with_order(settings, order) for order in orders]
    frames = each(
        zip(sheets, tables, asked, strict=True),
        lambda one: notes.keep(_of_book(_read_table(notes.keep(_with_day(*one)), one[2]), one[0])),
    )
    whole = pd.concat(frames, ignore_index=True) if len(frames) > 1 else frames[0]
    return notes.beside(conform(whole, READINGS, tables[0].where))


def _of_book(read: Noted[pd.DataFrame], sheet: Sheet) -> Noted[pd.DataFrame]:
    """Tell units once for a workbook whose sheets all state them."""
    book = {sheet.where: sheet.book}
    notes = (note.renamed(book) if note.code == "unit_of_heading" else note for note in read.notes)
    return replace(read, notes=tuple(notes))


def _with_order(settings: Settings, order: Order | None) -> Settings:
    reading = settings.reading.model_copy(update={"date_order": order})
    return settings.model_copy(update={"reading": reading})


def _with_day(sheet: Sheet, table: Table, settings: Settings) -> Noted[Table]:
    """Take the day from the name of a sheet whose table has clocks and no day."""
    if not sheet.title or table.has("date") or not table.has("time"):
        return Noted(table)
    clocks = table.columns["time"]
    if not (read_clock(clocks).notna() | (clocks == "")).all():
        return Noted(table)
    asked = Asked(table.where, table.headings["time"], settings.ranch.zone, settings.reading.date_order)
    try:
        day = read_dates(pd.Series([sheet.title]), asked)[0]
    except DataError:
        return Noted(table)
    if pd.isna(day):
        return Noted(table)
    dated = clocks.where(clocks == "", f"{day:%Y-%m-%d}")
    with_day = replace(table, columns={**table.columns, "date": dated})
    return Noted(with_day, (Note.of("day_of_sheet", file=table.where, day=day.date()),))


def _read_table(table: Table, settings: Settings) -> Noted[pd.DataFrame]:
    """Read one table into the columns of ``schemas.READINGS``."""
    notes = NoteList()
    lon, lat = notes.keep(read_place(table, settings.reading.crs or settings.ranch.crs))
    time = notes.keep(_time(table, settings))
    (pressure, unit), (recheck, _) = (
        notes.keep(_pressure(table, name, settings.reading)) for name in ("pressure", "recheck")
    )
    origin = Origin(
        table.where,
        table.index.to_numpy(np.int64),
        table.headings.get("temp", "temp_c"),
        table.headings.get("rh", "rh_pct"),
    )
    found = pd.DataFrame(
        {
            "row": table.index.to_numpy(),
            "tree_id": table.text("tree_id"),
            "time": time,
            "lon": lon,
            "lat": lat,
            "pressure_bar": pressure,
            "recheck_bar": recheck,
            "unit": unit,
            "bag_minutes": _bag_minutes(table, time, settings),
            "block": table.text("block"),
            "valve": table.text("valve"),
            "temp_c": notes.keep(_celsius(table, origin)),
            "rh_pct": notes.keep(_humidity(table, origin)),
            "gps_accuracy_m": table.numbers("gps_accuracy", wanted="metres as a number")
            * (M_PER_FOOT if table.unit("gps_accuracy") == "ft" else 1.0),
            **{name: table.text(name) for name in ("chamber", "crew", "leaf", "note")},
            "file": table.where,
        }
    )
    return notes.beside(found.reset_index(drop=True))


def _refuse_unknown_choice(
    tables: Sequence[Table], settings: Settings, headings: Sequence[tuple[str, ...]]
) -> None:
    """Refuse a ``[columns]`` entry for readings whose heading no file has, where one lacks what it names."""
    there = {normal(h) for own in headings for h in own}
    problems = []
    for theirs, ours in settings.columns.items():
        seen = recognise(ours, FIELDS)
        if not seen or seen.ours not in _OWN or normal(theirs) in there:
            continue
        for table, own in zip(tables, headings, strict=True):
            if not table.has(seen.ours):
                what = f"[columns] names a column {theirs!r} that the file does not have"
                problems.append(Problem(table.where, what, f"It has {', '.join(h for h in own if h)}"))
    if problems:
        raise DataError(problems)


def _time(table: Table, settings: Settings) -> Noted[pd.Series]:
    name = "time" if table.has("time") else "date"
    if not table.has(name):
        what = (
            "no column is recognised as time (usual headings: time, datetime, timestamp, date, fecha, hora)"
        )
        remedy = 'Add it, or name it under [columns], "your heading" = "time"'
        raise DataError(Problem(table.where, what, remedy))
    cells = table.columns[name]
    if table.has("time") and table.has("date"):
        day = table.columns["date"].str.replace(r"[ T]0?0:00(:00)?$", "", regex=True)
        alone = read_clock(cells).notna()
        # a serial fraction of a day is a clock too, but cannot be glued behind a written date
        clock = cells.where(~cells.str.fullmatch(r"0?\.\d+"), _clock_text(cells))
        cells = cells.where(~alone, (day + " " + clock.map(_colons)).where(day != "", ""))
        cells = cells.where((cells != "") | (day == ""), day)
    asked = Asked(table.where, table.headings[name], settings.ranch.zone, settings.reading.date_order)
    return read_times(cells, asked)


def _colons(clock: str) -> str:
    return re.sub(r"^(\d{1,2})\.?(\d{2})(?=\D|$)", r"\1:\2", clock)


def _clock_text(cells: pd.Series) -> pd.Series:
    """Write clocks as ``HH:MM``, ``""`` where there is none."""
    minutes = read_clock(cells).dt.total_seconds().div(60).fillna(-1).astype(int).tolist()
    shown = [f"{m // 60:02d}:{m % 60:02d}" if m >= 0 else "" for m in minutes]
    return pd.Series(shown, index=cells.index, dtype=object)


def _pressure(table: Table, name: str, reading: Reading) -> Noted[tuple[pd.Series, pd.Series]]:
    """Read a pressure column into bar, sign kept: unit of the cell, else of the row, else of the column.

    The units that were written come beside the figures.
    """
    if not table.has(name):
        return Noted((pd.Series(np.nan, index=table.index), pd.Series(None, index=table.index, dtype=object)))
    cells = table.columns[name]
    bare, own = split_unit(cells)
    value, bad = parse_numbers(bare, comma=table.comma)
    table.refuse(name, bad, "is not a number", "Write the pressure as a number, or leave the cell empty")
    row_unit = _units(table.text("unit"))
    if table.has("unit"):
        wrong = table.text("unit").notna() & ~row_unit.isin(PRESSURE_UNITS)
        table.refuse("unit", wrong, "is not a unit of pressure", "Write bar, MPa, kPa or psi")
    stated = own.where(own.notna(), row_unit)
    column = _column_unit(table, name, reading)
    unit = stated.where(stated.notna(), column.value)
    return Noted((value * unit.map(BAR_PER).astype(float), unit), column.notes)


def split_unit(cells: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Part cells of a pressure column into the figure and its unit.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        As written.

    Returns
    -------
    bare : Series of str, shape (n,)
        Without the unit.
    unit : Series of object, shape (n,)
        A key of ``BAR_PER``, None where none is written.
    """
    split = cells.str.extract(_CELL_UNIT)
    return split[0].fillna(cells).str.strip(), _units(split[1])


def _units(cells: pd.Series) -> pd.Series:
    """Read cells as units of pressure, None where there is none."""
    return cells.map(lambda text: unit_in(text) if isinstance(text, str) else None).astype(object)


def _column_unit(table: Table, name: str, reading: Reading) -> Noted[str]:
    """Tell the unit of a column: its heading, unless that is only our own name for it; else the settings."""
    stated = table.unit(name)
    alone = stated is not None
    if stated is None and name == "recheck":
        stated = table.unit("pressure")
    if stated is None or stated == reading.unit:
        return Noted(reading.unit)
    heading = table.headings[name]
    if reading.unit != "bar" and stated == "bar" and normal(heading) in {"pressure_bar", "recheck_bar"}:
        note = Note.of("unit_of_settings", file=table.where, column=heading, unit=reading.unit)
        return Noted(reading.unit, (note,))
    if reading.unit != "bar":
        what = f"the heading says {stated}, [reading] unit says {reading.unit}"
        raise DataError(Problem(table.where, what, "Correct one of them", column=heading))
    note = Note.of("unit_of_heading", file=table.where, column=heading, unit=stated)
    return Noted(stated, (note,) if alone else ())


def _bag_minutes(table: Table, time: pd.Series, settings: Settings) -> pd.Series:
    minutes = pd.Series(np.nan, index=table.index)
    if table.has("bag_minutes"):
        cells = table.columns["bag_minutes"]
        clock = cells.str.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?")
        spans = read_clock(cells.where(clock, "")).dt.total_seconds() / 60
        tidy = cells.where(~clock, "").str.replace(_MINUTES, r"\1", regex=True)
        value, bad = parse_numbers(tidy, comma=True)
        table.refuse("bag_minutes", bad, "is not a number of minutes", "Write minutes as a number")
        minutes = spans.fillna(value * (60.0 if table.unit("bag_minutes") == "h" else 1.0))
    if table.has("bagged_at"):
        minutes = minutes.fillna(_since_bagged(table, time, settings))
    return minutes


def _since_bagged(table: Table, time: pd.Series, settings: Settings) -> pd.Series:
    """Count minutes from the bagging to the reading; plain small numbers are minutes already."""
    cells = table.columns["bagged_at"]
    word = cells.str.lower()
    cells = cells.mask(word.isin(_YES), "").mask(word.isin(_NO), "0 min")
    plain, _ = parse_numbers(cells.str.replace(_MINUTES, r"\1", regex=True))
    plain = plain.where(plain.between(0, 300) & ~cells.str.fullmatch(r"0?\.\d+|\d{4}"))
    clock = read_clock(cells.where(plain.isna(), ""))
    start = time.dt.tz_localize(None).dt.normalize() + clock
    since = (time.dt.tz_localize(None) - start).dt.total_seconds() / 60
    rest = cells.where(plain.isna() & clock.isna(), "")
    if (rest != "").any():
        asked = Asked(
            table.where, table.headings["bagged_at"], settings.ranch.zone, settings.reading.date_order
        )
        stamp = read_times(rest, asked).value
        since = since.fillna((time - stamp).dt.total_seconds() / 60)
    return plain.fillna(since)


def _celsius(table: Table, origin: Origin) -> Noted[pd.Series]:
    if not table.has("temp"):
        return Noted(pd.Series(np.nan, index=table.index))
    notes = NoteList()
    cells, stated = split_degrees(table.columns["temp"])
    bare, bad = parse_numbers(cells, comma=table.comma)
    table.refuse("temp", bad, "is not a number", "Write degrees as a number, or leave the cell empty")
    if table.unit("temp") is None and (bare.notna() & stated.isna()).any():
        notes.say("temperature_unit", file=table.where, column=table.headings["temp"])
    degrees = celsius(bare, stated, table.unit("temp"))
    mended = notes.keep(mend_temperature(degrees, origin, each=True))
    return notes.beside(pd.Series(mended, index=table.index))


def _humidity(table: Table, origin: Origin) -> Noted[pd.Series]:
    if not table.has("rh"):
        return Noted(pd.Series(np.nan, index=table.index))
    value, bad = parse_numbers(table.columns["rh"].str.rstrip("% "), comma=table.comma)
    table.refuse("rh", bad, "is not a number", "Write percent as a number, or leave the cell empty")
    mended = mend_humidity(value, origin)
    return Noted(pd.Series(mended.value, index=table.index), mended.notes)
