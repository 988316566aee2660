"""The record in a file: one file one transaction, nothing lost or twice; what is no record is refused."""

from __future__ import annotations

import datetime as dt
import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa

from stressmap.core.errors import DataError, OutputError
from stressmap.store import record_tables
from stressmap.store.ranch_record import RanchRecord, SourceFile, fingerprint
from stressmap.store.row_versions import ArrivingRow
from stressmap.store.sqlite_engine import engine_of

NOW = dt.datetime(2026, 7, 15, 3, 0)
OPENED = dt.datetime(2026, 7, 17, 3, 5)


def source(name: str, kind: record_tables.Kind = "readings") -> SourceFile:
    return SourceFile(name, f"sha of {name}", kind)


def reading(key: str, bar: float, row: int = 2, **more: object) -> ArrivingRow:
    return ArrivingRow(key, row, {"tree_id": key, "time": NOW, "pressure_bar": bar}, **more)  # type: ignore[arg-type]


@pytest.fixture
def record(tmp_path: Path) -> RanchRecord:
    return RanchRecord(tmp_path / "ranch.sqlite", "Two Sheds")


def test_rows_come_back_with_where_they_came_from(record: RanchRecord, tmp_path: Path) -> None:
    added = record.add(source("a.csv"), [reading("T1", 12.5), reading("T2", 13.0, 3)], NOW)
    assert added.rows == {"new": (2, 3)}
    rows = record.rows("readings")
    assert [(r["tree_id"], r["pressure_bar"], r["time"], r["source_row"]) for r in rows] == [
        ("T1", 12.5, NOW, 2), ("T2", 13.0, NOW, 3),
    ]  # fmt: skip
    with sqlite3.connect(tmp_path / "ranch.sqlite") as plain:
        names = plain.execute("SELECT name FROM imports WHERE id = ?", (rows[0]["import_id"],)).fetchall()
        mode = plain.execute("PRAGMA journal_mode").fetchone()
    plain.close()
    assert (names, mode) == ([("a.csv",)], ("wal",))


def test_a_correction_shows_and_the_earlier_version_stays(record: RanchRecord, tmp_path: Path) -> None:
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    added = record.add(source("b.csv"), [reading("T1", 12.0), reading("T2", 9.0, 3)], NOW)
    assert added.rows == {"corrected": (2,), "new": (3,)}
    assert [r["pressure_bar"] for r in record.rows("readings")] == [12.0, 9.0]
    with sqlite3.connect(tmp_path / "ranch.sqlite") as plain:
        every = plain.execute("SELECT version, pressure_bar FROM readings WHERE key = 'T1'").fetchall()
    plain.close()
    assert every == [(1, 12.5), (2, 12.0)]


def test_what_was_withdrawn_does_not_show(record: RanchRecord) -> None:
    record.add(source("a.csv"), [reading("T1", 12.5, version=1)], NOW)
    added = record.add(source("b.csv"), [reading("T1", 12.5, version=2, withdrawn=True)], NOW)
    assert (added.rows, added.withdrawn) == ({"corrected": (2,)}, (2,))
    assert record.rows("readings") == []


def test_the_same_file_again_adds_nothing(record: RanchRecord) -> None:
    assert record.earlier("sha of a.csv") is None
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    again = record.add(source("a.csv"), [reading("T1", 12.5)], NOW + dt.timedelta(days=1))
    assert again.rows == {"present": (2,)}
    assert record.earlier("sha of a.csv") == NOW
    assert len(record.rows("readings")) == 1


def test_ranches_in_one_record_do_not_see_each_other(record: RanchRecord, tmp_path: Path) -> None:
    other = RanchRecord(tmp_path / "ranch.sqlite", "Another")
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    assert other.rows("readings") == []
    assert other.earlier("sha of a.csv") is None
    assert other.add(source("a.csv"), [reading("T1", 8.0)], NOW).rows == {"new": (2,)}
    assert [r["pressure_bar"] for r in record.rows("readings")] == [12.5]
    assert other.other_ranches() == ("Two Sheds",)


def test_many_rows_are_known_again_too(record: RanchRecord) -> None:
    rows = [reading(f"T{n}", n / 10, n) for n in range(2, 2600)]
    assert record.add(source("a.csv"), rows, NOW).count("new") == 2598
    assert record.add(source("b.csv"), rows, NOW).count("present") == 2598
    assert len(record.rows("readings")) == 2598


