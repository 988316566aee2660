"""GeoPackages from outside: what is worked out while it is read may have no end, and is refused first."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from stressmap.core.errors import DataError, Problem

MOST_DEFAULT = 100
"""Characters of a column's default, which is told again in every row that was not written since."""
_USUAL_VIEWS = {"st_spatial_ref_sys", "st_geometry_columns"}


def refuse_computed(source: Path | bytes, where: str) -> None:
    """Refuse a GeoPackage with views, virtual tables or computed columns.

    Parameters
    ----------
    source : Path or bytes
        The file, or its content.
    where : str
        File, for messages.

    Raises
    ------
    DataError
        If it has any, or is no sound database.
    """
    try:
        with closing(_open(source)) as opened:
            tables = _tables(opened)
            found = [name for name, kind, sql in tables if _is_computed(name, kind, sql)]
            for name in (name for name, kind, _ in tables if kind == "table" and name not in found):
                columns = opened.execute("SELECT dflt_value, hidden FROM pragma_table_xinfo(?)", (name,))
                if any(hidden > 1 or len(str(default)) > MOST_DEFAULT for default, hidden in columns):
                    found.append(name)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        what = f"it cannot be read as a GeoPackage ({error})"
        raise DataError(Problem(where, what, "Export it again")) from None
    if found:
        what = f"its table {found[0]!r} is a view or has computed columns, which are not read"
        raise DataError(Problem(where, what, "Export the layer again, to a file of its own"))


def _open(source: Path | bytes) -> sqlite3.Connection:
    if isinstance(source, Path):
        return sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)
    held = sqlite3.connect(":memory:")
    held.deserialize(source)
    return held


def _tables(opened: sqlite3.Connection) -> list[tuple[str, str, str]]:
    """List what a database holds: name, kind and how it was made."""
    rows = opened.execute("SELECT name, type, coalesce(sql, '') FROM sqlite_master").fetchall()
    if not all(isinstance(cell, str) for row in rows for cell in row):
        msg = "its list of tables is damaged"
        raise sqlite3.DatabaseError(msg)
    return rows


def _is_computed(name: str, kind: str, sql: str) -> bool:
    if kind == "view":
        return name.lower() not in _USUAL_VIEWS
    made = " ".join(sql.lower().split())
    return made.startswith("create virtual") and " using rtree" not in made
