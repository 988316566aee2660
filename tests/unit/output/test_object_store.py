"""A result in an object store is whole or says that it is not; nothing of another's is touched."""

from __future__ import annotations

import json
from pathlib import Path

import obstore
import pytest
from obstore.exceptions import GenericError
from obstore.store import MemoryStore

from stressmap.core.errors import OutputError, SettingsError
from stressmap.output.staging import object_store
from stressmap.output.staging.object_store import MANIFEST, Sent, refuse_address, send

KNOWN = frozenset({"run.json", "valves.csv", "map.html", "water_plan.csv"})


def result(folder: Path, **files: str) -> None:
    """Write a folder with the record of a result that names its files."""
    folder.mkdir(parents=True, exist_ok=True)
    named = {name.replace("_csv", ".csv").replace("_html", ".html"): text for name, text in files.items()}
    for name, text in named.items():
        (folder / name).write_text(text)
    page = {
        "files": [*named, "run.json"],
        "versions": {"stressmap": "1"},
        "of": sum(map(hash, files.values())),
    }
    (folder / "run.json").write_text(json.dumps(page))


@pytest.fixture
def district(tmp_path: Path) -> Path:
    result(tmp_path / "made" / "north", valves_csv="1", map_html="<p>")
    result(tmp_path / "made" / "south", valves_csv="2", map_html="<b>")
    result(tmp_path / "made" / "south" / "water", valves_csv="3")
    (tmp_path / "made" / "north" / "mine.txt").write_text("of the user")
    (tmp_path / "made" / ".north.abcdefgh.partial").mkdir()
    (tmp_path / "made" / "linked").symlink_to(tmp_path / "made" / "south")
    return tmp_path / "made"


@pytest.fixture
def store(monkeypatch: pytest.MonkeyPatch) -> MemoryStore:
    memory = MemoryStore()
    monkeypatch.setattr(object_store, "_open", lambda _: memory)
    return memory


RANCHES = ("north", "south")


def names(store: MemoryStore) -> set[str]:
    return {row["path"] for row in obstore.list(store).collect()}


def manifest(store: MemoryStore) -> dict:
    return json.loads(bytes(obstore.get(store, MANIFEST).bytes()))


def test_what_a_ranch_no_longer_listed_left_is_not_sent(district: Path, store: MemoryStore) -> None:
    send(district, "memory", KNOWN, within=RANCHES)
    send(district, "memory", KNOWN, within=["north"])
    assert {name.partition("/")[0] for name in names(store)} == {"north", MANIFEST}
    assert manifest(store)["whole"] is True


def test_only_what_records_name_is_sent_and_once(district: Path, store: MemoryStore) -> None:
    steps: list[int] = []
    assert send(district, "memory", KNOWN, within=RANCHES, step=lambda: steps.append(1)) == Sent(8, 0, 0)
    of_ranches = {
        f"{place}/{name}" for place in ("north", "south") for name in ("valves.csv", "map.html", "run.json")
    }
    assert names(store) == {*of_ranches, "south/water/run.json", "south/water/valves.csv", MANIFEST}
    assert len(steps) == 8
    assert manifest(store)["whole"] is True
    assert send(district, "memory", KNOWN, within=RANCHES) == Sent(0, 8, 0)


