"""Which version of a row an arriving one is: new, a correction, or there already. Pure; knows no database."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

_encoded = json.JSONEncoder(default=str, ensure_ascii=False).encode
Outcome = Literal["new", "corrected", "present", "since_corrected", "clash"]
"""A row not known yet; a later version of one that is; the same as one; the same as, or stated to be, a
version that was corrected since; another content under a version that is there, kept as the latest."""


@dataclass(frozen=True)
class ArrivingRow:
    """A row of a file, read and ready to be kept.

    Parameters
    ----------
    key : str
        What it is of: the same for every version of it.
    source_row : int
        Its row in the file, as a spreadsheet shows it.
    values : mapping of str to value
        Its content: text, numbers, times, None.
    version : int or None
        As the file states it; None where files have none.
    withdrawn : bool
        Whether it takes back what came before.
    """

    key: str
    source_row: int
    values: Mapping[str, Any] = field(default_factory=dict)
    version: int | None = None
    withdrawn: bool = False

    @cached_property
    def digest(self) -> str:
        """A fingerprint of what it says, whatever file it stands in."""
        told = [self.withdrawn, *map(self.values.__getitem__, sorted(self.values))]
        return hashlib.sha256(_encoded(told).encode()).hexdigest()


@dataclass(frozen=True)
class Decided:
    """What an arriving row is, and the version it is kept as.

    Parameters
    ----------
    outcome : str
        One of :data:`Outcome`.
    version : int or None
        None where it is not kept again.
    """

    outcome: Outcome
    version: int | None = None


def decide(row: ArrivingRow, known: Mapping[int, str]) -> Decided:
    """Tell what a row is beside the versions of it that are there.

    Parameters
    ----------
    row : ArrivingRow
        That arrives.
    known : mapping of int to str
        The fingerprints of the versions there are.

    Returns
    -------
    Decided
        Where nothing states a version, what differs is a correction; what is the same as a version corrected
        since is not: files are handed in twice more often than corrections are taken back.

    Examples
    --------
    >>> first, second = ArrivingRow("a", 2, {"bar": 12.0}), ArrivingRow("a", 2, {"bar": 13.0})
    >>> decide(first, {}), decide(second, {1: first.digest})
    (Decided(outcome='new', version=1), Decided(outcome='corrected', version=2))
    >>> decide(first, {1: first.digest, 2: second.digest})
    Decided(outcome='since_corrected', version=None)
    """
    if not known:
        return Decided("new", row.version or 1)
    last = max(known)
    if row.digest == known[last]:
        return Decided("present")
    if row.digest in known.values():
        return Decided("since_corrected")
    if row.version is None or row.version > last:
        return Decided("corrected", row.version or last + 1)
    if row.version in known:
        return Decided("clash", last + 1)
    return Decided("since_corrected", row.version)
