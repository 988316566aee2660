"""Tables of what is next in a season: what is due by day and pump, turns advised, the let-down."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from markupsafe import Markup

from stressmap.output.text.season_words import SeasonWords
from stressmap.output.view.due_words import WIDE_DAYS, with_range
from stressmap.output.view.rows import rows
from stressmap.output.view.season_cells import missing, number, range_of
from stressmap.output.web.season_tables import SeasonTable, SeasonTables, begun_crop

WEEK = 7


@dataclass(frozen=True)
class NextTables:
    """Makes the tables of what is next.

    Parameters
    ----------
    tables : SeasonTables
        The season and how its cells are written.
    """

    tables: SeasonTables

    def calendar(self) -> tuple[SeasonTable, SeasonTable]:
        """List what is due by day and pump: within a week, and later."""
        season = self.tables.season
        alarmed = set(season.due.loc[season.due["zone"].isin(season.alarmed), "valve"].astype(str))
        found: dict[tuple[Any, str], list[Mapping[str, Any]]] = {}
        for row in rows(season.calendar):
            key = row["day"], str(row["pump"] or "")
            found.setdefault(key, []).append(row)
        cells = [
            (
                self.tables.spoken.day(day),
                pump or self.tables.spoken("form.unknown"),
                self.tables.spoken.each(partial(with_range, valves, alarmed)),
            )
            for (day, pump), valves in sorted(found.items())
        ]
        week = season.today + dt.timedelta(days=WEEK)
        first = sum(day <= week for day, _ in found)
        head = ("day", "pump", "valves")
        return self.tables.table(head, cells[:first], "due.csv"), self.tables.table(
            head, cells[first:], "due.csv"
        )

    def intervals(self) -> SeasonTable:
        """Put the usual turn beside the one advised, and the peak that the usual one leads to."""
        cells, alarmed = [], self.tables.season.alarmed
        for row in rows(self.tables.season.due.sort_values(["block", "valve"], kind="stable")):
            if missing(row["interval_days"]) or missing(row["stress_bar"]):
                continue
            cells.append(
                (
                    row["valve"],
                    row["block"],
                    self.tables.spoken.number(row["interval_days"], 0),
                    self.tables.spoken("next.no_turn")
                    if row.get("zone") in alarmed
                    else self.tables.spoken.each(partial(_advised, row)),
                    self.tables.spoken.range(row["peak_low_bar"], row["peak_high_bar"]),
                    self.tables.spoken.number(row["allowed_bar"]),
                )
            )
        return self.tables.table(("valve", "block", "usual", "advised", "peak", "allowed"), cells, "due.csv")

    def let_down(self) -> SeasonTable | None:
        """Say at what pace trees are let down, and where that leads."""
        table = self.tables.season.let_down
        if table.empty:
            return None
        return self.tables.table(
            ("block", "gauge", "weather", "target", "standing", "limit", "harvest", "allowed_then"),
            [self._let_down(row) for row in sorted(rows(table), key=_by_limit)],
        )

    def _let_down(self, row: dict[str, Any]) -> tuple[Any, ...]:
        crop = partial(begun_crop, str(row["crop"]), self.tables.profiles)
        name = (
            self.tables.spoken("form.all_blocks", crop=crop) if missing(row["block"]) else str(row["block"])
        )
        standing = str(row["standing"])
        return (
            name,
            self.tables.with_range(*(row[f"gauge_{end}"] for end in ("bar_per_week", "low", "high"))),
            self.tables.spoken.signed(row["weather_bar_per_week"]),
            self.tables.spoken.signed(row["target_bar_per_week"]),
            self.tables.spoken(f"next.{standing}"),
            self._limit(row),
            self.tables.with_range(*(row[f"at_harvest{end}_bar"] for end in ("", "_low", "_high"))),
            self.tables.spoken.number(row["allowance_at_harvest_bar"]),
        )

    def _limit(self, row: dict[str, Any]) -> Markup:
        early, harvest = row["limit_early"], row["harvest"]
        if not missing(early) and not missing(harvest) and early > harvest:
            return self.tables.spoken("next.after_harvest")
        return self._days(row["limit_day"], early, row["limit_late"])

    def _days(self, day: Any, early: Any, late: Any) -> Markup:
        if missing(day) and missing(early):
            return self.tables.spoken("form.unknown")

        def said(words: SeasonWords) -> str:
            first = words.plain.day(early if not missing(early) else day)
            last = words("urgent.open_end") if missing(late) else words.plain.day(late)
            return words("form.range", low=first, high=last)

        return self.tables.spoken.each(said)


def _by_limit(row: Mapping[str, Any]) -> tuple[int, dt.date, int]:
    """Put the earliest limit first, then what is let down too fast; crops after their blocks."""
    standing = ("ahead", "on_course", "behind").index(row["standing"]) if row["standing"] != "unknown" else 3
    days = (row[name] for name in ("limit_early", "limit_day"))
    limit = next((day for day in days if not missing(day)), dt.date.max)
    return int(missing(row["block"])), limit, standing


def _advised(row: Mapping[str, Any], words: SeasonWords) -> str:
    """Give the turn advised with its range."""
    middle, low, high = (row[f"interval_{name}_days"] for name in ("advised", "low", "high"))
    if missing(low):
        return words("next.over_three_weeks" if missing(row["days_left_low"]) else "form.unknown")
    low, high = math.floor(low), high if missing(high) else math.ceil(high)  # as the advice of the file
    if missing(middle) or missing(high) or high - low > WIDE_DAYS:
        return range_of(low, high, words, 0)
    told = {name: number(one, 0, words) for name, one in (("value", middle), ("low", low), ("high", high))}
    return words("form.value_range", **told)