def test_trying_writes_nothing(record: RanchRecord, tmp_path: Path) -> None:
    assert record.add(source("a.csv"), [reading("T1", 12.5)], NOW, dry=True).rows == {"new": (2,)}
    assert list(tmp_path.iterdir()) == []
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    assert record.add(source("b.csv"), [reading("T1", 9.0)], NOW, dry=True).rows == {"corrected": (2,)}
    assert [r["pressure_bar"] for r in record.rows("readings")] == [12.5]
    assert [p.name for p in tmp_path.iterdir()] == ["ranch.sqlite"]


def test_an_error_in_the_midst_leaves_all_as_it_was(record: RanchRecord) -> None:
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    bad = ArrivingRow("T3", 4, {"tree_id": "T3", "time": "no time"})
    with pytest.raises((sa.exc.StatementError, TypeError)):
        record.add(source("b.csv"), [reading("T2", 9.0), bad], NOW)
    assert [r["tree_id"] for r in record.rows("readings")] == ["T1"]
    assert record.earlier("sha of b.csv") is None


def test_what_is_no_record_is_refused(record: RanchRecord, tmp_path: Path) -> None:
    place = tmp_path / "ranch.sqlite"
    place.write_bytes(b"This is a text, and it is long enough to be looked at." * 20)
    for call in (lambda: record.rows("readings"), lambda: record.add(source("a.csv"), [], NOW)):
        with pytest.raises(DataError, match="it is no record of this program, or it is damaged"):
            call()
    assert place.read_bytes().startswith(b"This is a text")
    place.unlink()
    with sqlite3.connect(place) as plain:
        plain.execute("CREATE TABLE mine (a)")
    plain.close()
    with pytest.raises(DataError, match="it is a database, but no record of this program"):
        record.add(source("a.csv"), [], NOW)


def test_a_record_of_a_newer_version_is_refused(record: RanchRecord, tmp_path: Path) -> None:
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    with sqlite3.connect(tmp_path / "ranch.sqlite") as plain:
        plain.execute("UPDATE stressmap_record SET version = 99")
    plain.close()
    with pytest.raises(DataError, match=r"newer version of this program \(its tables have version 99\)"):
        record.rows("readings")


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    record = RanchRecord(tmp_path / "nowhere" / "ranch.sqlite", "Two Sheds")
    with pytest.raises(OutputError, match=r"it cannot be written \(unable to open database file"):
        record.add(source("a.csv"), [], NOW)


def test_an_empty_file_is_an_empty_record(record: RanchRecord, tmp_path: Path) -> None:
    """What a kill before the first commit leaves."""
    (tmp_path / "ranch.sqlite").touch()
    assert record.rows("readings") == []
    assert record.add(source("a.csv"), [reading("T1", 12.5)], NOW).count("new") == 1


