"""Page one of the report, the manager's: what changed, what is urgent, what the water does, what to read."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from stressmap.core.notes import Note
from stressmap.output.report.move_pictures import moves_text
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.output.view.change_words import signed
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Revisit, Turn, revisits, standing_words
from stressmap.output.view.first_look import thin_blocks
from stressmap.output.view.priority_moves import PriorityMove, priority_moves
from stressmap.output.view.quantities import percent
from stressmap.output.view.season_line import due_counted
from stressmap.output.view.selections import counted
from stressmap.output.view.water_words import Section

URGENT, FIRST_ANYWAY, BLOCKS = 8, 3, 6
"""Rows of what is urgent, and where nothing is; blocks of what changed."""
NAMED = 10
"""Names in a line."""
DRIER, RELIEVED = "drier", "relieved"


@dataclass(frozen=True)
class BlockChange:
    """What changed in a block, means over the area of its valve zones.

    Parameters
    ----------
    block : str
        Its name; empty for the whole ranch.
    gauge, weather, trees : float
        Change [bar], positive is drier; the weather's NaN where it is not known.
    words : Counter
        Valve zones by what is said of their trees.
    moves : tuple of int
        Valve zones whose priority is more and less urgent than before.
    """

    block: str
    gauge: float
    weather: float
    trees: float
    words: Counter[str]
    moves: tuple[int, int]


def block_changes(order: Sequence[Turn], moves: Sequence[PriorityMove]) -> list[BlockChange]:
    """Tell the change since the visit before block by block, the greatest change of trees first.

    Parameters
    ----------
    order : sequence of Turn
        The valve zones.
    moves : sequence of PriorityMove
        Of single valve zones.

    Returns
    -------
    list of BlockChange
    """
    blocks: dict[str, list[Turn]] = {}
    for turn in order:
        if turn.priority is not None and turn.row.get("gauge_change_bar") is not None:
            blocks.setdefault(str(turn.row["block"]), []).append(turn)
    found = [
        _change(name, turns, [m for m in moves if m.block == name]) for name, turns in blocks.items()
    ]  # fmt: skip
    return sorted(found, key=lambda one: -abs(one.trees))


def _change(block: str, turns: Sequence[Turn], moves: Sequence[PriorityMove]) -> BlockChange:
    areas = [turn.row["area_ha"] or 0.0 for turn in turns]

    def mean(name: str) -> float:
        values = [
            math.nan if v is None else float(v) for v in (t.row.get(f"{name}_change_bar") for t in turns)
        ]
        return sum(a * v for a, v in zip(areas, values, strict=True)) / sum(areas) if sum(areas) else math.nan

    worse = sum(move.worse for move in moves)
    words = Counter(str(turn.row.get("change")) for turn in turns)
    return BlockChange(
        block, mean("gauge"), mean("weather"), mean("trees"), words, (worse, len(moves) - worse)
    )


def change_table(changes: Iterable[BlockChange], words: Words, *lines: str) -> Section:
    """Lay the change out block by block.

    Parameters
    ----------
    changes : iterable of BlockChange
        In their order.
    words : Words
        The language.
    *lines : str
        What stands under the table.

    Returns
    -------
    Section
    """
    heads = ("report.block", "moved.gauge", "moved.weather", "moved.trees", "manager.drier",
             "manager.relieved", "manager.more_urgent", "manager.less_urgent")  # fmt: skip
    rows = tuple(
        (
            one.block, signed(one.gauge, words),
            words("moved.unknown") if math.isnan(one.weather) else signed(one.weather, words),
            signed(one.trees, words), str(one.words[DRIER]), str(one.words[RELIEVED]),
            *(str(count) for count in one.moves),
        )
        for one in changes
    )  # fmt: skip
    return Section("changed", "", lines, tuple(words(head) for head in heads), rows)


def manager_parts(
    content: Content, order: Sequence[Turn], brief: tuple[Section, ...], words: Words
) -> list[tuple[str, tuple[Section, ...]]]:
    """Put page one together; it is bounded, so that it stays one page of paper.

    Parameters
    ----------
    content : Content
        The finished run.
    order : sequence of Turn
        Its valve zones in rank order.
    brief : tuple of Section
        The water plan in short; empty without one.
    words : Words
        The language.

    Returns
    -------
    list of tuple
        Heading and what stands under it; sections without a title belong to the one before.
    """
    parts: tuple[tuple[str, Callable[[], tuple[Section, ...]]], ...] = (
        ("changed", lambda: _changed(content, order, words)),
        ("urgent", lambda: _urgent(content, order, words)),
        ("water", lambda: brief or (Section("outline", "", (words("manager.no_plan"),)),)),
        ("next", lambda: (Section("next", "", tuple(_next(content, words))),)),
    )
    return [(words(f"manager.{name}"), made()) for name, made in parts]


def warning(note: Note, words: Words) -> str:
    """Put a note into words for page one, without the names of files and columns that the specialist needs.

    Parameters
    ----------
    note : Note
        Of the run.
    words : Words
        The language.

    Returns
    -------
    str
    """
    named = dict(note.values).get("valves")
    if note.code != "look_before_opening" or not isinstance(named, tuple):
        return sentence(note, words)
    return words("manager.until_looked", valves=_some([str(valve) for valve in named], words))


def _changed(content: Content, order: Sequence[Turn], words: Words) -> tuple[Section, ...]:
    moves = priority_moves(content, order)
    changes = block_changes(order, moves)
    if content.previous_visit is None or not changes:
        return (Section("changed", "", (words("manager.first_visit"),)),)
    told = [turn for turn in order if turn.priority is not None]
    whole = _change("", [t for t in told if t.row.get("gauge_change_bar") is not None], moves)
    parts = {name: signed(getattr(whole, name), words) for name in ("gauge", "weather", "trees")}
    drier, relieved = whole.words[DRIER], whole.words[RELIEVED]
    counts = {"drier": drier, "relieved": relieved, "unclear": whole.words.total() - drier - relieved}
    key = "manager.since_no_weather" if math.isnan(whole.weather) else "manager.since"
    since = words(key, date=words.date(content.previous_visit), **parts)
    lines = (f"{since} {words('manager.trees', **counts)}", moves_text(moves, words))
    more = len(changes) - BLOCKS
    rest = (words("manager.more_blocks", count=more),) if more > 0 else ()
    return (Section("changed", "", lines), change_table(changes[:BLOCKS], words, *rest))


def _urgent(content: Content, order: Sequence[Turn], words: Words) -> tuple[Section, ...]:
    urgent = [turn for turn in order if turn.past_limit]
    urgent += [turn for turn in order if turn.priority == 1 and not turn.past_limit]
    ranked = [turn for turn in order if turn.priority is not None]
    lead = () if urgent or not ranked else (words("manager.urgent_none"),)
    shown = urgent[:URGENT] or ranked[:FIRST_ANYWAY]
    planned = content.water_plan is not None
    heads = ("list.place", "report.valve", "report.block", "list.priority", "manager.stress", "list.interval",
             "list.confidence", *(("manager.first_water",) if planned else ()))  # fmt: skip
    rows = tuple(_urgent_row(turn, words, planned=planned) for turn in shown)
    more = len(urgent) - URGENT
    meaning = words(f"measure.{content.rank_by}")
    lines = [words("manager.stress_means", meaning=meaning)] if rows else []
    lines += [words("manager.urgent_more", count=more)] if more > 0 else []
    look = [str(turn.row["valve"]) for turn in order if turn.look_first]
    if look:
        lines.append(words("manager.look", valves=_some(look, words)))
    table = Section("urgent", "", tuple(lines), tuple(words(head) for head in heads) if rows else (), rows)
    return (Section("urgent", "", (*due_counted(content, words), *lead)), table)


def _urgent_row(turn: Turn, words: Words, *, planned: bool) -> tuple[str, ...]:
    row = turn.row
    opens = words.weekday(turn.sets[0]["start"]) if turn.sets else words("manager.no_water")
    low, high = (words.number(row[end]) for end in ("low_bar", "high_bar"))
    return (
        turn.rank, str(row["valve"]), str(row["block"] or ""), standing_words(turn, words),
        words.number(row["stress_bar"]), words("terminal.span", low=low, high=high),
        percent(row["confidence"], words), *((opens,) if planned else ()),
    )  # fmt: skip


def _next(content: Content, words: Words) -> list[str]:
    spots = revisits(content)
    again, out = [s for s in spots if not s.flags], [s for s in spots if s.flags]
    said = []
    if again:
        where = _some(counted(_spot(spot, words) for spot in again), words)
        said.append(words("manager.again", count=len(again), where=where))
    if out:
        trees = _some([spot.tree or str(spot.valve) for spot in out], words)
        said.append(words("manager.repeat", count=len(out), trees=trees))
    return [*said, *thin_blocks(content, words)] or [words("manager.next_none")]


def _spot(spot: Revisit, words: Words) -> str:
    """Name a place to measure by its valve, and the tree nearest to it."""
    if spot.valve is None or spot.tree is None:
        return str(spot.valve or spot.tree or words("list.no_position"))
    return words("manager.spot", valve=spot.valve, tree=spot.tree)


def _some(names: list[str], words: Words) -> str:
    named, more = ", ".join(names[:NAMED]), len(names) - NAMED
    return words("past.more", valves=named, count=more) if more > 0 else named
