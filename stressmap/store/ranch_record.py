"""The record of one ranch: files are added to it, each once, and its latest rows are read from it."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from stressmap.core.record_place import RecordPlace
from stressmap.store.many_rows import insert
from stressmap.store.record_database import RecordDatabase
from stressmap.store.record_tables import BESIDE, IMPORTS, KINDS, TABLES, Kind, content_of, latest
from stressmap.store.row_versions import ArrivingRow, Outcome, decide

FEW = 2000
"""For so many rows the versions of each are asked for; for more those of all."""
AT_ONCE = 500


@dataclass(frozen=True)
class AddedFile:
    """What became of the rows of a file that was added.

    Parameters
    ----------
    rows : mapping of str to tuple of int
        Outcome to the rows of the file.
    withdrawn : tuple of int
        Those of the rows newly kept that take back what came before.
    """

    rows: Mapping[Outcome, tuple[int, ...]] = field(default_factory=dict)
    withdrawn: tuple[int, ...] = ()

    def count(self, *outcomes: Outcome) -> int:
        """Count the rows of some outcomes."""
        return sum(len(self.rows.get(one, ())) for one in outcomes)


@dataclass(frozen=True)
class SourceFile:
    """A file that is added.

    Parameters
    ----------
    name : str
        As it was named.
    sha256 : str
        Of its bytes.
    kind : str
        What its rows are.
    """

    name: str
    sha256: str
    kind: Kind


@dataclass(frozen=True)
class HeldRecord:
    """Everything that a record holds of a ranch.

    Parameters
    ----------
    imports : sequence of dict
        A row a file that was added, as :data:`stressmap.store.record_tables.IMPORTS`.
    rows : mapping of str to sequence of dict
        By kind, every version of every row, as :data:`stressmap.store.record_tables.TABLES`.
    """

    imports: Sequence[dict[str, Any]] = ()
    rows: Mapping[Kind, Sequence[dict[str, Any]]] = field(default_factory=dict)


class RanchRecord:
    """The rows of one ranch in a record that may hold several ranches.

    Parameters
    ----------
    place : RecordPlace
        Where the record is.
    ranch : str
        Name of the ranch.
    """

    def __init__(self, place: RecordPlace, ranch: str) -> None:
        self._database = RecordDatabase(place)
        self._ranch = ranch

    def earlier(self, sha256: str) -> dt.datetime | None:
        """Tell when a file was added.

        Parameters
        ----------
        sha256 : str
            Of its bytes.

        Returns
        -------
        datetime or None
            UTC, without a zone; None if it was not.

        Raises
        ------
        DataError
            If the record cannot be read.
        """
        mine = (IMPORTS.c.ranch == self._ranch) & (IMPORTS.c.sha256 == sha256)
        with self._database.reading() as connection:
            if connection is None:
                return None
            return connection.execute(sa.select(sa.func.min(IMPORTS.c.added_at)).where(mine)).scalar()

    def add(
        self, file: SourceFile, rows: Sequence[ArrivingRow], now: dt.datetime, *, dry: bool = False
    ) -> AddedFile:
        """Add the rows of a file, all of them or none: one transaction.

        Parameters
        ----------
        file : SourceFile
            Where they stand.
        rows : sequence of ArrivingRow
            In their order.
        now : datetime
            UTC, without a zone.
        dry : bool
            Whether to undo it at the end.

        Returns
        -------
        AddedFile

        Raises
        ------
        SettingsError
            If the driver of the record's database is not installed.
        DataError
            If the place is no record of this program, or one of a newer version.
        OutputError
            If it cannot be written.
        """
        with self._database.writing(self._ranch, dry=dry) as connection:
            return self._add(connection, file, rows, now)

    def _add(
        self, connection: sa.Connection, file: SourceFile, rows: Sequence[ArrivingRow], now: dt.datetime
    ) -> AddedFile:
        known = self._known(connection, file.kind, [row.key for row in rows])
        found: dict[Outcome, list[int]] = {}
        kept, withdrawn = [], []
        names = content_of(file.kind)
        number = self._import(connection, file, now)
        for row in rows:
            versions = known.setdefault(row.key, {})
            decided = decide(row, versions)
            found.setdefault(decided.outcome, []).append(row.source_row)
            if decided.version is None:
                continue
            versions[decided.version] = row.digest
            withdrawn += [row.source_row] if row.withdrawn else []
            beside = self._ranch, row.key, decided.version, row.digest, row.withdrawn, number, row.source_row
            kept.append((*beside, *map(row.values.get, names)))
        if kept:
            insert(connection, TABLES[file.kind], (*BESIDE[1:], *names), kept)
        return AddedFile({name: tuple(at) for name, at in found.items()}, tuple(withdrawn))

    def _import(self, connection: sa.Connection, file: SourceFile, now: dt.datetime) -> int:
        mine = (IMPORTS.c.ranch == self._ranch) & (IMPORTS.c.sha256 == file.sha256)
        there = connection.execute(sa.select(IMPORTS.c.id).where(mine & (IMPORTS.c.kind == file.kind)))
        number = there.scalar()
        if number is None:
            by = sa.func.session_user() if connection.dialect.name == "postgresql" else None
            told_of = {"sha256": file.sha256, "kind": file.kind, "name": file.name, "added_by": by}
            adding = IMPORTS.insert().values(ranch=self._ranch, added_at=now, **told_of)
            number = connection.execute(adding.returning(IMPORTS.c.id)).scalar_one()
        return int(number)

    def _known(self, connection: sa.Connection, kind: Kind, keys: list[str]) -> dict[str, dict[int, str]]:
        """Give the fingerprints of all versions of some rows."""
        table = TABLES[kind]
        asked = sa.select(table.c.key, table.c.version, table.c.digest).where(table.c.ranch == self._ranch)
        parts: list[sa.Select[Any]] = [asked]
        if len(keys) <= FEW:
            each = list(dict.fromkeys(keys))
            pieces = (each[at : at + AT_ONCE] for at in range(0, len(each), AT_ONCE))
            parts = [asked.where(table.c.key.in_(piece)) for piece in pieces]
        known: dict[str, dict[int, str]] = {}
        for part in parts:
            for key, version, digest in connection.execute(part):
                known.setdefault(key, {})[version] = digest
        return known

    def rows(self, kind: Kind) -> list[dict[str, Any]]:
        """Give the latest version of every row that was not withdrawn.

        Parameters
        ----------
        kind : str
            ``"readings"`` or ``"valve_times"``.

        Returns
        -------
        list of dict
            By the row's number in the record, ``id``; times are UTC, without a zone. ``file`` names the file
            that it came with.

        Raises
        ------
        DataError
            If the record cannot be read.
        """
        with self._database.reading() as connection:
            if connection is None:
                return []
            chosen = latest(kind)
            mine = chosen.where(chosen.selected_columns.ranch == self._ranch)
            named = sa.select(IMPORTS.c.id, IMPORTS.c.name).where(IMPORTS.c.ranch == self._ranch)
            files = {one.id: one.name for one in connection.execute(named)}
            rows = connection.execute(mine).mappings()
            return [{**row, "file": files[row["import_id"]]} for row in rows]

    def held(self) -> HeldRecord:
        """Give everything that it holds of the ranch, of one moment: every version, and what was withdrawn.

        Returns
        -------
        HeldRecord

        Raises
        ------
        DataError
            If the record cannot be read.
        """
        with self._database.reading() as connection:
            if connection is None:
                return HeldRecord()
            there = {column["name"] for column in sa.inspect(connection).get_columns(IMPORTS.name)}
            known = [
                column for column in IMPORTS.columns if column.name in there
            ]  # an older record lacks one
            imports = sa.select(*known).where(IMPORTS.c.ranch == self._ranch).order_by(IMPORTS.c.id)
            rows: dict[Kind, list[dict[str, Any]]] = {}
            for kind, table in TABLES.items():
                asked = sa.select(table).where(table.c.ranch == self._ranch).order_by(table.c.id)
                rows[kind] = [dict(row) for row in connection.execute(asked).mappings()]
            return HeldRecord([dict(row) for row in connection.execute(imports).mappings()], rows)

    def other_ranches(self) -> tuple[str, ...]:
        """Name the ranches that the record holds files of, this one apart.

        Returns
        -------
        tuple of str

        Raises
        ------
        DataError
            If the record cannot be read.
        """
        with self._database.reading() as connection:
            if connection is None:
                return ()
            asked = sa.select(IMPORTS.c.ranch).where(IMPORTS.c.ranch != self._ranch).distinct()
            return tuple(sorted(connection.execute(asked).scalars()))


def fingerprint(rows: Mapping[Kind, Sequence[Mapping[str, Any]]]) -> str:
    """Take a fingerprint of what was read of a record: its bytes differ with every writing.

    Parameters
    ----------
    rows : mapping of str to sequence of mapping
        From :meth:`RanchRecord.rows`, by kind.

    Returns
    -------
    str
        SHA-256.
    """
    told_of = hashlib.sha256()
    for kind in KINDS:
        for row in rows.get(kind, ()):
            told_of.update(f"{kind} {row['id']} {row['digest']}\n".encode())
    return told_of.hexdigest()