def test_what_changed_is_sent_again_with_its_record_last(
    district: Path, store: MemoryStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(district, "memory", KNOWN, within=RANCHES)
    (district / "north" / "map.html").unlink()
    result(district / "north", valves_csv="changed")
    order = watched(monkeypatch)
    assert send(district, "memory", KNOWN, within=RANCHES) == Sent(2, 5, 1)
    assert order == [
        f"put {MANIFEST}", "delete north/run.json", "put north/valves.csv", "delete north/map.html",
        "put north/run.json", f"put {MANIFEST}",
    ]  # fmt: skip
    assert "north/map.html" not in names(store)


def test_a_file_changed_in_the_store_is_put_right(district: Path, store: MemoryStore) -> None:
    send(district, "memory", KNOWN, within=RANCHES)
    obstore.put(store, "north/valves.csv", b"9")
    assert send(district, "memory", KNOWN, within=RANCHES) == Sent(2, 6, 0)
    assert bytes(obstore.get(store, "north/valves.csv").bytes()) == b"1"


@pytest.mark.parametrize("until", range(1, 8))
def test_broken_off_anywhere_it_says_so_and_is_finished_by_the_next_call(
    district: Path, store: MemoryStore, monkeypatch: pytest.MonkeyPatch, until: int
) -> None:
    send(district, "memory", KNOWN, within=RANCHES)
    result(district / "north", valves_csv="new", map_html="new")
    with monkeypatch.context() as broken:
        done = watched(broken, until)
        if until < 7:
            with pytest.raises(OutputError, match="results cannot be sent there"):
                send(district, "memory", KNOWN, within=RANCHES)
        else:
            send(district, "memory", KNOWN, within=RANCHES)
    assert manifest(store)["whole"] is (until in {1, 7})
    assert ("north/run.json" in names(store)) is (until < 3 or until >= 6), done
    send(district, "memory", KNOWN, within=RANCHES)
    assert manifest(store)["whole"] is True
    assert bytes(obstore.get(store, "north/valves.csv").bytes()) == b"new"
    assert send(district, "memory", KNOWN, within=RANCHES) == Sent(0, 8, 0)


def watched(patch: pytest.MonkeyPatch, until: int | None = None) -> list[str]:
    """Note what is asked of a store, which fails from the step of a number on."""
    patch.setattr(object_store, "AT_ONCE", 1)
    done: list[str] = []
    put, delete = obstore.put, obstore.delete

    def step(what: str) -> None:
        done.append(what)
        if until is not None and len(done) >= until:
            msg = "the line is cut"
            raise GenericError(msg)

    def watched_put(store: MemoryStore, name: str, *given: object, **more: object) -> object:
        step(f"put {name}")
        return put(store, name, *given, **more)

    def watched_delete(store: MemoryStore, gone: list[str]) -> None:
        step(f"delete {' '.join(gone)}")
        delete(store, gone)

    patch.setattr(obstore, "put", watched_put)
    patch.setattr(obstore, "delete", watched_delete)
    return done


def test_what_is_not_ours_is_left_alone(district: Path, store: MemoryStore) -> None:
    obstore.put(store, "north/valves.csv", b"of another")
    obstore.put(store, "readme.txt", b"of another")
    with pytest.raises(OutputError) as told:
        send(district, "s3://b/p", KNOWN, within=RANCHES)
    assert str(told.value) == (
        "s3://b/p: north/valves.csv stands there and was not sent from here. "
        "Give a prefix of its own in [results] url, or move what is yours."
    )
    obstore.delete(store, "north/valves.csv")
    send(district, "s3://b/p", KNOWN, within=RANCHES)
    assert bytes(obstore.get(store, "readme.txt").bytes()) == b"of another"


@pytest.mark.parametrize(
    "text", [b"{", b"[]", b'{"whole": true}', b'{"whole": true, "objects": {"a": 1}}', b"[" * 99_999]
)
def test_a_manifest_of_another_is_refused(district: Path, store: MemoryStore, text: bytes) -> None:
    obstore.put(store, MANIFEST, text)
    with pytest.raises(OutputError, match=f"{MANIFEST} stands there and was not sent from here"):
        send(district, "memory", KNOWN, within=RANCHES)


def test_a_folder_by_address(district: Path, tmp_path: Path) -> None:
    url = f"file://{tmp_path}/sent/here"
    refuse_address(url, "district.toml")
    assert send(district, url, KNOWN, within=RANCHES) == Sent(8, 0, 0)
    there = tmp_path / "sent" / "here"
    assert (there / "south" / "water" / "valves.csv").read_text() == "3"
    assert send(district, url, KNOWN, within=RANCHES) == Sent(0, 8, 0)


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("https://b/p", "it is no address of an object store"),
        ("s3://", "it is no address of an object store"),
        ("results", "it is no address of an object store"),
        ("s3://[b/p", "it is no address of an object store"),
        ("s3://b/p#hush", "an address must not hold a user, a password or a key"),
        ("s3://me:hush@b/p", "must not hold a user, a password or a key"),
        ("az://c/p?sig=hush", "must not hold a user, a password or a key"),
    ],
)
def test_a_wrong_address_is_refused_without_its_secret(url: str, said: str) -> None:
    with pytest.raises(SettingsError, match=said) as told:
        refuse_address(url, "district.toml")
    assert "hush" not in str(told.value)
    assert str(told.value).startswith("district.toml, column results.url: ")


def test_a_store_that_refuses_is_one_line_before_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        msg = "Generic S3 error: GET https://b/p?sig=hush: 403: <Code>AccessDenied</Code>hush\n\nDebug"
        raise GenericError(msg)

    monkeypatch.setattr(obstore, "list", refuse)
    with pytest.raises(OutputError) as told:
        refuse_address("s3://b/p", "district.toml")
    assert str(told.value) == (
        "s3://b/p: results cannot be sent there (Generic S3 error: GET https://b/p 403: AccessDenied). "
        "See that the address is right and that the store's credentials stand in the environment."
    )
