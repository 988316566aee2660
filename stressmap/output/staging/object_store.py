"""A finished result sent to an object store (S3, Google, Azure, a folder), whole or plainly not whole.

Object stores know no renaming, so a result cannot appear there in one step. What says so is :data:`MANIFEST`:
it is put first, with ``whole`` false and the names of all that will be put, and last, with ``whole`` true and
each object's size and SHA-256. Between the two each folder's own record (``run.json``) is taken away before
anything else in the folder changes, and put back after it. Objects that stand there as they were sent, by the
store's own tag, are not sent again; no object that was not sent from here is written over or taken away.

Credentials are found by obstore as each store's own tools find them; no address may hold any, and none is
printed.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import importlib.util
import json
import mimetypes
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import SplitResult, urlsplit

from stressmap.core.errors import OutputError, Problem, SettingsError
from stressmap.core.parallel import each
from stressmap.core.text import first_line
from stressmap.output.staging.result_files import MARK, listed
from stressmap.output.staging.workshops import is_folder

if TYPE_CHECKING:
    from obstore.store import ObjectStore, RetryConfig

MANIFEST = "sent.json"
"""The object that says which others are the result, and whether all of them are there."""
SCHEMES = ("s3", "gs", "az", "abfs", "abfss", "file")
DEEPEST = 2
"""So far below the folder of a district its results lie: the plan of a ranch is in that of the ranch."""
AT_ONCE = 8
"""So many objects are under way at a time."""
TYPES = {".csv": "text/csv", ".geojson": "application/geo+json", ".gpx": "application/gpx+xml",
         ".gpkg": "application/geopackage+sqlite3", ".tif": "image/tiff"}  # fmt: skip
PATIENCE: RetryConfig = {"max_retries": 8, "retry_timeout": dt.timedelta(seconds=60)}
MOST_MANIFEST_BYTES = 50_000_000
LOOK = "See that the address is right and that the store's credentials stand in the environment"
ELSEWHERE = "Give a prefix of its own in [results] url, or move what is yours"


@dataclass(frozen=True)
class Sent:
    """What sending came to.

    Parameters
    ----------
    put : int
        Objects sent.
    kept : int
        Objects that stood there already as they are.
    removed : int
        Objects of an earlier result that this one does not have.
    """

    put: int
    kept: int
    removed: int


@dataclass(frozen=True)
class LocalObject:
    """A file of the result.

    Parameters
    ----------
    path : Path
        Where it is.
    size : int
        [bytes].
    sha256 : str
        Of its content.
    """

    path: Path
    size: int
    sha256: str


@dataclass(frozen=True)
class StoreState:
    """What stands at the address before sending.

    Parameters
    ----------
    whole : bool
        Whether the last result sent there is complete.
    ours : dict
        By name, what was sent: ``sha256`` and the store's ``e_tag``, both None where that is not known.
    present : dict
        By name, size [bytes] and tag of every object there is.
    """

    whole: bool
    ours: dict[str, dict[str, str | None]]
    present: dict[str, tuple[int, str | None]]

    def has(self, name: str, file: LocalObject) -> bool:
        """Tell whether a file stands there as it is."""
        sent = self.ours.get(name)
        if sent is None or sent["e_tag"] is None or sent["sha256"] != file.sha256:
            return False
        return self.present.get(name) == (file.size, sent["e_tag"])


def refuse_address(url: str, where: str) -> None:
    """Find out before the long work whether results can be sent to an address.

    Parameters
    ----------
    url : str
        Of the settings.
    where : str
        The settings file, for the message.

    Raises
    ------
    SettingsError
        If it is no address of an object store, holds a credential, or obstore is not installed.
    OutputError
        If the store does not answer, or what stands there is not ours.
    """
    parts = _parts_of(url)
    if parts is None or parts.scheme not in SCHEMES or not (parts.netloc or parts.path.strip("/")):
        what = "it is no address of an object store"
        remedy = (
            "Write it like s3://bucket/prefix, gs://bucket/prefix, az://container/prefix or file:///folder"
        )
        raise SettingsError(Problem(where, what, remedy, column="results.url"))
    if parts.password or parts.query or parts.fragment or (parts.username and parts.scheme != "abfss"):
        what = "an address must not hold a user, a password or a key"
        remedy = "Take it out of the address; credentials are read from the environment"
        raise SettingsError(Problem(where, what, remedy, column="results.url"))
    if importlib.util.find_spec("obstore") is None:
        what = "what sends to object stores is not installed"
        remedy = 'Call pip install "stressmap[object-store]"'
        raise SettingsError(Problem(where, what, remedy, column="results.url"))
    with _said(url):
        _state(_open(url), url)


def _parts_of(url: str) -> SplitResult | None:
    """Take an address apart; None where it is none."""
    try:
        return urlsplit(url)
    except ValueError:
        return None


def send(
    folder: Path,
    url: str,
    known: frozenset[str],
    *,
    within: Sequence[str],
    step: Callable[[], None] = lambda: None,
) -> Sent:
    """Send a finished folder of results, and its folders of ranches, to an object store.

    Parameters
    ----------
    folder : Path
        With the record of a result in it or in its folders; what no record names is not sent.
    url : str
        As :func:`refuse_address` takes it.
    known : frozenset of str
        Names of the files that this program writes.
    within : sequence of str
        Folders of the ranches that belong to the result: what a failed one, or one no longer listed, left
        there is not sent.
    step : callable
        Called for every object sent.

    Returns
    -------
    Sent

    Raises
    ------
    OutputError
        If it cannot be sent. The manifest then says that what is there is not whole; the next call goes on.
    """
    with _said(url):
        return _send(_local(folder, known, within), _open(url), url, step)


def _send(files: Mapping[str, LocalObject], store: ObjectStore, url: str, step: Callable[[], None]) -> Sent:
    state = _state(store, url)
    if strangers := sorted(files.keys() & state.present.keys() - state.ours.keys()):
        what = f"{strangers[0]} stands there and was not sent from here"
        raise OutputError(Problem(url, what, ELSEWHERE))
    kept = {name for name, file in files.items() if state.has(name, file)}
    gone = {name for name in state.ours.keys() & state.present.keys() if name not in files}
    if state.whole and not gone and len(kept) == len(files):
        return Sent(0, len(kept), 0)
    touched = {_folder(name) for name in (files.keys() - kept) | gone}
    kept -= {name for name in kept if _is_mark(name) and _folder(name) in touched}
    tags = {name: state.ours[name]["e_tag"] for name in kept}
    _put_manifest(store, files, tags, also=gone)
    marks = sorted(filter(_is_mark, files.keys() - kept), key=lambda name: (-name.count("/"), name))
    _delete(store, {name for name in gone if _is_mark(name)} | (state.present.keys() & set(marks)))
    others = sorted(files.keys() - kept - set(marks))
    for names in (others, marks):
        told = each(lambda name: _put(store, name, files[name]), names, jobs=AT_ONCE, step=step)
        tags.update(zip(names, told, strict=True))
        _delete(store, {name for name in gone if not _is_mark(name)} if names is others else set())
    _put_manifest(store, files, tags, whole=True)
    return Sent(len(others) + len(marks), len(kept), len(gone))


def _local(folder: Path, known: frozenset[str], within: Sequence[str]) -> dict[str, LocalObject]:
    """Find the files that the records in a folder and in some of its folders name, plans in ranches too."""
    found, ranches = {}, [folder / name for name in within if is_folder(folder / name)]
    for place in (folder, *(place for ranch in ranches for place in _places(ranch, DEEPEST - 1))):
        for name in sorted(listed(place, known)):
            path = place / name
            with path.open("rb") as opened:
                digest = hashlib.file_digest(opened, "sha256").hexdigest()
            found[path.relative_to(folder).as_posix()] = LocalObject(path, path.stat().st_size, digest)
    return found


def _places(folder: Path, deep: int) -> Iterator[Path]:
    """Walk through a folder and those in it, hidden ones and links left out."""
    yield folder
    for place in sorted(folder.iterdir()) if deep else ():
        if not place.name.startswith(".") and is_folder(place):
            yield from _places(place, deep - 1)


def _open(url: str) -> ObjectStore:
    from obstore.store import LocalStore, from_url

    parts = urlsplit(url)
    if parts.scheme == "file":
        return LocalStore.from_url(url, mkdir=True)
    return from_url(url, retry_config=PATIENCE)


def _state(store: ObjectStore, url: str) -> StoreState:
    import obstore

    rows = [row for rows in obstore.list(store) for row in rows]
    present = {row["path"]: (row["size"], row["e_tag"]) for row in rows}
    if MANIFEST not in present:
        return StoreState(whole=False, ours={}, present=present)
    page: Any = None
    if present[MANIFEST][0] <= MOST_MANIFEST_BYTES:
        page = _read_manifest(bytes(obstore.get(store, MANIFEST).bytes()))
    if page is None:
        raise OutputError(Problem(url, f"{MANIFEST} stands there and was not sent from here", ELSEWHERE))
    return StoreState(whole=page["whole"], ours=page["objects"], present=present)


def _read_manifest(text: bytes) -> dict[str, Any] | None:
    """Read a manifest; None if it is none of ours."""
    try:
        page = json.loads(text)
        objects = {
            str(name): {"sha256": _text(sent["sha256"]), "e_tag": _text(sent["e_tag"])}
            for name, sent in page["objects"].items()
        }
        return {"whole": page["whole"] is True, "objects": objects}
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _put_manifest(
    store: ObjectStore,
    files: Mapping[str, LocalObject],
    tags: Mapping[str, str | None],
    *,
    also: set[str] | frozenset[str] = frozenset(),
    whole: bool = False,
) -> None:
    """Put the manifest; what has no tag yet is named without one, so that its place is known as ours."""
    import obstore

    objects: dict[str, dict[str, Any]] = {name: {"sha256": None, "e_tag": None} for name in also}
    for name, file in files.items():
        tag = tags.get(name)
        objects[name] = {"sha256": file.sha256 if name in tags else None, "e_tag": tag, "bytes": file.size}
    page = {"whole": whole, "objects": dict(sorted(objects.items()))}
    obstore.put(store, MANIFEST, (json.dumps(page, indent=1, ensure_ascii=False) + "\n").encode())


def _put(store: ObjectStore, name: str, file: LocalObject) -> str | None:
    """Put one object and return the store's tag of it."""
    import obstore
    from obstore.store import LocalStore

    kind = TYPES.get(file.path.suffix) or mimetypes.guess_type(file.path.name)[0]
    attributes = {"Content-Type": kind} if kind and not isinstance(store, LocalStore) else None
    return obstore.put(store, name, file.path, attributes=attributes, max_concurrency=2)["e_tag"]


def _delete(store: ObjectStore, names: set[str]) -> None:
    import obstore

    if names:
        obstore.delete(store, sorted(names))


def _is_mark(name: str) -> bool:
    return name.rpartition("/")[2] == MARK


def _folder(name: str) -> str:
    return name.rpartition("/")[0]


@contextmanager
def _said(url: str) -> Iterator[None]:
    """Turn what obstore raises into one line, without what a signed request carries."""
    from obstore.exceptions import BaseError

    try:
        yield
    except (BaseError, OSError, NotImplementedError, ValueError) as error:
        said = _harmless(first_line(error))
        raise OutputError(Problem(url, f"results cannot be sent there ({said})", LOOK)) from None


def _harmless(text: str) -> str:
    """Leave out what a signed request and a server's answer to it may carry.

    Examples
    --------
    >>> _harmless("PUT https://b.org/x?sig=abc failed: 403: <Error><Code>Denied</Code><Key>abc</Key></Error>")
    'PUT https://b.org/x failed: 403: Denied'
    """
    said, _, answer = text.partition("<")
    code = re.search(r"<?Code>(\w+)</Code>", answer)
    return re.sub(r"\?\S*", "", said) + (code[1] if code else "")
