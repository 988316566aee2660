"""A record in a database of PostgreSQL: connected, one writer a ranch, errors told without a password."""

from __future__ import annotations

import hashlib
import importlib.util
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sa

from stressmap.core.errors import DataError, OutputError, Problem, SettingsError
from stressmap.core.record_place import RecordPlace
from stressmap.core.text import first_line

WAIT_MS = 60_000
"""So long a writer waits for another of the same ranch."""
CONNECT_S = 10
"""So long a server may take to answer."""
FROM_VERSION = 15
"""Earlier ones have no views that show a role only what it may see."""
LOCKED, NOT_ALLOWED = "55P03", "42501"
"""SQLSTATE lock_not_available and insufficient_privilege (PostgreSQL 15 documentation, appendix A)."""


def server_engine(place: RecordPlace, *, writing: bool) -> sa.Engine:
    """Get ready to connect to a record's database.

    Parameters
    ----------
    place : RecordPlace
        With an address.
    writing : bool
        Whether it is to be written; else the database itself refuses any writing, and all that is asked in
        one transaction is of one moment.

    Returns
    -------
    Engine

    Raises
    ------
    SettingsError
        If the driver is not installed.
    """
    if importlib.util.find_spec("psycopg") is None:
        what = "the driver for PostgreSQL is not installed"
        raise SettingsError(Problem(str(place), what, 'Call pip install "stressmap[postgis]"'))
    options: dict[str, Any] = {} if writing else {"postgresql_readonly": True}
    try:
        return sa.create_engine(
            place.url,
            poolclass=sa.NullPool,
            isolation_level="READ COMMITTED" if writing else "REPEATABLE READ",
            execution_options=options,
            connect_args={
                "connect_timeout": CONNECT_S,
                "application_name": "stressmap",
                "client_encoding": "utf8",
            },
        )
    except ImportError as error:
        what = f"the driver for PostgreSQL cannot be loaded ({first_line(error)})"
        raise SettingsError(Problem(str(place), what, 'Call pip install "psycopg[binary]"')) from None


def refuse_old_server(connection: sa.Connection, place: RecordPlace) -> None:
    """Refuse a server that could not keep ranches apart.

    Parameters
    ----------
    connection : Connection
        To it.
    place : RecordPlace
        For the message.

    Raises
    ------
    DataError
        If it is older than :data:`FROM_VERSION`.
    """
    number = int(connection.execute(sa.text("SHOW server_version_num")).scalar_one())
    if number // 10_000 < FROM_VERSION:
        what = f"its server is PostgreSQL {number // 10_000}, and {FROM_VERSION} or newer is needed"
        raise DataError(Problem(str(place), what, "Let who runs it bring it up to date"))


def lock(connection: sa.Connection, name: str) -> None:
    """Wait until no other transaction holds the lock of a name, and hold it to the end of this one.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    name : str
        Of the ranch, or empty for the tables themselves.
    """
    key = int.from_bytes(hashlib.sha256(f"stressmap record\0{name}".encode()).digest()[:8], signed=True)
    connection.execute(sa.text(f"SET LOCAL lock_timeout = {WAIT_MS}"))
    connection.execute(sa.select(sa.func.pg_advisory_xact_lock(key)))


@contextmanager
def told_by_server(place: RecordPlace, *, writing: bool) -> Iterator[None]:
    """Turn what the server raises into one line with a remedy.

    Parameters
    ----------
    place : RecordPlace
        Where the record is.
    writing : bool
        Whether it is being written.

    Yields
    ------
    None

    Raises
    ------
    DataError
        If it cannot be read.
    OutputError
        If it cannot be written.
    """
    try:
        yield
    except sa.exc.DBAPIError as error:
        raise _problem(place, error, writing=writing) from None


def _problem(place: RecordPlace, error: sa.exc.DBAPIError, *, writing: bool) -> DataError | OutputError:
    kind = OutputError if writing else DataError
    state = getattr(error.orig, "sqlstate", None)
    said = _without_secrets(first_line(error.orig if isinstance(error.orig, Exception) else error), place.url)
    does = "written" if writing else "read"
    if state == LOCKED:
        return kind(Problem(str(place), "another program is writing into it", "Try again in a minute"))
    if state == NOT_ALLOWED:
        what = f"this role may not have it {does} ({said})"
        return kind(Problem(str(place), what, "Let who runs the database open the ranch to it"))
    if (state is None and isinstance(error, sa.exc.OperationalError)) or error.connection_invalidated:
        what = f"its server does not answer, or lets this role not in ({said})"
        return kind(Problem(str(place), what, "See that it runs, and look at user, password and address"))
    return kind(Problem(str(place), f"it cannot be {does} ({said})", "Ask who runs the database"))


def _without_secrets(text: str, url: str) -> str:
    """Take a password out, should a library ever name it."""
    address = sa.make_url(url)
    named = [address.password, *(v for k, v in address.query.items() if "pass" in k)]
    for secret in named:
        text = text.replace(str(secret), "***") if secret else text
    return text
