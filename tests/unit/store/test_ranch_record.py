"""The record, of both kinds: one file one transaction, nothing lost or twice; what is none is refused."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
import sqlalchemy as sa
from helpers.records import asked

from stressmap.core.errors import DataError, OutputError
from stressmap.core.record_place import RecordPlace
from stressmap.store import record_tables
from stressmap.store.ranch_record import RanchRecord, SourceFile, fingerprint
from stressmap.store.row_versions import ArrivingRow

NOW = dt.datetime(2026, 7, 15, 3, 0)


def source(name: str, kind: record_tables.Kind = "readings") -> SourceFile:
    return SourceFile(name, f"sha of {name}", kind)


def reading(key: str, bar: float, row: int = 2, **more: object) -> ArrivingRow:
    return ArrivingRow(key, row, {"tree_id": key, "time": NOW, "pressure_bar": bar}, **more)  # type: ignore[arg-type]


@pytest.fixture
def in_file(tmp_path: Path) -> RanchRecord:
    return RanchRecord(RecordPlace(tmp_path / "ranch.sqlite"), "Two Sheds")


@pytest.fixture
def record(record_place: RecordPlace) -> RanchRecord:
    return RanchRecord(record_place, "Two Sheds")


def test_rows_come_back_with_where_they_came_from(record: RanchRecord, record_place: RecordPlace) -> None:
    added = record.add(source("a.csv"), [reading("T1", 12.5), reading("T2", 13.0, 3)], NOW)
    assert added.rows == {"new": (2, 3)}
    rows = record.rows("readings")
    assert [(r["tree_id"], r["pressure_bar"], r["time"], r["source_row"]) for r in rows] == [
        ("T1", 12.5, NOW, 2), ("T2", 13.0, NOW, 3),
    ]  # fmt: skip
    number = rows[0]["import_id"]
    assert asked(record_place, f"SELECT name FROM imports WHERE id = {number}") == [("a.csv",)]


def test_a_file_has_a_write_ahead_log(in_file: RanchRecord, tmp_path: Path) -> None:
    in_file.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    assert asked(RecordPlace(tmp_path / "ranch.sqlite"), "PRAGMA journal_mode") == [("wal",)]


def test_a_correction_shows_and_the_earlier_version_stays(
    record: RanchRecord, record_place: RecordPlace
) -> None:
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    added = record.add(source("b.csv"), [reading("T1", 12.0), reading("T2", 9.0, 3)], NOW)
    assert added.rows == {"corrected": (2,), "new": (3,)}
    assert [r["pressure_bar"] for r in record.rows("readings")] == [12.0, 9.0]
    every = asked(
        record_place, "SELECT version, pressure_bar FROM readings WHERE key = 'T1' ORDER BY version"
    )
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


def test_ranches_in_one_record_do_not_see_each_other(record: RanchRecord, record_place: RecordPlace) -> None:
    other = RanchRecord(record_place, "Another")
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
    assert record.rows("readings") == []
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    assert record.add(source("b.csv"), [reading("T1", 9.0)], NOW, dry=True).rows == {"corrected": (2,)}
    assert [r["pressure_bar"] for r in record.rows("readings")] == [12.5]
    assert {p.name for p in tmp_path.iterdir()} <= {"ranch.sqlite"}


def test_an_error_in_the_midst_leaves_all_as_it_was(record: RanchRecord) -> None:
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    bad = ArrivingRow("T3", 4, {"tree_id": "T3", "time": "no time"})
    with pytest.raises((sa.exc.StatementError, TypeError, OutputError)):
        record.add(source("b.csv"), [reading("T2", 9.0), bad], NOW)
    assert [r["tree_id"] for r in record.rows("readings")] == ["T1"]
    assert record.earlier("sha of b.csv") is None


def test_what_is_no_record_is_refused(in_file: RanchRecord, tmp_path: Path) -> None:
    place = tmp_path / "ranch.sqlite"
    place.write_bytes(b"This is a text, and it is long enough to be looked at." * 20)
    for call in (lambda: in_file.rows("readings"), lambda: in_file.add(source("a.csv"), [], NOW)):
        with pytest.raises(DataError, match="it is no record of this program, or it is damaged"):
            call()
    assert place.read_bytes().startswith(b"This is a text")


def test_a_database_of_others_is_refused(record: RanchRecord, record_place: RecordPlace) -> None:
    asked(record_place, "CREATE TABLE readings (a INTEGER)")
    with pytest.raises(DataError, match="it is a database, but no record of this program"):
        record.add(source("a.csv"), [], NOW)


def test_a_record_of_a_newer_version_is_refused(record: RanchRecord, record_place: RecordPlace) -> None:
    record.add(source("a.csv"), [reading("T1", 12.5)], NOW)
    asked(record_place, "UPDATE stressmap_record SET version = 99")
    for call in (lambda: record.rows("readings"), lambda: record.add(source("b.csv"), [], NOW)):
        with pytest.raises(DataError, match=r"newer version of this program \(its tables have version 99\)"):
            call()


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    record = RanchRecord(RecordPlace(tmp_path / "nowhere" / "ranch.sqlite"), "Two Sheds")
    with pytest.raises(OutputError, match=r"it cannot be written \(unable to open database file"):
        record.add(source("a.csv"), [], NOW)


def test_an_empty_file_is_an_empty_record(in_file: RanchRecord, tmp_path: Path) -> None:
    """What a kill before the first commit leaves."""
    (tmp_path / "ranch.sqlite").touch()
    assert in_file.rows("readings") == []
    assert in_file.add(source("a.csv"), [reading("T1", 12.5)], NOW).count("new") == 1


def test_a_fingerprint_is_of_what_the_record_says(record: RanchRecord, tmp_path: Path) -> None:
    other = RanchRecord(RecordPlace(tmp_path / "other.sqlite"), "Two Sheds")
    for one, hour in ((record, 3), (other, 5)):
        one.add(source("a.csv"), [reading("T1", 12.5)], NOW.replace(hour=hour))
    before = fingerprint({"readings": record.rows("readings")})
    assert before == fingerprint({"readings": other.rows("readings")})
    record.add(source("b.csv"), [reading("T1", 9.0)], NOW)
    assert before != fingerprint({"readings": record.rows("readings")})
