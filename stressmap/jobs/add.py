"""What came back into the ranch's record: files read, each row once, one transaction a file."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import repeat
from pathlib import Path
from types import MappingProxyType
from typing import Any

import geopandas as gpd
import pandas as pd

from stressmap.agronomy.crops import load_profiles
from stressmap.core import settings
from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.row_counts import ToldRow
from stressmap.core.schemas import READINGS, columns_of
from stressmap.core.settings import Settings
from stressmap.core.sources import SQLITE, InputSource
from stressmap.intake.arrived_file import Arrived
from stressmap.intake.columns import fitting, recogniser
from stressmap.intake.doubtful_sets import SetThatRan
from stressmap.intake.filled_times import FIELDS as TIMES_FIELDS
from stressmap.intake.filled_times import FilledSheet, fits_times, read_valve_times
from stressmap.intake.photographed_codes import is_picture, tables_in
from stressmap.intake.planned_sets import PlannedSet, planned_sets
from stressmap.intake.planned_stops import planned_stops
from stressmap.intake.reading_entries import reading_entries
from stressmap.intake.readings import read_readings
from stressmap.intake.several_files import each
from stressmap.intake.spellings import FIELDS as READING_FIELDS
from stressmap.intake.table_files import WORKBOOK, read_sheets
from stressmap.intake.typed_round import TypedRound, may_be_typed_round, read_typed_rounds
from stressmap.jobs.assess_visit import read_outlines
from stressmap.jobs.record_of_ranch import record_of
from stressmap.output.staging.output_folder import day_of_folder, folders_of, rounds_of
from stressmap.store.ranch_record import SourceFile
from stressmap.store.record_tables import Kind
from stressmap.store.row_versions import ArrivingRow

CONTENT = tuple(name for name in columns_of(READINGS) if name not in {"row", "file"})
BEGINNING = 1 << 16
"""Bytes of a table that tell what it is."""
NO_ENTRY: Mapping[str, Any] = MappingProxyType(
    {"reading_id": None, "version": None, "withdrawn": False, "trouble": None, "stop": None}
)
"""What stands beside a reading that is of no phone."""
NO_FAULT = frozenset({"outside_visit"})


@dataclass(frozen=True)
class Added:
    """What :func:`add` did.

    Parameters
    ----------
    settings : Settings
        Of the ranch.
    files : tuple of Arrived
        In the order in which they were named.
    dry : bool
        Whether nothing was written.
    """

    settings: Settings
    files: tuple[Arrived, ...]
    dry: bool


@dataclass(frozen=True)
class _Read:
    """A file that was read and is ready to be kept."""

    file: SourceFile
    rows: tuple[ArrivingRow, ...]
    empty: tuple[int, ...] = ()
    doubts: tuple[tuple[str, tuple[ToldRow, ...]], ...] = ()
    notes: tuple[Note, ...] = ()
    unusable: tuple[int, ...] = ()
    refused: tuple[tuple[str, tuple[ToldRow, ...]], ...] = ()


def add(source: Path, files: Sequence[Path], *, dry: bool = False, progress: Progress | None = None) -> Added:
    """Put what came back into the ranch's record, each row once.

    Every file is read before the first is kept; each is then kept whole or not at all.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    files : sequence of Path
        Filled sheets of valve times, exports of phones, photographs of their codes, readings.
    dry : bool
        Whether only to say what would be done.
    progress : Progress, optional
        Told of each file.

    Returns
    -------
    Added

    Raises
    ------
    SettingsError
        If ``ranch.toml`` is wrong.
    DataError
        If a file or the record cannot be used; nothing was added then.
    OutputError
        If the record cannot be written.
    """
    chosen, tell = settings.load(source), progress or Silent()
    record = record_of(chosen)
    opened = each(dict.fromkeys(files), lambda path: _tables(path, chosen))
    given = [(table, _sha256(table)) for tables in opened for table in tables]
    known = {table.name: record.earlier(sha256) for table, sha256 in given}
    fresh = [(table, sha256) for table, sha256 in given if known[table.name] is None]
    tell.stage("Reading files", len(fresh))
    ranch = _Outlines(chosen)

    def read(one: tuple[InputSource, str]) -> _Read:
        made = _read(*one, chosen, ranch)
        tell.step()
        return made

    ready = {table.name: made for (table, _), made in zip(fresh, each(fresh, read), strict=True)}
    now = dt.datetime.now(dt.UTC).replace(tzinfo=None, microsecond=0)
    tell.stage("Adding to the record", len(ready))
    found = []
    for name in (table.name for table, _ in given):
        if name not in ready:
            found.append(Arrived(name, earlier=known[name]))
            continue
        one = ready[name]
        added = record.add(one.file, one.rows, now, dry=dry)
        tell.step()
        kept = Arrived(name, one.file.kind, added, one.empty, one.doubts, one.notes)
        bare = _bare(one, added.rows.get("new", ()))
        found.append(replace(kept, unusable=one.unusable, refused=one.refused, bare=bare))
    return Added(chosen, tuple(found), dry)


def _bare(one: _Read, new: Sequence[int]) -> int:
    """Count new readings that have no pressure."""
    if one.file.kind != "readings":
        return 0
    says = ((row.source_row, dict(row.values)) for row in one.rows)
    bare = Counter(number for number, content in says if content["pressure_bar"] is None)
    return (bare & Counter(new)).total()


def _tables(path: Path, chosen: Settings) -> tuple[InputSource, ...]:
    """Give the file, or of a photograph the tables that the codes on it hold."""
    if any(path.exists() and file.exists() and path.samefile(file) for file in chosen.record.files):
        raise DataError(Problem(str(path), "it is the record itself", "Name the files that came back"))
    source = InputSource.of(path)
    return tables_in(source) if is_picture(source.head()) else (source,)


def _sha256(table: InputSource) -> str:
    return hashlib.sha256(table.filled()).hexdigest()


class _Outlines:
    """Blocks and valve zones of the ranch, read when a file first asks for them."""

    def __init__(self, chosen: Settings) -> None:
        self._chosen = chosen
        self._read: tuple[gpd.GeoDataFrame, gpd.GeoDataFrame] | None = None

    def __call__(self) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
        if self._read is None:
            profiles = load_profiles(self._chosen.crops, self._chosen.source)
            orchard, valves, _ = read_outlines(self._chosen, profiles).value
            self._read = orchard.blocks, valves
        return self._read


def _read(source: InputSource, sha256: str, chosen: Settings, ranch: _Outlines) -> _Read:
    name = Path(source.name).name
    if _kind_of(source, chosen) == "valve_times":
        return _read_times(source, SourceFile(name, sha256, "valve_times"), chosen, ranch)
    return _read_readings(source, SourceFile(name, sha256, "readings"), chosen, ranch)


def _kind_of(source: InputSource, chosen: Settings) -> Kind:
    """Tell what a file holds by its headings; what has a pressure is readings."""
    head = source.head().removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith((SQLITE, b"{", b"<")):
        return "readings"
    fits = fits_times(chosen.columns)
    pressed = fitting(READING_FIELDS, chosen.columns, ("pressure",))
    knows = (recogniser(TIMES_FIELDS, chosen.columns), recogniser(READING_FIELDS, chosen.columns))
    known = cache(lambda heading: any(of_kind(heading) for of_kind in knows))
    sheets = read_sheets(_begun(source), known, fits).value
    timed = any(fits(sheet.headings) and not pressed(sheet.headings) for sheet in sheets)
    return "valve_times" if timed else "readings"


def _begun(source: InputSource) -> InputSource:
    """Give the first lines of a long table of text: they tell what it is. A workbook stays whole."""
    head = source.head(BEGINNING)
    lines, _, _ = head.rpartition(b"\n")
    whole = len(head) < BEGINNING or head.startswith(WORKBOOK) or lines.count(b"\n") < 2
    return source if whole else InputSource.of_bytes(lines, source.name)


def _read_times(source: InputSource, file: SourceFile, chosen: Settings, ranch: _Outlines) -> _Read:
    _, valves = ranch()
    notes = NoteList()
    sheets = notes.keep(
        read_valve_times(
            source, zone=chosen.ranch.zone, columns=chosen.columns, order=chosen.reading.date_order,
            valves=valves["valve"], sets=_planned(chosen),
        )
    )  # fmt: skip
    ran = [one for sheet in sheets for one in sheet.rows]
    unusable = tuple(one.row for one in ran if not one.usable)
    if unusable:  # a timetable may tell later what its codes are
        file = _in_part(file)
    rows = tuple(_set_row(one) for one in ran if one.usable)
    empty = tuple(row for sheet in sheets for row in sheet.empty)
    kept, refused = _by_sheet(sheets, usable=True), _by_sheet(sheets, usable=False)
    return _Read(file, rows, empty, kept, tuple(notes), unusable, refused)


def _planned(chosen: Settings) -> Mapping[str, PlannedSet]:
    """Give the sets of the ranch's timetables, where its results usually are; the latest visit's last."""
    zone = chosen.ranch.zone
    below = folders_of(chosen.ranch.name, (Path(), Path(chosen.source).parent))
    return planned_sets((folder / "timetable.csv" for folder in below), zone)


def _by_sheet(sheets: Iterable[FilledSheet], *, usable: bool) -> tuple[tuple[str, tuple[ToldRow, ...]], ...]:
    """Give the doubts of the rows that are kept, or of the others."""
    found = []
    for sheet in sheets:
        kept = {one.row for one in sheet.rows if one.usable}
        found.append((sheet.where, tuple(told for told in sheet.doubts if (told.row in kept) == usable)))
    return tuple((where, doubts) for where, doubts in found if doubts)


def _set_row(one: SetThatRan) -> ArrivingRow:
    """Give a set that ran its key: the phone's, else valve and plan, else valve and when it ran."""
    says = {name: _utc(value) for name, value in one.says.items()}
    valve = str(says["valve"] or says["code"] or "").casefold()
    if one.entry_id is not None:
        key = f"id:{one.entry_id}"
    elif says["planned_start"] is not None:
        key = f"set:{valve}|{says['planned_start']:%Y-%m-%dT%H:%M}"
    else:
        key = f"ran:{valve}|{says['start'] or says['end'] or says['note'] or says['trouble']}"
    return ArrivingRow(key, one.row, says, one.version, one.withdrawn)


