"""The tables of the record, and the views of its latest rows, in SQLite and PostgreSQL alike.

Tables are only ever added to. ``latest_readings`` and ``latest_valve_times`` show the last version of every
row that was not withdrawn. How to change a table stands in :mod:`stressmap.store.record_schema`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Literal

import sqlalchemy as sa

Kind = Literal["readings", "valve_times"]
KINDS: tuple[Kind, ...] = ("readings", "valve_times")
VERSION = 2
"""Of the tables as they stand here."""

METADATA = sa.MetaData()


def _text(*names: str) -> list[sa.Column[Any]]:
    return [sa.Column(name, sa.Text) for name in names]


def _numbers(*names: str) -> list[sa.Column[Any]]:
    return [sa.Column(name, sa.Float(53)) for name in names]


def _moments(*names: str) -> list[sa.Column[Any]]:
    """Give columns of times in UTC, without a zone: the same in every database."""
    return [sa.Column(name, sa.DateTime) for name in names]


RECORD = sa.Table("stressmap_record", METADATA, sa.Column("version", sa.Integer, nullable=False))
IMPORTS = sa.Table(
    "imports",
    METADATA,
    sa.Column("id", sa.Integer, sa.Identity(), primary_key=True),
    sa.Column("ranch", sa.Text, nullable=False),
    sa.Column("sha256", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("added_at", sa.DateTime, nullable=False),
    sa.Column("added_by", sa.Text),
    sa.UniqueConstraint("ranch", "sha256", "kind"),
    sa.Index("imports_of_ranch", "ranch", "id", unique=True),
)
"""A row a file that was added; ``added_by`` is the role of the database, where it has any."""


def _kept(name: Kind, *content: sa.Column[Any]) -> sa.Table:
    return sa.Table(
        name,
        METADATA,
        sa.Column("id", sa.Integer, sa.Identity(), primary_key=True),
        sa.Column("ranch", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("digest", sa.Text, nullable=False),
        sa.Column("withdrawn", sa.Boolean, nullable=False),
        sa.Column("import_id", sa.Integer, nullable=False),
        sa.Column("source_row", sa.Integer, nullable=False),
        *content,
        sa.UniqueConstraint("ranch", "key", "version"),
        sa.ForeignKeyConstraint(
            ["ranch", "import_id"], ["imports.ranch", "imports.id"], name=f"{name}_of_import"
        ),
    )


READINGS = _kept(
    "readings",
    *_text("tree_id"),
    *_moments("time"),
    *_numbers("lon", "lat", "pressure_bar", "recheck_bar"),
    *_text("unit"),
    *_numbers("bag_minutes"),
    *_text("block", "valve"),
    *_numbers("temp_c", "rh_pct", "gps_accuracy_m"),
    *_text("chamber", "crew", "leaf", "note", "trouble", "stop"),
)
"""Readings as :data:`stressmap.core.schemas.READINGS` has them, with what was wrong and the round's stop."""
VALVE_TIMES = _kept(
    "valve_times",
    *_text("code", "valve", "block"),
    *_moments("planned_start", "planned_end", "start", "end"),
    *_text("trouble", "note"),
)
"""What was really opened and closed."""
TABLES: Mapping[Kind, sa.Table] = MappingProxyType({"readings": READINGS, "valve_times": VALVE_TIMES})
BESIDE = ("id", "ranch", "key", "version", "digest", "withdrawn", "import_id", "source_row")
"""Columns of both that are no content."""


def content_of(kind: Kind) -> tuple[str, ...]:
    """Name the columns that hold what a row says.

    Parameters
    ----------
    kind : str
        One of :data:`KINDS`.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> content_of("valve_times")[:3]
    ('code', 'valve', 'block')
    """
    return tuple(column.name for column in TABLES[kind].columns if column.name not in BESIDE)


def latest(kind: Kind) -> sa.Select[tuple[object, ...]]:
    """Select from a view of the latest versions.

    Parameters
    ----------
    kind : str
        One of :data:`KINDS`.

    Returns
    -------
    Select
        All its columns, by ``id``.
    """
    view = sa.table(f"latest_{kind}", *(sa.column(c.name, c.type) for c in TABLES[kind].columns))
    return sa.select(view).order_by(view.c.id)


def drop_views(connection: sa.Connection) -> None:
    """Take the views away.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    """
    for kind in KINDS:
        connection.execute(sa.text(f"DROP VIEW IF EXISTS latest_{kind}"))


def make_views(connection: sa.Connection) -> None:
    """Make the views of the latest versions; on PostgreSQL they show whoever asks only what he may see.

    Parameters
    ----------
    connection : Connection
        In a transaction, with the tables made.
    """
    options = "WITH (security_invoker = true) " if connection.dialect.name == "postgresql" else ""
    for kind in KINDS:
        connection.execute(
            sa.text(
                f"CREATE VIEW latest_{kind} {options}AS SELECT mine.* FROM {kind} mine "
                f"WHERE NOT mine.withdrawn AND NOT EXISTS (SELECT 1 FROM {kind} later "
                "WHERE later.ranch = mine.ranch AND later.key = mine.key AND later.version > mine.version)"
            )
        )
