"""A record in an SQLite file: opened so that nothing is lost at a crash and writers wait for each other."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from stressmap.core.errors import DataError, OutputError, Problem
from stressmap.core.text import first_line

WAIT_S = 60.0
"""So long a writer waits for another."""


def engine_of(place: Path | None, *, writing: bool) -> sa.Engine:
    """Open a record.

    Parameters
    ----------
    place : Path or None
        The file; None for one in memory, of which nothing stays.
    writing : bool
        Whether it is to be written; each transaction then begins with the lock (``BEGIN IMMEDIATE``), so that
        what was looked up still holds when it is written.

    Returns
    -------
    Engine
        With a write-ahead log, flushed to the disk at every commit.
    """

    def connect() -> sqlite3.Connection:
        if place is None:
            return sqlite3.connect(":memory:", isolation_level=None)
        return _connected(place, writing=writing)

    pool = sa.StaticPool if place is None else sa.NullPool
    engine = sa.create_engine("sqlite://", creator=connect, poolclass=pool)

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


def _connected(place: Path, *, writing: bool) -> sqlite3.Connection:
    if writing:
        made = sqlite3.connect(place, timeout=WAIT_S, isolation_level=None)
        made.execute("PRAGMA foreign_keys = ON")
        made.execute("PRAGMA synchronous = FULL")
        _write_ahead(made)
        return made
    alone = not os.access(place.parent, os.W_OK) and not place.with_name(f"{place.name}-wal").exists()
    # Opened to be read and written, it takes the files of its log away when it is closed.
    flags = "mode=ro&immutable=1" if alone else "mode=rw"
    address = f"{place.absolute().as_uri()}?{flags}"
    made = sqlite3.connect(address, uri=True, timeout=WAIT_S, isolation_level=None)
    made.execute("PRAGMA query_only = ON")
    return made


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Turn the write-ahead log on; that waits for no lock by itself, so it is tried again."""
    until = time.monotonic() + WAIT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.02)
        else:
            return


@contextmanager
def told(place: Path, *, writing: bool) -> Iterator[None]:
    """Turn what the database raises into one line with a remedy.

    Parameters
    ----------
    place : Path
        The file.
    writing : bool
        Whether it is being written.

    Yields
    ------
    None

    Raises
    ------
    DataError
        If the file is no record, or damaged.
    OutputError
        If it cannot be written.
    """
    try:
        yield
    except (sa.exc.DBAPIError, sqlite3.Error) as error:
        raise _problem(place, str(getattr(error, "orig", None) or error), writing=writing) from None


def _problem(place: Path, said: str, *, writing: bool) -> DataError | OutputError:
    if "not a database" in said or "malformed" in said:
        what = "it is no record of this program, or it is damaged"
        return DataError(
            Problem(str(place), what, "Put back a copy, or move it away and add the files again")
        )
    if "locked" in said:
        return OutputError(Problem(str(place), "another program is writing into it", "Try again in a minute"))
    what = f"it cannot be {'written' if writing else 'read'} ({first_line(OSError(said))})"
    if writing:
        return OutputError(
            Problem(str(place), what, "See that its folder can be written and the disk has room")
        )
    return DataError(Problem(str(place), what, "See that it can be read, or put back a copy"))
