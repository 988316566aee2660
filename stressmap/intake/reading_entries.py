"""What stands beside a reading in a phone's export: id, version, whether it is withdrawn, trouble, stop."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

import pandas as pd

from stressmap.core.sources import InputSource
from stressmap.core.text import without_accents
from stressmap.intake.columns import fitting, match, recogniser
from stressmap.intake.filled_times import YES
from stressmap.intake.heading_recognition import Field, names
from stressmap.intake.point_files import read_points
from stressmap.intake.several_files import sheets_of
from stressmap.intake.spellings import FIELDS as READING_FIELDS
from stressmap.intake.table_files import WORKBOOK

FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        "reading_id": Field(()),
        "version": Field(()),
        "withdrawn": Field(()),
        "trouble": Field(names("problem problema")),
        "stop": Field(names("parada")),
    }
)
"""Columns that only a record needs."""
BEGINNING = 1 << 16


def reading_entries(given: InputSource, columns: Mapping[str, str]) -> pd.DataFrame | None:
    """Read what stands beside the readings of a file.

    Parameters
    ----------
    given : InputSource
        The file, which :func:`stressmap.intake.readings.read_readings` has read before.
    columns : mapping of str to str
        ``[columns]`` of the settings.

    Returns
    -------
    DataFrame or None
        ``file``, ``row``, ``reading_id``, ``version`` (whole, None where none is stated), ``withdrawn``,
        ``trouble``, ``stop``, in the order of the readings; None for a table of text that
        has none of these columns.

    Raises
    ------
    DataError
        If the file cannot be read.
    """
    if not _may_have_any(given):
        return None
    known = recogniser(READING_FIELDS, columns)
    fits = fitting(READING_FIELDS, columns, ("pressure",), ("time", "date"))
    sheets = sheets_of(given, "readings", lambda source: read_points(source, known, fits)).value
    frames = []
    for sheet in sheets:
        table = match(sheet, FIELDS, {})
        found = {name: table.text(name) for name in FIELDS}
        found["version"] = found["version"].map(_whole)
        found["withdrawn"] = found["withdrawn"].map(_is_yes)
        frames.append(pd.DataFrame({"file": sheet.where, "row": sheet.frame.index, **found}, dtype=object))
    return pd.concat(frames, ignore_index=True)


def _may_have_any(given: InputSource) -> bool:
    """Tell whether headings of these columns can stand in a file: of text, at its beginning."""
    head = given.head(BEGINNING)
    if head.startswith(WORKBOOK) or not head.removeprefix(b"\xef\xbb\xbf")[:1].isalnum():
        return True
    words = {word for name, field in FIELDS.items() for word in (name, *field.names)}
    plain = head.replace(b"\0", b"").lower()
    return any(word.encode() in plain or word.replace("_", " ").encode() in plain for word in words)


def _whole(text: object) -> int | None:
    return int(float(text)) if isinstance(text, str) and re.fullmatch(r"\d{1,9}(\.0+)?", text) else None


def _is_yes(text: object) -> bool:
    return isinstance(text, str) and without_accents(text.strip().casefold()) in YES
