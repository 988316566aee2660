"""Tables and lists of the page of a season, in every language of the ranch."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import pandas as pd
from markupsafe import Markup

from stressmap.output.text.season_words import SeasonWords
from stressmap.output.view.crop_words import Profiles, begun, crop_title
from stressmap.output.view.due_words import (
    drying_words,
    hot_words,
    since_words,
    stands_words,
    when_due,
)
from stressmap.output.view.rows import rows
from stressmap.output.view.season_cells import amount, missing, number, unit_of, whole_days
from stressmap.output.view.season_order import alarms_by_standing, past_first
from stressmap.output.web.season_courses import BlockCourse
from stressmap.output.web.spoken import Spoken
from stressmap.season.not_relieved import Alarm
from stressmap.season.season import Season

LISTED = 400


@dataclass(frozen=True)
class SeasonTable:
    """A table of the page.

    Parameters
    ----------
    head : tuple of Markup
        Its columns.
    rows : tuple of tuple of Markup
        Their cells, the first of a row names it.
    more : Markup
        What is left out, and where it stands; empty for nothing.
    """

    head: tuple[Markup, ...]
    rows: tuple[tuple[Markup, ...], ...]
    more: Markup


@dataclass(frozen=True)
class SeasonTables:
    """Makes the tables of a season.

    Parameters
    ----------
    season : Season
        So far.
    profiles : mapping of str to CropProfile
        Of the crops on the ranch.
    spoken : Spoken
        The page's languages.
    """

    season: Season
    profiles: Profiles
    spoken: Spoken

    def table(self, columns: Iterable[str], cells: Iterable[tuple[Any, ...]], file: str = "") -> SeasonTable:
        """Put cells under the words of their columns; beyond the first few hundred a file is named."""
        found = list(cells)
        left = len(found) - LISTED
        more = self.spoken("page.more", count=left, file=file) if left > 0 else Markup("")
        kept = tuple(tuple(Markup.escape(cell) for cell in row) for row in found[:LISTED])
        return SeasonTable(tuple(self.head(name) for name in columns), kept, more)

    def head(self, name: str) -> Markup:
        """Say what stands in a column."""
        return self.spoken(f"head.{name}", unit=partial(unit_of, "depth"))

    def crop(self, crop: str) -> Markup:
        """Say what a crop is called."""
        return self.spoken.each(lambda words: crop_title(crop, self.profiles, words.plain))

    def alarms(self) -> list[dict[str, Markup]]:
        """Tell what was watered and not relieved, and what to look at; what stands highest first."""
        return [self._alarm(alarm) for alarm in alarms_by_standing(self.season)]

    def _alarm(self, alarm: Alarm) -> dict[str, Markup]:
        by_zone = self.season.due.set_index("zone")
        own = [zone for zone in alarm.zones if zone in by_zone.index]
        valves = ", ".join(str(by_zone.loc[zone, "valve"]) for zone in own)
        block = str(by_zone.loc[own[0], "block"]) if own else ""
        return {
            "valves": Markup.escape(valves),
            "block": Markup.escape(block),
            "text": self.spoken(
                f"urgent.{alarm.kind}",
                since=lambda words: words.plain.day(alarm.since),
                count=alarm.irrigations,
                low=lambda words: number(alarm.low_bar, 1, words),
                high=lambda words: number(alarm.high_bar, 1, words),
            ),
            "stands": self._stands(by_zone.loc[own]),
            "look": self.spoken(
                "urgent.look",
                reasons=lambda words: ", ".join(words(f"look.{reason}") for reason in alarm.reasons),
            ),
        }

    def _stands(self, due: pd.DataFrame) -> Markup:
        """Say where the stress of an alarm's valves stands, of several that of the driest."""
        known = due[due["stress_bar"].notna()]
        if known.empty:
            return Markup("")
        over = (known["stress_bar"] - known["allowed_bar"]).astype(float).fillna(-1e9)
        driest = rows(known)[int(over.to_numpy().argmax())]
        name = Markup("{}: ").format(driest["valve"]) if len(due) > 1 else Markup("")
        return name + self.spoken.each(partial(stands_words, driest))

    def past(self) -> list[dict[str, Any]]:
        """Tell what is past what is allowed, what surely is first."""
        return [self._due(row) for row in past_first(self.season)[:LISTED]]

    def due(self) -> tuple[list[dict[str, Any]], list[dict[str, Any]], int]:
        """Tell when valves not past yet are due: before the next visit, others, how many are left out."""
        past = {row["zone"] for row in past_first(self.season)}
        found = [row for row in rows(self.season.due) if row["zone"] not in past]
        until = (self.season.next_visit - self.season.today).days
        first = [row for row in found if not missing(row["days_left"]) and row["days_left"] <= until]
        others = [row for row in found if row not in first]
        shown = [self._due(row) for row in first[:LISTED]], [self._due(row) for row in others[:LISTED]]
        return *shown, sum(max(0, len(part) - LISTED) for part in (past, first, others))

    def _due(self, row: dict[str, Any]) -> dict[str, Any]:
        facts = (stands_words, since_words, drying_words, hot_words)
        said = [self.spoken.each(partial(fact, row)) for fact in facts]
        if row.get("zone") in self.season.alarmed:
            said.insert(0, self.spoken("urgent.look_first"))
        return {
            "valve": Markup.escape(row["valve"]),
            "block": Markup.escape(row["block"]),
            "when": self.spoken.each(lambda words: when_due(row, self.season.today, words)),
            "facts": [fact for fact in said if fact],
        }

    def compared(self) -> tuple[list[str], SeasonTable] | None:
        """Compare cycles by soil, system and crop: names for the picture, and its table."""
        table = self.season.compared
        if table.empty:
            return None
        found = rows(table)
        labels = [self.spoken.drawn(partial(self._kind, row)) for row in found]
        cells = [
            (
                self.spoken.each(partial(self._of_kind, row)),
                self.spoken("form.seen", count=row["cycles"], seen=row["seen"]),
                self._relief(row),
                self._share(row["recovered"] if row["seen"] else None),
                self.spoken.number(row["drying_bar_per_day"], 2),
            )
            for row in found
        ]
        return labels, self.table(("kind", "cycles", "relief", "recovered", "drying"), cells)

    def _of_kind(self, row: dict[str, Any], words: SeasonWords) -> str:
        return words("form.of", kind=words(f"water.by_{row['by']}"), name=self._kind(row, words))

    def _relief(self, row: dict[str, Any]) -> Markup:
        if not row["seen"]:
            return self.spoken("seen.none")
        return self.with_range(row["relief_bar"], row["relief_low_bar"], row["relief_high_bar"])

    def _kind(self, row: dict[str, Any], words: SeasonWords) -> str:
        kind = str(row["kind"])
        if row["by"] == "crop":
            return crop_title(kind, self.profiles, words.plain)
        return words.kind(kind)

    def with_range(self, value: Any, low: Any, high: Any) -> Markup:
        """Write a figure with its range, a dash for none."""
        if missing(value):
            return self.spoken("form.unknown")
        return self.spoken(
            "form.value_range",
            **{
                name: partial(number, one, 1)
                for name, one in (("value", value), ("low", low), ("high", high))
            },
        )

    def _share(self, share: Any) -> Markup:
        return self.spoken.each(lambda words: amount(None if missing(share) else share, "chance", words))

    def like_flood(self) -> list[Markup]:
        """Name the blocks whose drip is run like flood."""
        cycles = self.season.cycles
        if cycles.empty or "manner" not in cycles:
            return []
        said = []
        for block, own in cycles[cycles["manner"] == "like_flood"].groupby("block", sort=True):
            days = (
                self.season.due.loc[self.season.due["block"] == block, "interval_days"].astype(float).median()
            )
            hours = float(own["hours"].astype(float).median())
            said.append(
                self.spoken(
                    "water.like_flood",
                    block=str(block),
                    hours=partial(number, hours, 0),
                    days=partial(number, days, 0),
                )
            )
        return said

    def phases(self) -> list[Markup]:
        """Say which blocks every visit sees at one phase of their turn, and how to see the other."""
        table = self.season.phases
        if table.empty:
            return []
        moved = table["move_days"].astype(float).abs().round().astype(int)
        turn = table["interval_days"].astype(float).round().astype(int)
        return [
            self.spoken(
                "water.phase",
                blocks=", ".join(dict.fromkeys(own["block"].astype(str))),
                interval=interval,
                move=partial(_days_or_range, int(moved[own.index].min()), int(moved[own.index].max())),
            )
            for interval, own in table.groupby(turn, sort=True)
        ]

    def course(self, course: BlockCourse) -> SeasonTable:
        """Put the figures of a block's picture in a table, a row a visit."""
        cells = [
            (
                self.spoken.day(row["visit"]),
                self.spoken.number(row["swp_bar"]),
                self.spoken.number(row["low_bar"]),
                self.spoken.number(row["high_bar"]),
                self.spoken.number(row["target_bar"]),
                self.spoken.number(row["baseline_bar"]),
                str(row["readings"]),
                self.spoken.each(partial(whole_days, row["since_low"], row["since_high"])),
                self.spoken.bare(row["mm_since"], "depth"),
            )
            for row in rows(course.table)
        ]
        head = ("visit", "mean", "low", "high", "target", "line", "readings", "since", "water")
        return self.table(head, cells, "season.csv")

    def crop_course(self, courses: list[BlockCourse]) -> SeasonTable:
        """Put the blocks of a crop side by side at every visit."""
        first = courses[0]
        cells = []
        for place, row in enumerate(rows(first.table)):
            told = [
                self.spoken.number(one.table["swp_bar"].iloc[place])
                for one in courses
                if place < len(one.table)
            ]
            means = (self.spoken.number(row["target_bar"]), self.spoken.number(row["baseline_bar"]))
            cells.append((self.spoken.day(row["visit"]), *means, *told))
        plain = self.table(("visit", "target", "line"), cells, "season.csv")
        return SeasonTable(
            (*plain.head, *(Markup.escape(one.block) for one in courses)), plain.rows, plain.more
        )

    @cached_property
    def cycles_seen(self) -> dict[str, pd.DataFrame]:
        """Irrigations of each block that were seen on a side at least, the latest first."""
        seen = self.season.cycles[self.season.cycles["seen"] != "neither"]
        latest = seen.sort_values(["start", "valve"], ascending=[False, True])
        return {str(block): own for block, own in latest.groupby("block", sort=False)}

    def cycles_of(self, block: str, most: int) -> SeasonTable:
        """List the latest irrigations of a block that were seen on a side at least, no more than so many."""
        own = self.cycles_seen.get(block, self.season.cycles.iloc[:0])
        seen = {name: self.spoken(f"seen.{name}") for name in ("both", "before", "after")}
        cells = [
            (
                row["valve"],
                self.spoken.day(_date(row["start"])),
                self.spoken.bare(row["mm"], "depth"),
                *(
                    self.spoken.number(row[name])
                    for name in ("before_bar", "after_bar", "relief_bar", "relief_low_bar", "relief_high_bar")
                ),
                self._share(row["recovered"]),
                seen[row["seen"]],
            )
            for row in rows(own.head(most))
        ]
        head = ("valve", "start", "depth", "before", "after", "relief", "low", "high", "recovered", "seen")
        made = self.table(head, cells)
        left = len(own) - len(cells)
        return replace(made, more=self.spoken("page.more", count=left, file="cycles.csv")) if left else made

    def block_facts(self, row: Mapping[str, Any]) -> Markup:
        """Say what a block's season came to."""
        return self.spoken(
            "block.facts",
            area=lambda words: amount(row["area_ha"], "area", words),
            soil=lambda words: _named("soil", row["soil"], words),
            system=lambda words: _named("system", row["system"], words),
            water=lambda words: amount(row["water_mm"], "depth", words),
            bar_days=lambda words: number(row["over_target_bar_days"], 0, words),
            seen=row["cycles_seen"],
            **{name: row[name] for name in ("visits", "readings", "cycles", "alarms")},
        )

    def learnt(self) -> SeasonTable:
        """Say what is known of each block's water per bar, and from how many irrigations."""
        cells = []
        for row in rows(self.season.blocks):
            enough = row["cycles_seen"] >= 2 or row["prior_used"]
            per_bar = self._depths(row["mm_per_bar_low"], row["mm_per_bar_high"])
            cells.append(
                (
                    row["block"],
                    str(row["cycles_seen"]),
                    self.spoken.number(row["relief_bar"]),
                    self._share(row["recovered"]),
                    per_bar if enough else self.spoken("learnt.too_few"),
                    self.spoken.number(row["over_target_bar_days"], 0),
                )
            )
        return self.table(("block", "cycles", "relief", "recovered", "per_bar", "bar_days"), cells)

    def _depths(self, low: Any, high: Any) -> Markup:
        if missing(low) or missing(high):
            return self.spoken("form.unknown")
        return self.spoken(
            "form.range",
            low=lambda words: amount(low, "depth", words),
            high=lambda words: amount(high, "depth", words),
        )


def begun_crop(crop: str, profiles: Profiles, words: SeasonWords) -> str:
    """Begin a heading with what a crop is called."""
    return begun(crop_title(crop, profiles, words.plain))


def _named(section: str, name: Any, words: SeasonWords) -> str:
    return words(f"block.no_{section}") if missing(name) or not name else words.kind(name)


def _date(moment: dt.date | pd.Timestamp) -> dt.date:
    return moment.date() if isinstance(moment, dt.datetime) else moment


def _days_or_range(low: int, high: int, words: SeasonWords) -> str:
    return words("form.days", days=low) if low == high else words("form.day_range", low=low, high=high)
