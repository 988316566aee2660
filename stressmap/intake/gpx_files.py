"""GPX waypoints -> a sheet of text.

A reading may stand, looked for in this order and the first found taken,

1. in ``extensions``, an element per column (``<pressure_mpa>1.25</pressure_mpa>``, any namespace);
2. in ``cmt`` or ``desc``, as ``name=value`` or ``name: value`` between semicolons, bars or lines
   (``pressure=12.5; bag=15; block=3``);
3. in ``cmt`` or ``desc``, as a number with or without a unit and nothing else (``12.5``, ``1.25 MPa``);
4. behind the tree in ``name``, with a unit or a decimal (``T17 12.5``, ``T17 12 bar``).

What is left of ``cmt`` and ``desc`` becomes the note.
"""

from __future__ import annotations

import re
from typing import Any
from xml.etree.ElementTree import TreeBuilder

from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeTree

from stressmap.core.errors import DataError, Problem
from stressmap.intake.heading_recognition import recognise
from stressmap.intake.spellings import FIELDS
from stressmap.intake.tabular import Known, Sheet, sheet_of

MAX_MARKS = 1_500_000
"""Elements are counted by their brackets, attributes by their signs; each takes up to 300 bytes of memory."""
MAX_DEPTH = 100
MOST_NAME = 200
"""A longer name of a waypoint is not looked into for a reading."""
_UNIT = r"(?:bars?|bares|mpa|kpa|psi)"
_ALONE = re.compile(rf"[+-]?\d+(?:[.,]\d+)?\s*{_UNIT}?", re.IGNORECASE)
_BEHIND = re.compile(
    rf"(.*\S)[\s,;:]+([+-]?\d+(?:[.,]\d+|(?:[.,]\d+)?\s*{_UNIT}|[.,]\d+\s*{_UNIT}))", re.IGNORECASE
)


def read_waypoints(data: bytes, where: str, known: Known) -> Sheet:
    """Read the waypoints of a GPX file.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.
    known : callable
        Whether a heading is recognised.

    Returns
    -------
    Sheet
        The first waypoint is row 2.

    Raises
    ------
    DataError
        If it is no GPX, declares entities, or holds no waypoint.
    """
    root = parse_xml(data, where)
    if _local(root) != "gpx":
        what = f"it is XML, but not GPX (its root is {_local(root)!r})"
        raise DataError(Problem(where, what, "Export the waypoints as GPX"))
    points = [node for node in root if _local(node) == "wpt"]
    if not points:
        raise DataError(Problem(where, "it holds no waypoints", "Export waypoints, not tracks or routes"))
    return sheet_of([_record(node, known) for node in points], where)


class _Shallow(TreeBuilder):
    """Builds the tree of an XML file, unless it nests deeper than any that was made to be read."""

    def __init__(self, where: str) -> None:
        super().__init__()
        self._where = where
        self._depth = 0

    def start(self, tag: str, attrs: dict[str, str]) -> Any:
        self._depth += 1
        if self._depth > MAX_DEPTH:
            what = f"its elements nest deeper than {MAX_DEPTH}"
            raise DataError(Problem(self._where, what, "Export it again"))
        return super().start(tag, attrs)

    def end(self, tag: str) -> Any:
        self._depth -= 1
        return super().end(tag)


def parse_xml(data: bytes, where: str) -> Any:
    """Parse XML that came from outside; entities and document types are refused.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.

    Returns
    -------
    Element

    Raises
    ------
    DataError
        If it is not well-formed, declares a document type or has no bearable size.
    """
    if max(data.count(b"<"), data.count(b"=")) > MAX_MARKS:
        what = f"it has more than {MAX_MARKS:,} tags or attributes"
        raise DataError(Problem(where, what, "Cut it to what is needed"))
    parser = SafeTree.XMLParser(target=_Shallow(where), forbid_dtd=True)
    try:
        parser.feed(data)
        return parser.close()
    except DefusedXmlException:
        what = "it declares a document type or entities, which are not read"
        raise DataError(Problem(where, what, "Export it again from the program that made it")) from None
    except (SafeTree.ParseError, ValueError, LookupError) as error:
        raise DataError(Problem(where, f"it is not sound XML ({error})", "Export it again")) from None


def _local(node: Any) -> str:
    return str(node.tag).rpartition("}")[2]


def _record(node: Any, known: Known) -> dict[str, str]:
    record = {"lon": node.get("lon", ""), "lat": node.get("lat", "")}
    children = {_local(child): (child.text or "").strip() for child in node}
    if children.get("time"):
        record["time"] = children["time"]
    for child in node:
        if _local(child) == "extensions":
            leaves = [leaf for leaf in child.iter() if len(leaf) == 0 and (leaf.text or "").strip()]
            record.update({_local(leaf): leaf.text.strip() for leaf in leaves if known(_local(leaf))})
    told = "\n".join(t for t in (children.get("cmt"), children.get("desc")) if t)
    pairs, rest = _pairs(told, known)
    record = {**_ours(pairs), **_ours(record)}
    name = children.get("name", "")
    has_value = "pressure" in record
    alone = next((text for text in rest if _ALONE.fullmatch(text)), None)
    if not has_value and alone:
        record["pressure"] = alone
        rest.remove(alone)
        has_value = True
    behind = _BEHIND.fullmatch(name) if len(name) < MOST_NAME else None
    if not has_value and behind:
        name, record["pressure"] = behind.group(1, 2)
    record.setdefault("tree_id", name)
    record.setdefault("note", "; ".join(dict.fromkeys(rest)))
    return record


def _pairs(text: str, known: Known) -> tuple[dict[str, str], list[str]]:
    """Split a comment into ``name=value`` pairs that are recognised, and the rest."""
    pairs: dict[str, str] = {}
    rest = []
    for chunk in re.split(r"[;|\n]|,\s+", text):
        name, mark, value = re.match(r"([^=:]*)([=:]?)(.*)", chunk.strip(), re.DOTALL).groups()  # type: ignore[union-attr]
        if mark and value.strip() and known(name.strip()):
            pairs.setdefault(name.strip(), value.strip())
        elif chunk.strip():
            rest.append(chunk.strip())
    return pairs, rest


def _ours(record: dict[str, str]) -> dict[str, str]:
    """Give recognised names one spelling, as waypoints of one file may differ; a pressure keeps its unit."""
    spelled: dict[str, str] = {}
    for name, value in record.items():
        seen = recognise(name, FIELDS)
        if seen is None or seen.weak:
            spelled.setdefault(name, value)
        elif seen.ours in {"pressure", "recheck"}:
            spelled.setdefault(seen.ours, f"{value} {seen.unit}" if seen.unit else value)
        else:
            spelled.setdefault(f"{seen.ours} ({seen.unit})" if seen.unit else seen.ours, value)
    return spelled