FIRST = """
CREATE TABLE stressmap_record (version INTEGER NOT NULL);
INSERT INTO stressmap_record VALUES (1);
CREATE TABLE imports (id INTEGER PRIMARY KEY, ranch TEXT NOT NULL, sha256 TEXT NOT NULL,
  kind TEXT NOT NULL, name TEXT NOT NULL, added_at DATETIME NOT NULL, UNIQUE (ranch, sha256, kind));
INSERT INTO imports VALUES (1, 'Two Sheds', 'abc', 'readings', 'a.csv', '2026-07-15 03:00:00.000000');
CREATE TABLE readings (id INTEGER PRIMARY KEY, ranch TEXT NOT NULL, key TEXT NOT NULL,
  version INTEGER NOT NULL, digest TEXT NOT NULL, withdrawn BOOLEAN NOT NULL,
  import_id INTEGER NOT NULL REFERENCES imports (id), source_row INTEGER NOT NULL,
  tree_id TEXT, time DATETIME, lon FLOAT, lat FLOAT, pressure_bar FLOAT, recheck_bar FLOAT, unit TEXT,
  bag_minutes FLOAT, block TEXT, valve TEXT, temp_c FLOAT, rh_pct FLOAT, gps_accuracy_m FLOAT,
  chamber TEXT, crew TEXT, leaf TEXT, note TEXT, trouble TEXT, stop TEXT, UNIQUE (ranch, key, version));
INSERT INTO readings (id, ranch, key, version, digest, withdrawn, import_id, source_row, tree_id,
  pressure_bar) VALUES (1, 'Two Sheds', 'T1', 1, 'd', 0, 1, 2, 'T1', 12.5);
CREATE TABLE valve_times (id INTEGER PRIMARY KEY, ranch TEXT NOT NULL, key TEXT NOT NULL,
  version INTEGER NOT NULL, digest TEXT NOT NULL, withdrawn BOOLEAN NOT NULL,
  import_id INTEGER NOT NULL REFERENCES imports (id), source_row INTEGER NOT NULL,
  code TEXT, valve TEXT, block TEXT, planned_start DATETIME, planned_end DATETIME,
  start DATETIME, "end" DATETIME, trouble TEXT, note TEXT, UNIQUE (ranch, key, version));
CREATE VIEW latest_readings AS SELECT mine.* FROM readings mine WHERE NOT mine.withdrawn
  AND NOT EXISTS (SELECT 1 FROM readings later WHERE later.ranch = mine.ranch AND later.key = mine.key
  AND later.version > mine.version);
CREATE VIEW latest_valve_times AS SELECT mine.* FROM valve_times mine WHERE NOT mine.withdrawn
  AND NOT EXISTS (SELECT 1 FROM valve_times later WHERE later.ranch = mine.ranch AND later.key = mine.key
  AND later.version > mine.version);
"""
"""A record of version 1, as it was first written (change detector: from our own tables)."""


@pytest.fixture
def first(tmp_path: Path) -> Path:
    place = tmp_path / "ranch.sqlite"
    with sqlite3.connect(place) as plain:
        plain.executescript(FIRST)
    plain.close()
    return place


def test_a_record_of_version_1_is_read_and_added_to(first: Path) -> None:
    record = RanchRecord(first, "Two Sheds")
    assert [r["pressure_bar"] for r in record.rows("readings")] == [12.5]
    assert record.add(source("b.csv"), [reading("T1", 9.0)], NOW).count("corrected") == 1
    times = [ArrivingRow("set", 2, {"valve": "V1", "start": OPENED})]
    assert record.add(source("c.csv", "valve_times"), times, NOW).count("new") == 1
    assert record.rows("valve_times")[0]["start"] == OPENED


def test_an_older_record_becomes_a_newer_one_in_one_transaction(first: Path) -> None:
    """With an invented step, as none was needed yet: rows stay, views are made anew."""

    def step(connection: sa.Connection) -> None:
        connection.execute(sa.text("ALTER TABLE readings ADD COLUMN trunk_mm FLOAT"))

    def broken(connection: sa.Connection) -> None:
        step(connection)
        msg = "in the midst"
        raise RuntimeError(msg)

    engine = engine_of(first, writing=True)
    with pytest.raises(RuntimeError), engine.begin() as connection:
        record_tables.renew(connection, 1, {1: broken}, 2)
    with engine.begin() as connection:
        assert connection.execute(sa.text("SELECT version FROM stressmap_record")).scalar() == 1
        assert connection.execute(sa.text("SELECT count(*) FROM latest_readings")).scalar() == 1
        record_tables.renew(connection, 1, {1: step}, 2)
    with engine.begin() as connection:
        assert connection.execute(sa.text("SELECT version FROM stressmap_record")).scalar() == 2
        told = connection.execute(sa.text("SELECT tree_id, trunk_mm FROM latest_readings")).all()
    engine.dispose()
    assert told == [("T1", None)]


def test_there_is_a_step_from_every_earlier_version() -> None:
    assert set(record_tables.STEPS) == set(range(1, record_tables.VERSION))


def test_a_fingerprint_is_of_what_the_record_says(record: RanchRecord, tmp_path: Path) -> None:
    other = RanchRecord(tmp_path / "other.sqlite", "Two Sheds")
    for one, hour in ((record, 3), (other, 5)):
        one.add(source("a.csv"), [reading("T1", 12.5)], NOW.replace(hour=hour))
    before = fingerprint({"readings": record.rows("readings")})
    assert before == fingerprint({"readings": other.rows("readings")})
    record.add(source("b.csv"), [reading("T1", 9.0)], NOW)
    assert before != fingerprint({"readings": record.rows("readings")})
