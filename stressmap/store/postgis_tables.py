"""What a record in PostgreSQL has besides: places as geometries, and each ranch shown to its own roles only.

Row-level security lets a role see and add the rows of the ranches that ``ranch_members`` names beside it, or
beside a role that it belongs to. Who owns the tables, and a superuser, sees all: they run the record.
"""

from __future__ import annotations

import sqlalchemy as sa

from stressmap.core.errors import DataError, Problem

KEPT = ("imports", "readings", "valve_times")
PLACES = (
    "ALTER TABLE readings ADD COLUMN geom geometry(Point, 4326) GENERATED ALWAYS AS (CASE WHEN lon "
    "BETWEEN -180 AND 180 AND lat BETWEEN -90 AND 90 THEN ST_SetSRID(ST_MakePoint(lon, lat), 4326) END) "
    "STORED",
    "CREATE INDEX readings_geom ON readings USING gist (geom)",
)
MEMBERS = (
    "CREATE TABLE ranch_members (ranch text NOT NULL, role text NOT NULL, PRIMARY KEY (ranch, role))",
    "ALTER TABLE ranch_members ENABLE ROW LEVEL SECURITY",
    "CREATE POLICY own_ranches ON ranch_members FOR SELECT USING (role IN "
    "(SELECT rolname FROM pg_catalog.pg_roles WHERE pg_catalog.pg_has_role(oid, 'USAGE')))",
)


def make_postgis(connection: sa.Connection, where: str) -> None:
    """Switch PostGIS on in the database.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    where : str
        The record, for messages.

    Raises
    ------
    DataError
        If it is not installed, or this role may not.
    """
    there = sa.text("SELECT 1 FROM pg_catalog.pg_extension WHERE extname = 'postgis'")
    if connection.execute(there).scalar():
        return
    try:
        connection.execute(sa.text("CREATE EXTENSION postgis"))
    except sa.exc.DBAPIError:
        what = "PostGIS is not switched on in this database"
        remedy = (
            "Let who runs it install PostGIS on the server and call CREATE EXTENSION postgis in the database"
        )
        raise DataError(Problem(where, what, remedy)) from None


def make_places(connection: sa.Connection) -> None:
    """Put the place of a reading beside its longitude and latitude, made by the database, with an index.

    Parameters
    ----------
    connection : Connection
        In a transaction, with the tables made.
    """
    for line in PLACES:
        connection.execute(sa.text(line))


def close_to_others(connection: sa.Connection) -> None:
    """Show every role the rows of its own ranches alone.

    Parameters
    ----------
    connection : Connection
        In a transaction, with the tables made.
    """
    for line in MEMBERS:
        connection.execute(sa.text(line))
    mine = "ranch IN (SELECT ranch FROM ranch_members)"
    for name in KEPT:
        told = f"{mine} AND added_by = session_user" if name == "imports" else mine
        policy = f"CREATE POLICY own_ranches ON {name} USING ({mine}) WITH CHECK ({told})"
        connection.execute(sa.text(f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY"))
        connection.execute(sa.text(policy))
