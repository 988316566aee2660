"""What is known of a block besides its outline: from the columns of the outlines, or from a plain table."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import RowCounts, ToldRow
from stressmap.core.sources import InputSource
from stressmap.core.units import parse_month_day
from stressmap.intake.columns import MOST_PROBLEMS, Fields, Table, match, recogniser
from stressmap.intake.table_files import read_sheet
from stressmap.intake.unit_headings import normal

ASKED = "???"
"""What ``start`` writes where a word of the user's is wanted."""
COLUMNS = ("crop", "variety", "planted", "irrigation", "weight", "harvest", "soil", "wetted_share")
"""What a table by block may say."""
_WANTED = {
    "planted": "Write the year of planting, or leave the cell empty",
    "harvest": "Write month and day of the harvest as 08-15, or leave the cell empty",
    "irrigation": "Write drip, micro_sprinkler, sprinkler or flood, or leave the cell empty",
    "weight": "Write how much the block counts in a drought as a number, or leave the cell empty",
}


@dataclass(frozen=True)
class BlockAttributes:
    """What one file says of blocks.

    Parameters
    ----------
    where : str
        The file, for messages.
    heading : str
        How it spells ``crop``.
    said : DataFrame
        A row per row of the file, by its number there; columns ``COLUMNS``, empty where it says nothing.
    """

    where: str
    heading: str
    said: pd.DataFrame


def attributes_of(table: Table, labels: Sequence[str], crops: Sequence[str]) -> BlockAttributes:
    """Read what a table says of its blocks.

    Parameters
    ----------
    table : Table
        Of outlines or of attributes.
    labels : sequence of str
        Name of the block of each row.
    crops : sequence of str
        Crops that have a profile, for messages.

    Returns
    -------
    BlockAttributes
    ----------

    Raises
    ------
    DataError
        If a cell still asks for a word (``"???"``), or holds the wrong kind of thing.
    """
    refuse_asked(table, labels, crops)
    crop = [None if text is None else " ".join(text.split()) for text in table.text("crop")]
    values = pd.DataFrame(
        {
            "crop": pd.Series(crop, index=table.index, dtype=object),
            "variety": table.text("variety"),
            "planted": years(table),
            "irrigation": table.text("irrigation"),
            "weight": positive(table, "weight"),
            "harvest": days(table, "harvest"),
            "soil": table.text("soil"),
            "wetted_share": share(table, "wetted_share"),
        }
    )
    return BlockAttributes(table.where, table.headings.get("crop", "crop"), values)


def refuse_asked(table: Table, labels: Sequence[str], crops: Sequence[str]) -> None:
    """Refuse cells that ``start`` left to be filled in.

    Parameters
    ----------
    table : Table
        Of outlines or of attributes.
    labels : sequence of str
        Name of the block of each row.
    crops : sequence of str
        Crops that have a profile.

    Raises
    ------
    DataError
        One problem a cell, which names the block and says what to write.
    """
    wanted = {"crop": wanted_crop(crops)} | _WANTED
    problems = [
        Problem(
            table.where,
            f"{ASKED!r} still stands for the {column} of block {label!r}",
            wanted.get(column, "Write it, or leave the cell empty"),
            row,
            table.headings[column],
        )
        for column in COLUMNS
        if table.has(column)
        for row, label, cell in zip(table.index.tolist(), labels, table.columns[column], strict=True)
        if cell == ASKED
    ]
    if problems:
        raise DataError(problems)


def wanted_crop(crops: Sequence[str]) -> str:
    """Say what may be written for a crop."""
    if not crops:
        return "Write its crop"
    return f"Write its crop: {', '.join(sorted(crops))}, or one of your own that [crops.<name>] describes"


def read_attributes(
    given: Path | InputSource, columns: Mapping[str, str], fields: Fields, crops: Sequence[str]
) -> Noted[tuple[BlockAttributes, list[str]]]:
    """Read a plain table by block.

    Parameters
    ----------
    given : Path or InputSource
        CSV or XLSX.
    columns : mapping of str to str
        ``[columns]`` of the settings.
    fields : mapping of str to Field
        The columns of blocks.
    crops : sequence of str
        Crops that have a profile, for messages.

    Returns
    -------
    Noted of (BlockAttributes, list of str)
        What it says, and the block of each row as written.

    Raises
    ------
    DataError
        If it cannot be read, or a row has no block, or one that stands above already.
    """
    source, notes = InputSource.of(given), NoteList()
    sheet = notes.keep(read_sheet(source, recogniser(fields, columns)))
    table = match(sheet, fields, columns, required=("block",))
    labels = names_of(table, "block", unique=True)
    return notes.beside((attributes_of(table, labels, crops), labels))


