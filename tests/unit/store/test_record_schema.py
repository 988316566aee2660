"""An older record becomes one of today: rows stay, all of it or nothing; its tables are those made new."""

from __future__ import annotations

import datetime as dt
import sqlite3
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations
from helpers.records import asked

from stressmap.core.errors import OutputError
from stressmap.core.record_place import RecordPlace
from stressmap.store.ranch_record import RanchRecord, SourceFile
from stressmap.store.record_schema import renew, version_of
from stressmap.store.record_steps import STEPS
from stressmap.store.record_tables import METADATA, VERSION
from stressmap.store.row_versions import ArrivingRow
from stressmap.store.sqlite_engine import engine_of

NOW = dt.datetime(2026, 7, 15, 3, 0)
OPENED = dt.datetime(2026, 7, 17, 3, 5)
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
def first(tmp_path: Path) -> RecordPlace:
    place = tmp_path / "ranch.sqlite"
    with sqlite3.connect(place) as plain:
        plain.executescript(FIRST)
    plain.close()
    return RecordPlace(place)


def differences(place: RecordPlace) -> list[Any]:
    """Compare the tables of a record with those that are made today, as Alembic sees them."""
    engine = engine_of(place.file, writing=False)
    if place.file is None:
        engine = sa.create_engine(place.url, poolclass=sa.NullPool)

    def ours(*told: Any) -> bool:
        return told[1] not in {"geom", "readings_geom", "ranch_members", "spatial_ref_sys"}

    with engine.connect() as connection:
        options = {"compare_type": True, "include_object": ours}
        found = compare_metadata(MigrationContext.configure(connection, opts=options), METADATA)
    engine.dispose()
    return list(found)


def test_a_record_of_version_1_is_read_without_being_changed(first: RecordPlace) -> None:
    assert first.file is not None
    before = first.file.read_bytes()
    record = RanchRecord(first, "Two Sheds")
    assert [r["pressure_bar"] for r in record.rows("readings")] == [12.5]
    held = record.held()
    assert [row["name"] for row in held.imports] == ["a.csv"]
    assert [row["pressure_bar"] for row in held.rows["readings"]] == [12.5]
    assert first.file.read_bytes() == before


def test_a_record_of_version_1_is_brought_up_to_date_as_it_is_added_to(first: RecordPlace) -> None:
    record = RanchRecord(first, "Two Sheds")
    changed = ArrivingRow("T1", 2, {"tree_id": "T1", "pressure_bar": 9.0})
    assert record.add(SourceFile("b.csv", "b", "readings"), [changed], NOW, dry=True).count("corrected") == 1
    assert asked(first, "SELECT version FROM stressmap_record") == [(1,)]
    assert record.add(SourceFile("b.csv", "b", "readings"), [changed], NOW).count("corrected") == 1
    times = [ArrivingRow("set", 2, {"valve": "V1", "start": OPENED})]
    assert record.add(SourceFile("c.csv", "c", "valve_times"), times, NOW).count("new") == 1
    assert record.rows("valve_times")[0]["start"] == OPENED
    assert [(r["pressure_bar"], r["file"]) for r in record.rows("readings")] == [(9.0, "b.csv")]
    every = asked(first, "SELECT id, version, import_id, pressure_bar, digest FROM readings ORDER BY id")
    assert [row[:4] for row in every] == [(1, 1, 1, 12.5), (2, 2, 2, 9.0)]
    assert every[0][4] == "d"
    assert asked(first, "SELECT version FROM stressmap_record") == [(VERSION,)]
    assert differences(first) == []


@pytest.mark.filterwarnings("ignore:Did not recognize type 'geometry':sqlalchemy.exc.SAWarning")
def test_a_new_record_has_the_tables_of_today(record_place: RecordPlace) -> None:
    RanchRecord(record_place, "Two Sheds").add(SourceFile("a.csv", "a", "readings"), [], NOW)
    assert differences(record_place) == []


def test_a_row_can_be_of_no_other_ranchs_file(record_place: RecordPlace) -> None:
    RanchRecord(record_place, "Two Sheds").add(SourceFile("a.csv", "a", "readings"), [], NOW)
    line = "INSERT INTO readings (ranch, key, version, digest, withdrawn, import_id, source_row) VALUES "
    asked(record_place, line + "('Two Sheds', 'T1', 1, 'd', false, 1, 2)")
    with pytest.raises(sa.exc.IntegrityError, match=r"(?i)foreign key"):
        asked(record_place, line + "('Another', 'T1', 1, 'd', false, 1, 2)")


def test_an_older_record_becomes_a_newer_one_in_one_transaction(first: RecordPlace) -> None:
    """With an invented step."""

    def step(operations: Operations) -> None:
        operations.add_column("readings", sa.Column("trunk_mm", sa.Float))

    def broken(operations: Operations) -> None:
        step(operations)
        msg = "in the midst"
        raise RuntimeError(msg)

    engine = engine_of(first.file, writing=True)
    with pytest.raises(RuntimeError), engine.begin() as connection:
        renew(connection, 1, {**STEPS, 2: broken}, 3)
    with engine.begin() as connection:
        assert version_of(connection, "") == 1
        assert connection.execute(sa.text("SELECT count(*) FROM latest_readings")).scalar() == 1
        renew(connection, 1, {**STEPS, 2: step}, 3)
    with engine.connect() as connection:
        assert connection.execute(sa.text("SELECT version FROM stressmap_record")).scalar() == 3
        told = connection.execute(sa.text("SELECT tree_id, trunk_mm FROM latest_readings")).all()
    engine.dispose()
    assert told == [("T1", None)]


def test_a_damaged_older_record_stays_as_it_is(first: RecordPlace) -> None:
    """Its rows name an import that is not there: they cannot be held to one."""
    with sqlite3.connect(str(first)) as plain:
        plain.execute("UPDATE readings SET import_id = 7")
    plain.close()
    with pytest.raises(OutputError, match=r"it cannot be written \(FOREIGN KEY constraint failed\)"):
        RanchRecord(first, "Two Sheds").add(SourceFile("b.csv", "b", "readings"), [], NOW)
    assert asked(first, "SELECT version FROM stressmap_record") == [(1,)]
    assert asked(first, "SELECT import_id FROM latest_readings") == [(7,)]


def test_there_is_a_step_from_every_earlier_version() -> None:
    assert set(STEPS) == set(range(1, VERSION))
