"""What ``map.html`` shows where no script runs, as in a preview: picture, list, legend, cautions."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from typing import Any

from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.output.view.closed_valves import LOOK
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, priority_words, standing_words, turn_words, turns
from stressmap.output.view.daily_sets import set_lines
from stressmap.output.view.first_look import HOW_CHOSEN, first_look
from stressmap.output.view.palette import NOT_MEASURED, PRIORITY, ink_on
from stressmap.output.view.plan_dry import why_closed
from stressmap.output.view.quantities import duration
from stressmap.output.view.rows import rows
from stressmap.output.view.water_words import WaterWords

CAUTIONS = ("heat", "pumps", "chamber", "stress", "advice")


def still_page(content: Content, picture: bytes | None) -> dict[str, Any]:
    """Gather what the part of the page without scripts says.

    Parameters
    ----------
    content : Content
        The finished run.
    picture : bytes or None
        The map as a PNG.

    Returns
    -------
    dict
        ``picture`` (a ``data:`` address, or None), ``said`` (sentences that come first), ``legend``,
        ``valves`` (in rank order) and ``cautions`` (of each language).
    """
    spoken = [Words(language, content.ranch.units) for language in content.ranch.languages]
    order = turns(content)
    plan = {} if content.water_plan is None else {row["valve"]: row for row in rows(content.water_plan)}
    coded = None if picture is None else base64.b64encode(picture).decode("ascii")
    return {
        "picture": coded and f"data:image/png;base64,{coded}",
        "said": [
            *(line for words in spoken for line in first_look(content, order, words)),
            *(sentence(note, words) for note in content.notes if note.code in HOW_CHOSEN for words in spoken),
        ],
        "legend": [
            _look(priority) | {"text": both(spoken, lambda words, p=priority: priority_words(p, words))}
            for priority in _shown(order)
        ],
        "valves": [_valve(turn, content.rank_by, plan.get(turn.row["valve"]), spoken) for turn in order],
        "cautions": [[words(f"caution.{name}") for name in CAUTIONS] for words in spoken],
    }


def both(spoken: Iterable[Any], say: Any) -> str:
    """Say something in every language, one after the other; what is said alike is said once.

    Parameters
    ----------
    spoken : iterable of Words or WaterWords
        The languages.
    say : callable
        Takes the words of one language, gives the text.

    Returns
    -------
    str
    """
    return " / ".join(dict.fromkeys(say(words) for words in spoken))


def _shown(order: list[Turn]) -> list[int | None]:
    """Give the priorities that the legend explains, "not measured" only where there is such a block."""
    unmeasured = any(turn.priority is None for turn in order)
    return [*PRIORITY, *([None] if unmeasured else [])]


def _look(priority: int | None) -> dict[str, str]:
    fill = NOT_MEASURED if priority is None else PRIORITY[priority]
    return {"short": "?" if priority is None else f"P{priority}", "look": letters(fill)}


def letters(fill: str) -> str:
    """Name the class that colours a mark, by its colour.

    Parameters
    ----------
    fill : str
        ``"#rrggbb"``.

    Returns
    -------
    str
    """
    return f"fill-{fill.removeprefix('#')}"


def fills() -> list[tuple[str, str, str]]:
    """Give each class of a mark's colour with the colour and that of letters upon it.

    Returns
    -------
    list of tuple of str
    """
    return [(letters(fill), fill, ink_on(fill)) for fill in (*PRIORITY.values(), NOT_MEASURED)]


def _water(turn: Turn, row: dict[str, Any] | None, spoken: list[Words]) -> list[str]:
    """Say when a valve is opened, or why it is not; with several sets how long they are in all."""
    if row is None or turn.hours is None:
        return []
    if not turn.hours:
        water = [WaterWords(words.language, words.units) for words in spoken]
        why = both(water, lambda words: why_closed(row, words) or "")
        return [both(spoken, lambda words: words("card.plan_none")), *([why] if why.strip(" /") else [])]
    written = zip(*(set_lines(turn.sets, words) for words in spoken), strict=True)
    lines = [" / ".join(dict.fromkeys(line)) for line in written]
    hours = {words.language: duration(turn.hours, words) for words in spoken}
    count = len(turn.sets)
    if count < 2:
        return [*lines, hours[spoken[0].language]]
    told = both(spoken, lambda words: words("card.plan_sets", count=count, hours=hours[words.language]))
    return [told, *lines]


def _look_first(turn: Turn, spoken: list[Words]) -> list[str]:
    """Say that a valve is to be looked at before it is opened, and why."""
    why = turn.look_why if turn.look_first else ()
    return [f"{LOOK} {both(spoken, lambda words, code=code: words.known('look', code))}" for code in why]


def _valve(turn: Turn, rank_by: str, row: dict[str, Any] | None, spoken: list[Words]) -> dict[str, Any]:
    return _look(turn.priority) | {
        "rank": turn.rank,
        "past": turn.past_limit,
        "valve": " ".join(turn.row["valve"].split()),
        "block": " ".join((turn.row["block"] or "").split()),
        "standing": both(spoken, lambda words: standing_words(turn, words)),
        "figure": both(spoken, lambda words: turn_words(turn, rank_by, words)),
        "look_first": _look_first(turn, spoken),
        "water": _water(turn, row, spoken),
    }
