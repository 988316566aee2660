"""A record in PostgreSQL as docs/postgresql.md has it: roles, places, copies, what is said of failures."""

from __future__ import annotations

import datetime as dt
import importlib.util
import os
import re
import subprocess
from pathlib import Path

import pytest
import sqlalchemy as sa
from helpers.paths import REPOSITORY
from helpers.postgres_server import PostgresServer
from helpers.records import asked

from stressmap.core.errors import DataError, OutputError, SettingsError
from stressmap.core.record_place import RecordPlace
from stressmap.store import postgres_engine
from stressmap.store.ranch_record import AddedFile, RanchRecord, SourceFile
from stressmap.store.record_database import RecordDatabase
from stressmap.store.row_versions import ArrivingRow

NOW = dt.datetime(2026, 7, 15, 3, 0)
PAGE = (REPOSITORY / "docs" / "postgresql.md").read_text(encoding="utf-8")
SET_UP, ROLES = re.findall(r"^```sql\n(.*?)^```", PAGE, flags=re.MULTILINE | re.DOTALL)
(COPY,) = re.findall(r"^```sh\n(.*?)^```", PAGE, flags=re.MULTILINE | re.DOTALL)
PASSWORD = "change me too"


def lines(text: str) -> list[str]:
    return [line for line in text.split(";\n") if line]


def added(place: RecordPlace, ranch: str, name: str, *trees: str, lon: float | None = -121.0) -> AddedFile:
    says = {"pressure_bar": 12.5, "lon": lon, "lat": 38.0, "time": NOW}
    rows = [ArrivingRow(tree, 2 + n, {"tree_id": tree, **says}) for n, tree in enumerate(trees)]
    return RanchRecord(place, ranch).add(SourceFile(name, f"sha of {name}", "readings"), rows, NOW)


def trees(place: RecordPlace, ranch: str = "North Ranch") -> list[str]:
    return [row["tree_id"] for row in RanchRecord(place, ranch).rows("readings")]


@pytest.fixture
def owned(postgres: PostgresServer) -> RecordPlace:
    return RecordPlace(url=postgres.new())


@pytest.fixture
def north(postgres: PostgresServer, owned: RecordPlace) -> RecordPlace:
    """Two ranches in one record, and a role that the page's lines open one of them to."""
    added(owned, "North Ranch", "a.csv", "T1", "T2")
    added(owned, "South Ranch", "a.csv", "S1")
    postgres.told(owned.url, "DROP ROLE IF EXISTS north", *lines(ROLES))
    yield RecordPlace(url=postgres.url(sa.make_url(owned.url).database or "", "north", "change%20me%20too"))
    postgres.told(owned.url, "DROP OWNED BY north", "DROP ROLE north")


def test_a_role_sees_and_adds_its_ranch_alone(owned: RecordPlace, north: RecordPlace) -> None:
    assert added(north, "North Ranch", "b.csv", "T2", "T3").rows == {"present": (2,), "new": (3,)}
    assert trees(north) == trees(owned) == ["T1", "T2", "T3"]
    for name in ("readings", "latest_readings", "imports"):
        assert {ranch for (ranch,) in asked(north, f"SELECT ranch FROM {name}")} == {"North Ranch"}
    assert RanchRecord(north, "North Ranch").other_ranches() == ()
    assert RanchRecord(owned, "North Ranch").other_ranches() == ("South Ranch",)
    assert asked(north, "SELECT name, added_by FROM imports ORDER BY id") == [
        ("a.csv", "owner"),
        ("b.csv", "north"),
    ]
    assert trees(north, "South Ranch") == []
    with pytest.raises(OutputError, match=r"this role may not have it written \(new row violates row-level"):
        added(north, "South Ranch", "b.csv", "S2")
    assert trees(owned, "South Ranch") == ["S1"]


@pytest.mark.parametrize(
    "line",
    [
        "UPDATE readings SET pressure_bar = 1",
        "DELETE FROM readings",
        "UPDATE imports SET name = 'x'",
        "INSERT INTO ranch_members VALUES ('South Ranch', 'north')",
        "UPDATE stressmap_record SET version = 99",
        "ALTER TABLE readings DISABLE ROW LEVEL SECURITY",
        "DROP VIEW latest_readings",
    ],
)
def test_a_role_changes_nothing_and_lets_nobody_in(north: RecordPlace, line: str) -> None:
    with pytest.raises(sa.exc.ProgrammingError, match=r"permission denied|must be owner"):
        asked(north, line)


def test_a_role_adds_a_file_under_its_own_name_only(north: RecordPlace) -> None:
    names, line = (
        "ranch, sha256, kind, name, added_at, added_by",
        "'North Ranch', 'b', 'readings', 'b', now()",
    )
    asked(north, f"INSERT INTO imports ({names}) VALUES ({line}, 'north')")
    other = line.replace("'b'", "'c'")
    with pytest.raises(sa.exc.ProgrammingError, match="row-level security"):
        asked(north, f"INSERT INTO imports ({names}) VALUES ({other}, 'owner')")


def test_a_ranch_is_closed_again_and_to_who_was_never_let_in(owned: RecordPlace, north: RecordPlace) -> None:
    asked(owned, "DELETE FROM ranch_members")
    assert trees(north) == []
    asked(owned, "REVOKE ALL ON ALL TABLES IN SCHEMA public FROM north")
    with pytest.raises(DataError, match=r"this role may not have it read \(permission denied"):
        trees(north)