def _utc(value: Any) -> Any:
    """Give times in UTC, without a zone; anything else as it is."""
    if isinstance(value, pd.Timestamp):
        return value.tz_convert("UTC").tz_localize(None).to_pydatetime()
    return value


def _read_readings(source: InputSource, file: SourceFile, chosen: Settings, ranch: _Outlines) -> _Read:
    notes = NoteList()
    typed = _typed_rounds(source, chosen)
    if typed is not None:
        return _read_typed(typed, file, chosen, ranch)
    frame = notes.keep(read_readings(source, chosen))
    entries = reading_entries(source, chosen.columns)
    rows = tuple(_reading_rows(frame, entries))
    doubts = tuple(_doubtful(frame, chosen, ranch))
    told = tuple(note for note in notes if note.code != "export_as_file")
    return _Read(file, rows, (), doubts, told)


def _typed_rounds(source: InputSource, chosen: Settings) -> Noted[tuple[TypedRound, ...]] | None:
    """Read a measuring round that was typed in; None where the file is another one."""
    head = source.head().removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith((SQLITE, b"{", b"<")) or not may_be_typed_round(_begun(source), chosen):
        return None
    rounds = rounds_of(chosen.ranch.name, (Path(), Path(chosen.source).parent))
    stops = planned_stops((day, folder / "round.csv") for day, folder in rounds)
    day = None if source.path is None else day_of_folder(source.path.resolve().parent)
    return read_typed_rounds(source, chosen, stops, day)


