"""What ``district.html`` shows where no script runs: what is urgent, the ranches, what failed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import partial
from typing import Any

from stressmap.core.errors import Problem
from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.note_words import sentences
from stressmap.output.text.problem_words import problem_text, whole_in
from stressmap.output.view.district_content import DistrictContent
from stressmap.output.view.palette import NOT_MEASURED, PRIORITY
from stressmap.output.view.rows import rows
from stressmap.output.view.shared_water import shared_water_text
from stressmap.output.web.still_page import CAUTIONS, both, letters

SHOWN = 40


def still_overview(content: DistrictContent, spoken: Sequence[DistrictWords]) -> dict[str, Any]:
    """Gather what the part of the page without scripts says.

    Parameters
    ----------
    content : DistrictContent
        Of a district.
    spoken : sequence of DistrictWords
        Its languages.

    Returns
    -------
    dict
        ``lead``, ``notes``, ``problems``, ``urgent`` (the first of the list) with ``more``, ``ranches``,
        ``water`` (an entry a language, where ranches share any) and ``cautions``.
    """
    plain = [words.plain for words in spoken]
    ranked = content.valves[content.valves["rank"].notna()]
    failed = sum(result.failed for result in content.results)
    return {
        "lead": both(spoken, lambda words: _lead(content, failed, words)),
        "notes": [line for words in plain for line in sentences(content.notes, words)],
        "problems": [(row["ranch"], _problem(row, spoken)) for row in rows(content.problems)],
        "urgent": [_valve(row, spoken) for row in rows(ranked.head(SHOWN))],
        "more": ""
        if len(ranked) <= SHOWN
        else both(spoken, lambda words: words("list.more_in_file", count=SHOWN, total=len(ranked))),
        "ranches": _ranches(content, spoken),
        "water": []
        if content.shared is None
        else [shared_water_text(content.shared, content.title_of, words) for words in spoken],
        "cautions": [
            " ".join(words(f"caution.{name}") for name in ("advice", "stress", *CAUTIONS[:3]))
            for words in plain
        ],
    }


def _problem(row: dict[str, Any], spoken: Sequence[DistrictWords]) -> list[tuple[str, str]]:
    """Say a problem in each language that has words for it; in English where none has. Language and text."""
    problem = Problem(row["file"], row["what"], row["remedy"], row["row"], row["column"])
    told: list[tuple[str, str]] = [
        (words.plain.language, problem_text(problem, words))
        for words in spoken
        if whole_in(problem, words.plain.language)
    ]
    return told or [("en", str(problem))]


def _lead(content: DistrictContent, failed: int, words: DistrictWords) -> str:
    parts = [words("list.ranches_count", count=len(content.results))]
    parts += [words("list.failed_count", count=failed)] if failed else []
    newest = max((one.visit[1] for one in content.results if one.visit), default=None)
    parts += [] if newest is None else [words("page.newest", day=words.plain.date(newest))]
    return " · ".join(parts)


def _valve(row: dict[str, Any], spoken: Sequence[DistrictWords]) -> dict[str, Any]:
    measured, priority = bool(row["measured"]), int(row["priority"])
    past = measured and bool(row["past_limit"])
    name = "none" if not measured else "past" if past else f"p{priority}"
    stress = row["stress_bar"]
    return {
        "rank": row["rank"],
        "valve": row["valve"],
        "block": row["block"] or "",
        "ranch": row["ranch"],
        "past": past,
        "look": letters(PRIORITY[priority] if measured else NOT_MEASURED),
        "short": f"P{priority}" if measured else "?",
        "standing": both(spoken, lambda words: words.plain(f"priority.{name}")),
        "stress": both(spoken, lambda words: words.plain.number(stress)),
        "due": both(spoken, lambda words: _day(row["due"], words)),
    }


def _day(text: str | None, words: DistrictWords) -> str:
    return "" if text is None else words.plain.day(dt.date.fromisoformat(text[:10]))


def _when(visit: tuple[dt.date, dt.date], lenders: int, words: DistrictWords) -> str:
    """Say when a ranch was read, and from how many others it borrowed."""
    days = words.plain.days(*visit)
    return f"{days} · {words('ranch.borrowed', count=lenders)}" if lenders else days


def _ranches(content: DistrictContent, spoken: Sequence[DistrictWords]) -> list[list[Any]]:
    """List the ranches in the order of the district's list."""
    known = content.valves[content.valves["measured"].astype(bool)]
    count = known.groupby(["ranch", "priority"]).size()
    lenders = {ranch.result.slug: ranch.lenders for ranch in content.ranches}
    listed: list[list[Any]] = []
    for result, title in zip(content.results, content.titles, strict=True):
        visit = result.visit
        if visit is None:
            listed.append([title, both(spoken, lambda words: words("ranch.failed")), "", "", ""])
            continue
        valves = int((content.valves["ranch"] == title).sum())
        when = both(spoken, partial(_when, visit, lenders.get(result.slug, 0)))
        listed.append([title, when, valves, *(int(count.get((title, p), 0)) for p in (1, 2))])
    return listed
