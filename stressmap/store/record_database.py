"""A record's database, of whichever kind: opened to be read, or to be written by one at a time of a ranch."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import sqlalchemy as sa

from stressmap.core.record_place import RecordPlace
from stressmap.store.postgres_engine import lock, refuse_old_server, server_engine, told_by_server
from stressmap.store.record_schema import bring_up, is_of_today, version_of
from stressmap.store.sqlite_engine import engine_of, told


class RecordDatabase:
    """Opens the record of a place.

    Parameters
    ----------
    place : RecordPlace
        Where it is.
    """

    def __init__(self, place: RecordPlace) -> None:
        self._place = place

    @contextmanager
    def writing(self, ranch: str, *, dry: bool = False) -> Iterator[sa.Connection]:
        """Open it for one transaction of the ranch's only writer, its tables made or brought up to date.

        Parameters
        ----------
        ranch : str
            Name of the ranch.
        dry : bool
            Whether to undo everything at the end.

        Yields
        ------
        Connection

        Raises
        ------
        SettingsError
            If the driver of its kind is not installed.
        DataError
            If it is no record of this program, or one of a newer version.
        OutputError
            If it cannot be written.
        """
        with self._begun(writing=True, dry=dry) as connection:
            if self._place.file is None:
                lock(connection, ranch)
            if not is_of_today(connection, str(self._place)):
                if self._place.file is None:
                    lock(connection, "")  # two ranches may bring the same tables up to date
                bring_up(connection, str(self._place))
            yield connection
            if dry:
                connection.rollback()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection | None]:
        """Open it to read one moment of it; nothing is written, not even by bringing it up to date.

        Yields
        ------
        Connection or None
            None where there is nothing in it yet.

        Raises
        ------
        SettingsError
            If the driver of its kind is not installed.
        DataError
            If it is no record of this program, one of a newer version, or cannot be read.
        """
        if not self._place.may_exist():
            yield None
            return
        with self._begun(writing=False) as connection:
            yield None if version_of(connection, str(self._place)) is None else connection

    @contextmanager
    def _begun(self, *, writing: bool, dry: bool = False) -> Iterator[sa.Connection]:
        file = self._place.file
        if file is None:
            engine = server_engine(self._place, writing=writing)
            saying = told_by_server(self._place, writing=writing)
        else:
            engine = engine_of(None if dry and not file.exists() else file, writing=writing)
            saying = told(file, writing=writing)
        try:
            with saying, engine.connect() as connection, connection.begin():
                if file is None:
                    refuse_old_server(connection, self._place)
                yield connection
        finally:
            engine.dispose()