def _read_typed(
    typed: Noted[tuple[TypedRound, ...]], file: SourceFile, chosen: Settings, ranch: _Outlines
) -> _Read:
    notes = NoteList()
    sheets = notes.keep(typed)
    plain = chosen.model_copy(update={"columns": {}})  # the headings are ours by now
    rows: list[ArrivingRow] = []
    doubts = [(sheet.where, sheet.doubts) for sheet in sheets if sheet.doubts]
    for sheet in sheets:
        if sheet.source is not None:
            frame = notes.keep(read_readings(sheet.source, plain))
            rows += _reading_rows(frame, reading_entries(sheet.source, plain.columns))
            doubts += [(sheet.where, far)] if (far := sheet.far(frame)) else []
            doubts += _doubtful(frame, chosen, ranch)
    refused = tuple((sheet.where, sheet.refused) for sheet in sheets if sheet.refused)
    unusable = tuple(dict.fromkeys(told.row for _, rows_told in refused for told in rows_told))
    if unusable:
        file = _in_part(file)
    told = tuple(note for note in notes if note.code != "export_as_file")
    empty = tuple(row for sheet in sheets for row in sheet.empty)
    return _Read(file, tuple(rows), empty, tuple(doubts), told, unusable, refused)


def _in_part(file: SourceFile) -> SourceFile:
    """Let a file be read again once more is known of its codes."""
    return replace(file, sha256=hashlib.sha256(f"{file.sha256} in part".encode()).hexdigest())


