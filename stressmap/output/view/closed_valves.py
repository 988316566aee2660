"""What a plan leaves closed and why: a line for each reason, whole blocks told as one."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from stressmap.output.text.words import Words
from stressmap.output.view.clock_events import natural
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.plan_dry import why_closed
from stressmap.output.view.rows import rows
from stressmap.output.view.water_words import WaterWords

LOOK = "!"
"""Stands beside valves to look at before they are opened."""
WHOLE = 4
"""A block of so many valves, all closed for one reason, is told by its name."""


class ClosedGroup(NamedTuple):
    """Valves that stay closed for one reason.

    Parameters
    ----------
    why : tuple of str
        In each language; empty where the plan does not say.
    turns : list of Turn
        In rank order.
    """

    why: tuple[str, ...]
    turns: list[Turn]


def closed_groups(content: Content, order: list[Turn], spoken: list[Words]) -> list[ClosedGroup]:
    """Group the valves without water by why, the one with the driest valve first.

    Parameters
    ----------
    content : Content
        The finished run.
    order : list of Turn
        Its valve zones in rank order.
    spoken : list of Words
        The languages.

    Returns
    -------
    list of ClosedGroup
        None without a plan.
    """
    plan = {} if content.water_plan is None else {row["valve"]: row for row in rows(content.water_plan)}
    water = [WaterWords(words.language, words.units) for words in spoken]
    found: dict[tuple[str, ...], list[Turn]] = {}
    for turn in order:
        if turn.hours is not None and turn.hours <= 0:
            said = [why_closed(plan[turn.row["valve"]], words) for words in water]
            found.setdefault(tuple(why for why in said if why), []).append(turn)
    return [ClosedGroup(why, turns) for why, turns in found.items()]


def closed_names(group: ClosedGroup, order: list[Turn], words: Words) -> str:
    """List valves that stay closed block by block: ``"A1, A2 (North); B1! (South); West (all 6)"``.

    Parameters
    ----------
    group : ClosedGroup
        Of one reason.
    order : list of Turn
        All valve zones, which tell how many a block has.
    words : Words
        The language.

    Returns
    -------
    str
        Every valve by its name, but for blocks of which all valves are in the group.
    """
    count = Counter(turn.row["block"] for turn in order)
    blocks: dict[str, list[Turn]] = {}
    for turn in sorted(group.turns, key=lambda one: (natural(one.row["block"]), natural(one.row["valve"]))):
        blocks.setdefault(turn.row["block"], []).append(turn)
    said = []
    for block, turns in blocks.items():
        if len(turns) == count[block] >= WHOLE and not any(turn.look_first for turn in turns):
            said.append(words("sheet.all_of", block=block, count=len(turns)))
            continue
        names = ", ".join(
            f"{turn.row['valve']}{LOOK}" if turn.look_first else turn.row["valve"] for turn in turns
        )
        alone = len(turns) == 1 and turns[0].row["valve"] == block
        said.append(names if alone or not block else f"{names} ({block})")
    return "; ".join(said)
