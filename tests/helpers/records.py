"""Records of both kinds, asked and told directly, past the program."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from stressmap.core.record_place import RecordPlace


def asked(place: RecordPlace, line: str) -> list[tuple[Any, ...]]:
    """Tell a record's database a line of SQL, and give what it answers."""
    url = place.url if place.file is None else f"sqlite:///{place.file}"
    engine = sa.create_engine(url, poolclass=sa.NullPool)
    if place.file is not None:
        sa.event.listen(engine, "connect", lambda made, _: made.execute("PRAGMA foreign_keys = ON"))
    with engine.begin() as connection:
        answer = connection.execute(sa.text(line))
        return [tuple(row) for row in answer] if answer.returns_rows else []
