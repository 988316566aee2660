"""What the ranch's record holds -> tables as files give them, each row under its number in the record."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import Columns, RowCounts
from stressmap.core.schemas import READINGS, columns_of
from stressmap.core.sources import InputSource
from stressmap.core.text import one_line
from stressmap.core.troubles import TROUBLES
from stressmap.intake.known_names import KnownNames

LOG_HEADINGS = ("valve_name", "start_date_time", "end_date_time")
"""Of the record's log; none that ``[columns]`` would name for something else."""
MOST_FILES = 50
"""So many files of the record are told by their names."""
Row = Mapping[str, Any]


@dataclass(frozen=True)
class RecordRows:
    """The latest rows of the record.

    Parameters
    ----------
    where : str
        The record, for messages.
    readings, valve_times : sequence of mapping
        Rows with their number, ``id``; times are UTC, without a zone.
    sha256 : str
        Fingerprint of what they say.
    others : tuple of str
        Other ranches that the record holds rows of.
    """

    where: str
    readings: Sequence[Row] = ()
    valve_times: Sequence[Row] = ()
    sha256: str = ""
    others: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether it holds nothing of this ranch."""
        return not self.readings and not self.valve_times

    def stops_on(self, days: tuple[dt.date, dt.date], zone: ZoneInfo) -> int:
        """Count the readings of some days, first and last, that are stops of a round."""
        planned = [row["time"] for row in self.readings if row.get("stop") and row["time"] is not None]
        local = (moment.replace(tzinfo=dt.UTC).astimezone(zone).date() for moment in planned)
        return sum(days[0] <= day <= days[1] for day in local)

    def as_plain(self) -> dict[str, Any]:
        """Give what ``run.json`` says of it."""
        return {"readings": len(self.readings), "valve_times": len(self.valve_times), "sha256": self.sha256}


def row_of(number: int) -> int:
    """Give the row under which a row of the record is told: a heading would stand in row 1."""
    return number + 1


def record_readings(record: RecordRows, zone: ZoneInfo) -> Noted[pd.DataFrame]:
    """Give the record's readings as a file's.

    Parameters
    ----------
    record : RecordRows
        With at least one reading.
    zone : ZoneInfo
        The ranch's.

    Returns
    -------
    Noted of DataFrame
        With the columns of :data:`stressmap.core.schemas.READINGS`; counts the rows.
    """
    names = [name for name in columns_of(READINGS) if name not in {"row", "file"}]
    frame = pd.DataFrame([{name: row[name] for name in names} for row in record.readings], dtype=object)
    moments = pd.to_datetime(frame["time"]).dt.as_unit("us").dt.tz_localize("UTC").dt.tz_convert(zone)
    notes_told: list[Any] = [_joined(row["trouble"], row["note"]) for row in record.readings]
    rows = [row_of(row["id"]) for row in record.readings]
    frame = frame.assign(row=rows, time=moments, note=notes_told, file=record.where)
    for name in (
        "lon",
        "lat",
        "pressure_bar",
        "recheck_bar",
        "bag_minutes",
        "temp_c",
        "rh_pct",
        "gps_accuracy_m",
    ):
        frame[name] = frame[name].astype(float)
    counts = RowCounts.of(record.where, "readings", frame["row"], columns=_columns(names))
    notes = NoteList()
    notes.count(counts)
    return notes.beside(frame[list(columns_of(READINGS))])


def _columns(names: Sequence[str]) -> Columns:
    return Columns(tuple((name, "") for name in names))


def _joined(*parts: str | None) -> str | None:
    return "; ".join(part for part in parts if part) or None


def record_logs(record: RecordRows, zone: ZoneInfo) -> tuple[InputSource, ...]:
    """Give the record's sets as logs to read, one of each file they came with, each row where it stood there.

    Parameters
    ----------
    record : RecordRows
        Of the ranch.
    zone : ZoneInfo
        The ranch's.

    Returns
    -------
    tuple of InputSource
        Tables, called after the record and the file; of more than :data:`MOST_FILES` files, and where two
        rows of files of one name had the same number, under the record's name and numbers. None where no
        row says that water ran.
    """
    ran = [row for row in record.valve_times if row["start"] is not None or row["end"] is not None]
    came: dict[str, dict[int, Row]] = {}
    own: dict[int, Row] = {}
    for row in ran:
        there = came.setdefault(one_line(row.get("file") or ""), {})
        if there is came.get("") or row["source_row"] in there:
            own[row_of(row["id"])] = row
        else:
            there[row["source_row"]] = row
    came.pop("", None)
    if len(came) > MOST_FILES:
        came, own = {}, {row_of(row["id"]): row for row in ran}
    logs = {f"{record.where} ({name})": rows for name, rows in came.items()} | {record.where: own}
    return tuple(_log(name, rows, zone) for name, rows in logs.items() if rows)


def _log(name: str, rows: Mapping[int, Row], zone: ZoneInfo) -> InputSource:
    """Write a table in which each row stands under its number."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(LOG_HEADINGS)
    line = 1
    for number in sorted(rows):
        row = rows[number]
        text.write("\n" * (number - line - 1))
        line = number
        writer.writerow((one_line(row["valve"] or ""), _local(row["start"], zone), _local(row["end"], zone)))
    return InputSource.of_bytes(text.getvalue().encode(), name)


