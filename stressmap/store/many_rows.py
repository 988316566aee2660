"""Many rows at once into a table, past SQLAlchemy's work on each, which takes as long as the database's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import sqlalchemy as sa

AT_ONCE = 5000
"""Rows a statement on a server takes."""
Row = tuple[Any, ...]


def insert(connection: sa.Connection, table: sa.Table, names: Sequence[str], rows: Sequence[Row]) -> None:
    """Put rows into a table, in the transaction that is open.

    Parameters
    ----------
    connection : Connection
        To SQLite or PostgreSQL.
    table : Table
        That takes them.
    names : sequence of str
        Of the columns.
    rows : sequence of tuple
        Values in the order of ``names``.
    """
    columns = [table.c[name] for name in names]
    quoted = connection.dialect.identifier_preparer
    into = f"INSERT INTO {quoted.format_table(table)} ({', '.join(map(quoted.format_column, columns))})"
    if connection.dialect.name == "postgresql":
        # Row-level security lets no COPY in, and a statement a row is slow: all values of a column at once.
        types = (column.type.compile(connection.dialect) for column in columns)
        arrays = ", ".join(f"CAST(%s AS {kind}[])" for kind in types)
        for at in range(0, len(rows), AT_ONCE):
            values = tuple(map(list, zip(*rows[at : at + AT_ONCE], strict=True)))
            connection.exec_driver_sql(f"{into} SELECT * FROM unnest({arrays})", values)
        return
    marks = ", ".join("?" for _ in columns)
    connection.exec_driver_sql(f"{into} VALUES ({marks})", _written(connection, columns, rows))


def _written(connection: sa.Connection, columns: Sequence[sa.Column[Any]], rows: Sequence[Row]) -> list[Row]:
    """Write the values of each column as the database keeps them."""
    by_column: list[Sequence[Any]] = list(zip(*rows, strict=True))
    for number, column in enumerate(columns):
        write: Callable[[Any], Any] | None = column.type.dialect_impl(connection.dialect).bind_processor(
            connection.dialect
        )
        if write is not None:
            by_column[number] = [None if value is None else write(value) for value in by_column[number]]
    return list(zip(*by_column, strict=True))
