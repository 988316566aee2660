"""What ``record`` prints: how much of each kind is in use, the files it came with, where it was written."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from stressmap.core.settings import Settings
from stressmap.core.text import one_line
from stressmap.output.text.record_words import RecordWords
from stressmap.output.text.words import Words
from stressmap.store.ranch_record import HeldRecord
from stressmap.store.record_tables import KINDS, Kind

MOST_FILES = 20
"""So many files are listed, the last ones."""


def record_lines(
    held: HeldRecord, chosen: Settings, out: Path | None = None, names: Sequence[str] = ()
) -> Iterator[str]:
    """Say what a record holds.

    Parameters
    ----------
    held : HeldRecord
        All of it.
    chosen : Settings
        Of the ranch: language, time zone, and where the record is.
    out : Path, optional
        Where it was written.
    names : sequence of str
        The files there.

    Yields
    ------
    str
        A line.
    """
    ranch = chosen.ranch
    words, say = Words(ranch.languages[0], ranch.units), RecordWords(ranch.languages[0])
    yield say("add.record", file=chosen.record)
    if not held.imports:
        yield say("held.nothing")
    for kind in KINDS:
        if held.rows.get(kind):
            yield say(f"held.{kind}", **_counted(held, kind))
    rows = Counter(row["import_id"] for kind in KINDS for row in held.rows.get(kind, ()))
    for file in held.imports[-MOST_FILES:]:
        day = file["added_at"].replace(tzinfo=dt.UTC).astimezone(ranch.zone)
        told = {"date": words.date(day), "file": one_line(file["name"], most=80), "count": rows[file["id"]]}
        yield "  " + say("held.file", **told)
    if out is not None:
        yield say("held.written", folder=out, names=", ".join(names))


def _counted(held: HeldRecord, kind: Kind) -> dict[str, int]:
    """Count the rows in use, the earlier versions, and those whose last version takes them back."""
    rows = held.rows[kind]
    last = {row["key"]: row for row in sorted(rows, key=lambda row: row["version"])}
    gone = sum(bool(row["withdrawn"]) for row in last.values())
    return {"latest": len(last) - gone, "corrected": len(rows) - len(last), "withdrawn": gone}