def test_places_are_points_with_an_index(owned: RecordPlace) -> None:
    added(owned, "North Ranch", "a.csv", "T1")
    added(owned, "North Ranch", "b.csv", "T2", lon=None)
    added(owned, "North Ranch", "c.csv", "T3", lon=212.0)
    line = "SELECT ST_AsText(geom), ST_SRID(geom) FROM latest_readings ORDER BY id"
    assert asked(owned, line) == [("POINT(-121 38)", 4326), (None, None), (None, None)]
    (index,) = asked(owned, "SELECT indexdef FROM pg_indexes WHERE indexname = 'readings_geom'")
    assert "USING gist (geom)" in index[0]


def test_a_row_that_another_program_spoiled_is_said_in_one_line(owned: RecordPlace) -> None:
    added(owned, "North Ranch", "a.csv", "T1")
    asked(owned, "UPDATE readings SET time = 'infinity'")
    with pytest.raises(DataError, match=r"it cannot be read \(timestamp too large"):
        trees(owned)


@pytest.mark.usefixtures("north")
def test_a_copy_comes_back_whole(postgres: PostgresServer, owned: RecordPlace, tmp_path: Path) -> None:
    added(owned, "North Ranch", "b.csv", "T3")
    to = postgres.new()
    plain = {name: url.replace("+psycopg", "") for name, url in (("FROM", owned.url), ("TO", to))}
    path = f"{postgres.tools}{os.pathsep}{os.environ['PATH']}"
    command = ["bash", "-euc", COPY]
    done = subprocess.run(
        command, cwd=tmp_path, env={**os.environ, "PATH": path, **plain}, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    copy = RecordPlace(url=to)
    for ranch in ("North Ranch", "South Ranch"):
        assert RanchRecord(copy, ranch).rows("readings") == RanchRecord(owned, ranch).rows("readings")
    assert added(copy, "North Ranch", "a.csv", "T1", "T2").rows == {"present": (2, 3)}
    assert added(copy, "North Ranch", "c.csv", "T4").rows == {"new": (2,)}
    there = postgres.url(sa.make_url(to).database or "", "north", "change%20me%20too")
    assert trees(RecordPlace(url=there)) == ["T1", "T2", "T3", "T4"]
    assert trees(RecordPlace(url=there), "South Ranch") == []
    postgres.told(to, "DROP OWNED BY north")


def test_the_page_makes_a_role_that_can_make_the_record(postgres: PostgresServer) -> None:
    make = lines(SET_UP)
    postgres.told(postgres.url("postgres"), *make)
    try:
        place = RecordPlace(url=postgres.url("trees", "office", "change%20me"))
        with pytest.raises(DataError, match=r"PostGIS is not switched on in this database\. Let who runs it"):
            added(place, "North Ranch", "a.csv", "T1")
        postgres.told(postgres.url("trees"), "CREATE EXTENSION postgis")
        assert added(place, "North Ranch", "a.csv", "T1").rows == {"new": (2,)}
    finally:
        postgres.told(postgres.url("postgres"), "DROP DATABASE trees", "DROP ROLE office")


def test_reading_can_write_nothing(owned: RecordPlace) -> None:
    added(owned, "North Ranch", "a.csv", "T1")
    with RecordDatabase(owned).reading() as connection:
        assert connection is not None
        with pytest.raises(sa.exc.InternalError, match="read-only transaction"):
            connection.execute(sa.text("DELETE FROM readings"))


def test_a_writer_waits_for_another_of_its_ranch_only(
    owned: RecordPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    added(owned, "North Ranch", "a.csv", "T1")
    monkeypatch.setattr(postgres_engine, "WAIT_MS", 50)
    with RecordDatabase(owned).writing("North Ranch"):
        assert added(owned, "South Ranch", "a.csv", "S1").rows == {"new": (2,)}
        with pytest.raises(OutputError, match=r"another program is writing into it\. Try again in a minute"):
            added(owned, "North Ranch", "b.csv", "T2")


def test_a_server_that_keeps_no_ranches_apart_is_refused(
    owned: RecordPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(postgres_engine, "FROM_VERSION", 99)
    with pytest.raises(DataError, match=r"its server is PostgreSQL \d+, and 99 or newer is needed"):
        trees(owned)


def test_a_missing_driver_is_named(owned: RecordPlace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(SettingsError, match=re.escape('Call pip install "stressmap[postgis]"')):
        trees(owned)


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("north:s3cr%25et@/trees?host=/nowhere", "its server does not answer"),
        ("north:s3cr%25et@127.0.0.1:1/trees?password=s3cr%25et", "its server does not answer"),
        ("north:s3cr%25et@/trees?host=/nowhere&passwort=s3cr%25et", "invalid connection option"),
        ("north:s3cr%25et@/trees?host=/nowhere&connect_timeout=s3cr%25et", ""),
    ],
)
def test_a_server_that_is_not_there_is_said_without_the_password(address: str, said: str) -> None:
    place = RecordPlace(url=f"postgresql+psycopg://{address}")
    for call in (lambda: trees(place), lambda: added(place, "North Ranch", "a.csv", "T1")):
        with pytest.raises((DataError, OutputError)) as caught:
            call()
        told = str(caught.value.problems[0])
        assert said in told
        assert "s3cr" not in repr(caught.value)
        assert "\n" not in told


def test_a_wrong_password_is_said_without_it(north: RecordPlace) -> None:
    wrong = RecordPlace(url=north.url.replace("change%20me%20too", "s3cret"))
    with pytest.raises(DataError, match="password authentication failed for user") as caught:
        trees(wrong)
    assert "s3cret" not in str(caught.value)
