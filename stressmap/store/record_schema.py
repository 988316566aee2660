"""The version of a record's tables: none yet, older, of today, newer; making them and renewing them.

To add a table or column: change it in :mod:`stressmap.store.record_tables`, raise its ``VERSION``, and put
the step from the version before into :mod:`stressmap.store.record_steps`.
"""

from __future__ import annotations

from collections.abc import Mapping

import sqlalchemy as sa

from stressmap.core.errors import DataError, Problem
from stressmap.store.postgis_tables import close_to_others, make_places, make_postgis
from stressmap.store.record_steps import STEPS, Step, run_step
from stressmap.store.record_tables import METADATA, RECORD, VERSION, drop_views, make_views

ANOTHER = "Move it away, or name another place under [store]"


def version_of(connection: sa.Connection, where: str) -> int | None:
    """Tell which version the tables of a record have.

    Parameters
    ----------
    connection : Connection
        To its database.
    where : str
        The record, for messages.

    Returns
    -------
    int or None
        None where there are none yet.

    Raises
    ------
    DataError
        If there are others, or they are of a newer version than this program knows.
    """
    names = set(sa.inspect(connection).get_table_names())
    ours = names & METADATA.tables.keys() if connection.dialect.name == "postgresql" else names
    if not ours:
        return None
    if RECORD.name not in names:
        raise DataError(Problem(where, "it is a database, but no record of this program", ANOTHER))
    version = int(connection.execute(sa.select(RECORD.c.version)).scalar_one())
    if version > VERSION:
        what = f"it was made by a newer version of this program (its tables have version {version})"
        raise DataError(Problem(where, what, "Install that version"))
    return version


def is_of_today(connection: sa.Connection, where: str) -> bool:
    """Tell whether the tables are there and as they are made today; raises as :func:`version_of` does."""
    return version_of(connection, where) == VERSION


def bring_up(connection: sa.Connection, where: str) -> None:
    """Make the tables, or of older ones those of today, in the transaction that is open: all or nothing.

    Parameters
    ----------
    connection : Connection
        In a transaction that alone may write.
    where : str
        The record, for messages.

    Raises
    ------
    DataError
        If it is no record of this program or of a newer version, or PostGIS is missing.
    """
    version = version_of(connection, where)
    if version is None:
        make(connection, where)
    elif version < VERSION:
        renew(connection, version)


def make(connection: sa.Connection, where: str = "the record") -> None:
    """Make all tables and views of a new record.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    where : str
        The record, for messages.

    Raises
    ------
    DataError
        If it is of PostgreSQL and PostGIS is missing.
    """
    on_server = connection.dialect.name == "postgresql"
    if on_server:
        make_postgis(connection, where)
    METADATA.create_all(connection)
    connection.execute(RECORD.insert().values(version=VERSION))
    if on_server:
        make_places(connection)
        close_to_others(connection)
    make_views(connection)


def renew(
    connection: sa.Connection, version: int, steps: Mapping[int, Step] = STEPS, wanted: int = VERSION
) -> None:
    """Make a record of today of an older one.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    version : int
        That the record has.
    steps : mapping of int to callable
        The step from each version to the next.
    wanted : int
        The version it shall have.
    """
    drop_views(connection)
    for before in range(version, wanted):
        run_step(connection, steps[before])
    connection.execute(RECORD.update().values(version=wanted))
    make_views(connection)
