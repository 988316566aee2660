"""What is said before any figure: no weather, past what the crop bears, one priority nearly everywhere."""

from __future__ import annotations

from collections import defaultdict

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import ENOUGH_TREES, FEW_TREES, NO_RANK, USUAL_TREES, Turn
from stressmap.output.view.quantities import percent

MOST = 0.5
"""With more than this share of the ranked area, a priority says little of what is urgent."""
NAMED, NAMED_BLOCKS = 3, 8
HOW_CHOSEN = ("trees_chosen_by_eye", "trees_on_dry_side")
"""Notes that every map and paper says beside its figures."""


def first_look(content: Content, order: list[Turn], words: Words) -> list[str]:
    """Say what a reader must know before the list of valves.

    Parameters
    ----------
    content : Content
        The finished run.
    order : list of Turn
        Its valve zones in rank order.
    words : Words
        The language.

    Returns
    -------
    list of str
        Sentences; none where there is nothing to say.
    """
    said = [words("past.no_weather")] if content.vpd_kpa is None else []
    ranked = [turn for turn in order if turn.rank != NO_RANK]
    past = [turn for turn in ranked if turn.past_limit]
    names = _names(past or ranked, words, count=bool(past))
    most = commonest(ranked)
    if most is not None:
        short, share = words("priority.short", number=most[0]), percent(most[1], words)
        key = "past.most_past" if past else "past.most"
        said.append(words(key, short=short, share=share, valves=names))
    elif past:
        said.append(words("past.some", valves=names))
    return said


def commonest(ranked: list[Turn]) -> tuple[int, float] | None:
    """Find the priority that more than half of the area has.

    Parameters
    ----------
    ranked : list of Turn
        Valve zones that have a rank.

    Returns
    -------
    tuple of int and float, or None
        The priority and its share of the area [1].
    """
    area: defaultdict[int | None, float] = defaultdict(float)
    for turn in ranked:
        area[turn.priority] += turn.row["area_ha"] or 0.0
    whole = sum(area.values())
    return next(
        ((p, part / whole) for p, part in area.items() if p is not None and part > MOST * whole), None
    )


def _names(turns: list[Turn], words: Words, *, count: bool) -> str:
    names = ", ".join(str(turn.row["valve"]) for turn in turns[:NAMED])
    left = len(turns) - NAMED
    return words("past.more", valves=names, count=left) if count and left > 0 else names


def thin_blocks(content: Content, words: Words) -> list[str]:
    """Name the blocks that were judged by too few trees; those without any are told elsewhere.

    Parameters
    ----------
    content : Content
        The finished run.
    words : Words
        The language.

    Returns
    -------
    list of str
        One sentence, or none.
    """
    counts = content.trees["block"]
    thin = [name for name in content.blocks["block"] if 0 < counts.get(name, 0) < FEW_TREES]
    if not thin:
        return []
    blocks = ", ".join(
        words("trees.thin_block", block=name, count=counts[name]) for name in thin[:NAMED_BLOCKS]
    )
    if len(thin) > NAMED_BLOCKS:
        blocks = words("past.more", valves=blocks, count=len(thin) - NAMED_BLOCKS)
    return [words("trees.thin", blocks=blocks, least=FEW_TREES, enough=ENOUGH_TREES, usual=USUAL_TREES)]
