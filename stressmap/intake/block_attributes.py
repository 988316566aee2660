"""What is known of a block besides its outline: from the columns of the outlines, or from a plain table."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import NONE, Columns, RowCounts, ToldRow
from stressmap.core.sources import InputSource
from stressmap.core.unfilled import ASKED
from stressmap.intake.block_cells import bearing, days, names_of, positive, share, spacing, years
from stressmap.intake.columns import MOST_PROBLEMS, Table, match, recogniser
from stressmap.intake.heading_recognition import Fields
from stressmap.intake.known_names import BLOCK_WORDS, KnownNames
from stressmap.intake.table_files import read_sheet
from stressmap.intake.unit_headings import normal
from stressmap.intake.unread_columns import columns_of

SPACINGS = ("row_spacing_m", "tree_spacing_m")
COLUMNS = (
    "crop", "variety", "planted", "irrigation", "weight", "harvest", "soil",
    *SPACINGS, "row_bearing", "wetted_share",
)  # fmt: skip
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
    headings : mapping of str to str
        How it spells our columns.
    said : DataFrame
        A row per row of the file, by its number there; columns ``COLUMNS``, empty where it says nothing.
    told : tuple of ToldRow
        Rows of the file that are no entries.
    columns : Columns
        Which columns of the file were read.
    """

    where: str
    headings: Mapping[str, str]
    said: pd.DataFrame
    told: tuple[ToldRow, ...] = ()
    columns: Columns = NONE


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
            **{column: spacing(table, column) for column in SPACINGS},
            "row_bearing": bearing(table, "row_bearing"),
            "wetted_share": share(table, "wetted_share"),
        }
    )
    return BlockAttributes(table.where, dict(table.headings), values)


def bare_spacings(table: Table) -> Iterator[Note]:
    """Tell of distances whose heading states no unit: they were taken as metres.

    Parameters
    ----------
    table : Table
        Of outlines or of attributes.

    Yields
    ------
    Note
        One a column.
    """
    for column in SPACINGS:
        if table.unit(column) is None and table.text(column).notna().any():
            heading = table.headings[column]
            yield Note.of("spacing_without_unit", "caution", file=table.where, column=heading)


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
    read = notes.keep(columns_of(sheet, table, fields, columns))
    labels = names_of(table, "block", unique=True)
    said = dataclasses.replace(attributes_of(table, labels, crops), told=sheet.told, columns=read)
    notes.add(bare_spacings(table))
    return notes.beside((said, labels))


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
    known = KnownNames(names, BLOCK_WORDS)
    found = [known.one(label) for label in labels]
    _refuse_twice(found, table)
    told = [
        ToldRow.of(row, "block_unknown", block=label, near=known.near(label, least=0.0))
        for row, label, name in zip(table.said.index, labels, found, strict=True)
        if name is None
    ]
    rows, lost = [*table.said.index, *(one.row for one in table.told)], [*table.told, *told]
    notes.count(RowCounts.of(table.where, "attributes", rows, lost, columns=table.columns))
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
