"""What ``map.html`` shows where no script runs, as in a preview: picture, list, legend, cautions."""

from __future__ import annotations

import base64
from typing import Any

from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, priority_words, standing_words, turn_words, turns
from stressmap.output.view.daily_sets import set_lines
from stressmap.output.view.first_look import HOW_CHOSEN, first_look
from stressmap.output.view.palette import NOT_MEASURED, PRIORITY, ink_on
from stressmap.output.view.quantities import duration

CAUTIONS = ("heat", "pumps", "chamber", "advice")


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
        "valves": [_valve(turn, content, spoken) for turn in order],
        "cautions": [[words(f"caution.{name}") for name in CAUTIONS] for words in spoken],
    }


def both(spoken: list[Words], say: Any) -> str:
    """Say something in every language, one after the other; what is said alike is said once.

    Parameters
    ----------
    spoken : list of Words
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
    return {"short": "?" if priority is None else f"P{priority}", "look": _letters(fill)}


def _letters(fill: str) -> str:
    """Name the class that colours a mark, by its colour."""
    return f"fill-{fill.removeprefix('#')}"


def fills() -> list[tuple[str, str, str]]:
    """Give each class of a mark's colour with the colour and that of letters upon it.

    Returns
    -------
    list of tuple of str
    """
    return [(_letters(fill), fill, ink_on(fill)) for fill in (*PRIORITY.values(), NOT_MEASURED)]


def _valve(turn: Turn, content: Content, spoken: list[Words]) -> dict[str, Any]:
    first = spoken[0]
    planned = turn.hours is not None
    if turn.hours:
        water = [duration(turn.hours, first), *set_lines(turn.sets, first)]
    else:
        water = [both(spoken, lambda words: words("card.plan_none"))] if planned else []
    return _look(turn.priority) | {
        "rank": turn.rank,
        "past": turn.past_limit,
        "valve": " ".join(turn.row["valve"].split()),
        "block": " ".join((turn.row["block"] or "").split()),
        "standing": both(spoken, lambda words: standing_words(turn, words)),
        "figure": both(spoken, lambda words: turn_words(turn, content.rank_by, words)),
        "water": water,
    }