def _local(moment: dt.datetime | None, zone: ZoneInfo) -> str:
    if moment is None:
        return ""
    return moment.replace(tzinfo=dt.UTC).astimezone(zone).isoformat(sep=" ", timespec="seconds")


def troubles_left(record: RecordRows, valves: pd.Series) -> Noted[Mapping[str, str]]:
    """Tell at which valves a trouble was reported, and no later set without one.

    Parameters
    ----------
    record : RecordRows
        Of the ranch.
    valves : Series of str
        Names of the valves there are.

    Returns
    -------
    Noted of mapping of str to str
        Valve -> the trouble, codes of :data:`stressmap.core.troubles.TROUBLES` or the crew's own words.
    """
    known = KnownNames(valves)
    last: dict[str, tuple[tuple[dt.datetime, int], str | None]] = {}
    for row in record.valve_times:
        moment = row["start"] or row["end"] or row["planned_start"]
        at = moment or dt.datetime.min, int(row["id"])
        for valve in known.several(row["valve"] or "").names:
            if valve not in last or last[valve][0] < at:
                last[valve] = at, row["trouble"]
    found = {valve: str(trouble) for valve, (_, trouble) in sorted(last.items()) if trouble}
    notes = NoteList()
    for code in TROUBLES:
        there = [valve for valve, trouble in found.items() if code in _troubles(trouble)]
        if there:
            notes.say("trouble_reported", "warning", kind=code, valves=there)
    own = {valve: words for valve, trouble in found.items() if (words := _own_words(trouble))}
    if own:
        told = [f"{valve} ({one_line(trouble, most=60)})" for valve, trouble in own.items()]
        notes.say("trouble_in_own_words", "warning", valves=told)
    return notes.beside(found)


def _troubles(trouble: str) -> list[str]:
    return [part.strip() for part in trouble.split(";")]


def _own_words(trouble: str) -> str:
    return "; ".join(part for part in _troubles(trouble) if part and part not in TROUBLES)


def said_of_record(record: RecordRows) -> tuple[Note, ...]:
    """Say what came from the record, or that it holds rows of other ranches alone.

    Parameters
    ----------
    record : RecordRows
        Of the ranch.

    Returns
    -------
    tuple of Note
    """
    if record.is_empty:
        others = record.others
        return (Note.of("record_of_others", "warning", file=record.where, names=others),) if others else ()
    counts = {"readings": len(record.readings), "sets": len(record.valve_times)}
    return (Note.of("from_record", file=record.where, **counts),)
