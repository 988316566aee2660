"""The sets that were planned, by their codes: what a row of valve times leaves out is filled in from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from zoneinfo import ZoneInfo

import pandas as pd

from stressmap.core.errors import DataError
from stressmap.core.set_codes import plain_code
from stressmap.intake.columns import Table
from stressmap.intake.known_names import KnownNames
from stressmap.intake.planned_work import read_timetable


@dataclass(frozen=True)
class PlannedSet:
    """A set of a timetable.

    Parameters
    ----------
    valve, block : str
        Where; the block may be ``""``.
    start, end : Timestamp
        As planned, aware of their zone.
    """

    valve: str
    block: str
    start: pd.Timestamp
    end: pd.Timestamp


NO_SETS: Mapping[str, PlannedSet] = MappingProxyType({})


def planned_sets(timetables: Iterable[Path], zone: ZoneInfo) -> dict[str, PlannedSet]:
    """Read the sets of timetables.

    Parameters
    ----------
    timetables : iterable of Path
        ``timetable.csv`` of one visit after the other: of sets with one code the last counts. What is no
        timetable is passed over: nothing depends on it.
    zone : ZoneInfo
        The ranch's.

    Returns
    -------
    dict of str to PlannedSet
        By code.
    """
    found: dict[str, PlannedSet] = {}
    for path in timetables:
        try:
            sets = read_timetable(path, zone).value
        except DataError:
            continue
        sets = sets[sets["code"].notna()].assign(block=sets["block"].fillna(""))
        columns = (sets[name].tolist() for name in ("code", "valve", "block", "start", "end"))
        for code, *says in zip(*columns, strict=True):
            found[plain_code(str(code))] = PlannedSet(*says)
    return found


def filled_in(
    table: Table, sets: Mapping[str, PlannedSet], known: KnownNames | None
) -> tuple[Table, dict[int, str]]:
    """Fill in valve, block and planned times by the codes of the rows.

    Parameters
    ----------
    table : Table
        Valve times under our names.
    sets : mapping of str to PlannedSet
        By code.
    known : KnownNames or None
        The valves there are.

    Returns
    -------
    Table
        With what was empty filled in, and the code's valve in place of one that there is not.
    dict of int to str
        Row -> the valve that was replaced.
    """
    codes = table.text("code").fillna("").astype(str).map(plain_code)
    rows = {int(row): sets[code] for row, code in codes.items() if code in sets}  # type: ignore[call-overload]
    if not rows:
        return table, {}
    names = ("valve", "block", "planned_start", "planned_end")
    cells = {name: table.text(name).fillna("").astype(str).str.strip() for name in names}
    replaced: dict[int, str] = {}
    for row, one in rows.items():
        valve = cells["valve"][row]
        if valve and known is not None and known.several(valve).unknown and one.valve != valve:
            replaced[row] = valve
            cells["valve"][row] = ""
        for name, value in zip(names, (one.valve, one.block, _text(one.start), _text(one.end)), strict=True):
            cells[name][row] = cells[name][row] or value
    columns = {name: column.astype(object) for name, column in cells.items()}
    headings = {name: name for name in names}
    return replace(
        table, columns={**table.columns, **columns}, headings={**headings, **table.headings}
    ), replaced


def _text(moment: pd.Timestamp) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"