def _reading_rows(frame: pd.DataFrame, entries: pd.DataFrame | None) -> Iterator[ArrivingRow]:
    """Give readings their keys: the phone's, else tree, minute and hand, and how often that came."""
    seen: Counter[str] = Counter()
    table = frame[list(CONTENT)].astype(object)
    table["time"] = frame["time"].dt.tz_convert("UTC").dt.tz_localize(None).dt.to_pydatetime().astype(object)
    table = table.where(table.notna(), None)
    told: Iterable[Mapping[Any, Any]] = repeat(NO_ENTRY) if entries is None else entries.to_dict("records")
    says = (dict(zip(CONTENT, row, strict=True)) for row in table.itertuples(index=False, name=None))
    for row, content, beside in zip(frame["row"].tolist(), says, told, strict=False):
        content |= {"trouble": beside["trouble"], "stop": beside["stop"]}
        if beside["reading_id"] is not None:
            key = f"id:{beside['reading_id']}"
        else:
            plain = _key_of(content)
            seen[plain] += 1
            key = plain if seen[plain] == 1 else f"{plain}|{seen[plain]}"
        yield ArrivingRow(key, int(row), content, beside["version"], bool(beside["withdrawn"]))


def _key_of(content: dict[str, Any]) -> str:
    """Give the key of a reading that has no id: what of it a correction seldom touches."""
    tree, moment = content["tree_id"], content["time"]
    place = (content["lon"], content["lat"]) if tree is None else tree
    if moment is None:
        return f"row:{ArrivingRow('', 0, content).digest}"
    hand = (content[name] for name in ("leaf", "chamber", "crew"))
    return "|".join(map(str, (place, moment.isoformat(timespec="minutes"), *hand)))


def _doubtful(
    frame: pd.DataFrame, chosen: Settings, ranch: _Outlines
) -> Iterator[tuple[str, tuple[ToldRow, ...]]]:
    """Check readings as ``check`` does, and give what is flagged, file by file."""
    from stressmap.quality.checks import assess

    blocks, valves = ranch()
    days = frame["time"].dropna().dt.date
    visit = (days.min(), days.max()) if len(days) else (dt.date.min, dt.date.max)
    checked = assess(frame, blocks, valves, chosen, visit, blocks.crs).value
    for file, mine in checked.groupby("file", sort=False):
        told = tuple(
            ToldRow(int(row), code)
            for row, codes in zip(mine["row"], mine["flags"], strict=True)
            for code in codes
            if code not in NO_FAULT
        )
        if told:
            yield str(file), told