def lay_over(
    own: pd.DataFrame, names: Sequence[str], table: BlockAttributes, labels: Sequence[str]
) -> Noted[pd.DataFrame]:
    """Lay a table by block over what the outlines say themselves; the table counts where it says something.

    Parameters
    ----------
    own : DataFrame
        Columns ``COLUMNS``, a row per outline.
    names : sequence of str
        Blocks of the outlines.
    table : BlockAttributes
        What the table says.
    labels : sequence of str
        Block of each of its rows, as written.

    Returns
    -------
    Noted of DataFrame
        As ``own``, and ``row`` (of the table, NaN where it has none). Names rows of unknown blocks, blocks
        without a row, and where the two disagree.

    Raises
    ------
    DataError
        If two rows are of one block.
    """
    notes = NoteList()
    found = [_block_of(label, names) for label in labels]
    _refuse_twice(found, table)
    told = [
        ToldRow.of(row, "block_unknown", block=label, near=_nearest(label, names))
        for row, label, name in zip(table.said.index, labels, found, strict=True)
        if name is None
    ]
    notes.count(RowCounts.of(table.where, "attributes", table.said.index, told))
    if told:
        pairs = [f"{dict(one.values)['block']!r} ({dict(one.values)['near']!r}?)" for one in told]
        notes.say("attributes_unknown_blocks", "warning", file=table.where, count=len(told), pairs=pairs)
    rowed = {name: row for row, name in zip(table.said.index, found, strict=True) if name is not None}
    bare = [name for name in names if name not in rowed]
    if bare:
        notes.say("attributes_missing_blocks", "caution", file=table.where, blocks=bare)
    row = pd.Series([rowed.get(name) for name in names], index=own.index, dtype=float)
    over = table.said.reindex(row.to_numpy()).set_axis(own.index)
    merged = own.copy()
    for column in COLUMNS:
        clash = _differ(own[column], over[column])
        if clash.any():
            at = int(clash.to_numpy().argmax())
            example = {"here": _plain(over[column].iloc[at]), "there": _plain(own[column].iloc[at])}
            blocks = [name for name, differs in zip(names, clash, strict=True) if differs]
            notes.say(
                "attributes_differ", "caution", file=table.where, column=column, blocks=blocks, **example
            )
        merged[column] = over[column].where(over[column].notna(), own[column])
    return notes.beside(merged.assign(row=row))


def _block_of(label: str, names: Sequence[str]) -> str | None:
    """Find the block that a name means: as written, else the only one but for case, blanks, zeros."""
    if label in names:
        return label
    alike = [name for name in names if _folded(name) == _folded(label)]
    return alike[0] if len(alike) == 1 else None


def _folded(name: str) -> str:
    parts = normal(name).replace("_", " ").split()
    return "".join(part.lstrip("0") or "0" if part.isdigit() else part for part in parts)


def _nearest(label: str, names: Sequence[str]) -> str:
    near = difflib.get_close_matches(_folded(label), [_folded(name) for name in names], n=1, cutoff=0.0)
    return next(name for name in names if _folded(name) == near[0])


def _refuse_twice(found: Sequence[str | None], table: BlockAttributes) -> None:
    seen = dict[str, int]()
    problems = []
    for row, name in zip(table.said.index.tolist(), found, strict=True):
        if name is not None and name in seen:
            what = f"block {name!r} stands in row {seen[name]} too"
            problems.append(Problem(table.where, what, "Keep one row for each block", row))
        elif name is not None:
            seen[name] = row
    if problems:
        raise DataError(problems[:MOST_PROBLEMS])


def _differ(one: pd.Series, other: pd.Series) -> pd.Series:
    both = one.notna() & other.notna()
    return both & (one.map(_comparable) != other.map(_comparable))


def _comparable(value: object) -> object:
    return normal(value) if isinstance(value, str) else value


def _plain(value: object) -> str:
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


def names_of(table: Table, column: str, *, unique: bool = False, folded: bool = False) -> list[str]:
    """Read a column of names that no row may lack.

    Parameters
    ----------
    table : Table
        As read.
    column : str
        Our name.
    unique : bool
        Whether no two rows may bear one.
    folded : bool
        Whether names that differ only in capital letters are the same.

    Returns
    -------
    list of str
        Blanks folded.

    Raises
    ------
    DataError
        Where one is empty or stands twice.
    """
    problems, seen = [], dict[str, tuple[int, str]]()
    heading = table.headings[column]
    found = [None if text is None else " ".join(text.split()) for text in table.text(column)]
    for row, name in zip(table.index.tolist(), found, strict=True):
        key = str(name).casefold() if folded else str(name)
        if name is None:
            problems.append(Problem(table.where, f"the {column} is empty", "Name it", row, heading))
        elif unique and (again := seen.get(key)) is not None:
            row_before, before = again
            what = f"{name!r} stands in row {row_before} too"
            if before != name:
                what = f"{name!r} differs from {before!r} in row {row_before} only in capital letters"
            problems.append(Problem(table.where, what, f"Give each {column} its own name", row, heading))
        else:
            seen.setdefault(key, (row, name))
    if problems:
        raise DataError(problems)
    return [str(name) for name in found]


def positive(table: Table, column: str) -> pd.Series:
    """Read a column of positive numbers, NaN where empty."""
    value = table.numbers(column, wanted="it as a positive number")
    wrong = (value < 0) | ((value == 0) & (column == "weight"))
    table.refuse(column, wrong, "is not a positive number", "Correct it")
    return value


def share(table: Table, column: str) -> pd.Series:
    """Read a column of shares of the ground, NaN where empty."""
    value = table.numbers(column, wanted="it as a share, over 0 to 1")
    wrong = (value <= 0) | (value > 1)
    table.refuse(column, wrong, "is not a share of the ground", "Write it as 0.35, over 0 to 1")
    return value


def years(table: Table) -> pd.Series:
    """Read ``planted`` as a year, from a year or a date."""
    text = table.text("planted")
    year = pd.to_numeric(text.astype(str).str.extract(r"\b(\d{4})\b")[0], errors="coerce").astype(float)
    year = year.where(year.between(1900, 2100))
    table.refuse("planted", text.notna() & year.isna(), "is not a year", "Write the year of planting")
    return year


def days(table: Table, column: str) -> pd.Series:
    """Read days of the year, ``MM-DD``, from such or from dates."""
    text = table.text(column)
    day = text.astype(object).where(
        text.isna(), text.astype(str).str.extract(r"(\d{2}-\d{2})(?:[T ].*)?$")[0]
    )

    def wrong(value: object) -> bool:
        try:
            parse_month_day(str(value))
        except ValueError:
            return True
        return False

    bad = text.notna() & day.map(wrong).astype(bool)
    table.refuse(column, bad, "is not a day of the year", "Write month and day as 08-15")
    return day.where(text.notna(), None)
