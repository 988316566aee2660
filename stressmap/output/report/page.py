"""``report.html``: the manager's page, then what was used and why, how well the map fits, every setting."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import pandas as pd
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from stressmap.core.row_names import row_names
from stressmap.core.text import one_line
from stressmap.output.report.manager import block_changes, change_table, manager_parts, warning
from stressmap.output.report.move_pictures import move_name, move_pictures, moves_text, priority_legend
from stressmap.output.report.plots import Courses, Plotter
from stressmap.output.text.note_words import by_severity, columns_told, sentences
from stressmap.output.text.words import Words
from stressmap.output.view.change_words import change_cells
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import (
    UNSURE,
    Turn,
    of_visit,
    standing_words,
    trees_words,
    turn_words,
    turns,
)
from stressmap.output.view.crop_words import crop_cautions
from stressmap.output.view.first_look import first_look, thin_blocks
from stressmap.output.view.priority_moves import ONE_BY_ONE, PriorityMove, by_block, priority_moves
from stressmap.output.view.quantities import percent, quantity, reading
from stressmap.output.view.rows import rows
from stressmap.output.view.selections import flag_codes
from stressmap.output.view.water_words import Section

LISTED = 200
FIRST = 15
WARNINGS, DRAWN = 2, 60
"""Warnings told on page one, and changes of priority that get a picture."""
SCORES = ("readings", "rmse_bar", "mean_error_bar", "mean_squared_z", "covered_50", "covered_90")


@dataclass(frozen=True)
class Background:
    """What the report tells beside the results.

    Parameters
    ----------
    record : dict
        As ``run.json`` has it: ``settings``, ``fit``, ``reading_error``, ``sha256``, ``versions`` and so on.
        Scores of methods side by side are in ``fit`` under ``cross_validation``: ``leave_one_out`` and
        ``leave_block_out``, by method.
    courses : callable
        Gives, for days, the targets of each crop and harvest on the ranch in usual weather.
    weather : DataFrame or None
        As ``core.schemas.WEATHER``.
    water : tuple of Section
        The water plan in words of the ranch's first language; empty without one.
    brief : tuple of Section
        The same in short, for page one.
    """

    record: dict[str, Any]
    courses: Courses = lambda _: {}
    weather: pd.DataFrame | None = None
    water: tuple[Section, ...] = ()
    brief: tuple[Section, ...] = ()


def write_report(content: Content, background: Background, path: Path) -> None:
    """Write the report in the ranch's first language.

    Parameters
    ----------
    content : Content
        The finished run.
    background : Background
        Settings, fit and weather.
    path : Path
        File to write; the same run gives the same bytes.
    """
    words = Words(content.ranch.languages[0], content.ranch.units)
    environment = Environment(
        loader=PackageLoader("stressmap.output.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = files("stressmap.output.report").joinpath("templates", "page.css").read_text(encoding="utf-8")
    page = environment.get_template("page.html").render(
        words=words,
        warnings=_warnings(content, words),
        notes=(
            *sentences(content.notes, words),
            *(f"{counts.file}: {columns_told(counts, words)}" for counts in content.files),
        ),
        content=content,
        visit=words.days(*content.visit),
        style=Markup(style),
        water=background.water,
        crop_cautions=crop_cautions(content.profiles, words),
        plots=_plots(content, background, words),
        **_tables(content, background, words),
    )
    path.write_text(page, encoding="utf-8", newline="\n")


def _plots(content: Content, background: Background, words: Words) -> dict[str, Markup | None]:
    plotter = Plotter(content, words)
    return {
        "times": plotter.times(background.weather),
        "pairs": plotter.pairs(background.record.get("fit", {})),
        "left_out": plotter.left_out_one(),
        "blocks": plotter.blocks(),
        "season": plotter.season(background.courses),
    }


def _warnings(content: Content, words: Words) -> list[str]:
    """Give the first warnings for page one, and where the others are."""
    said = list(dict.fromkeys(warning(note, words) for note in by_severity(content.notes)[0]))
    more = len(said) - WARNINGS
    heading = words("report.notes_heading")
    rest = [words("manager.more_warnings", count=more, heading=heading)] if more > 0 else []
    return [*said[:WARNINGS], *rest]


def _moves(content: Content, order: list[Turn], words: Words) -> dict[str, Any] | None:
    """Lay out the page of what changed since the visit before; None where nothing can be compared."""
    moves = priority_moves(content, order)
    changes = block_changes(order, moves)
    if content.previous_visit is None or not changes:
        return None
    many = len(moves) > ONE_BY_ONE
    told = by_block(moves) if many else moves
    drawn, others = told[:DRAWN], told[DRAWN:]
    days = {"before": words.date(content.previous_visit), "now": words.date(content.visit[1])}
    return {
        "count": moves_text(moves, words),
        "text": words("moves.text", legend=priority_legend(words), **days) if moves else "",
        "many": many,
        "pictures": move_pictures(drawn, content, words),
        "others": [_undrawn(move, words) for move in others[:LISTED]],
        "blocks": change_table(changes[:LISTED], words),
    }


def _undrawn(move: PriorityMove, words: Words) -> str:
    before, now = (words("priority.short", number=one.priority) for one in (move.before, move.now))
    return words("moves.other", valves=move_name(move, words), block=move.block, before=before, now=now)


def _tables(content: Content, background: Background, words: Words) -> dict[str, Any]:
    listed, more = _left_out(content, words)
    order, record = turns(content), background.record
    past = [turn for turn in order if turn.past_limit]
    fit = record.get("fit", {})
    return {
        "counts": _counts(content, words),
        "flags": _flags(content, words),
        "left_out": listed,
        "more": more,
        "said_first": first_look(content, order, words),
        "past": _first(past, content, words),
        "first": _first([turn for turn in order if not turn.past_limit], content, words),
        "moved": _moved(content, order, words),
        "moves": _moves(content, order, words),
        "manager": manager_parts(content, order, background.brief, words),
        "thin": thin_blocks(content, words),
        "uncertain": _uncertain(content, words),
        "scores": _scores(fit.get("cross_validation") or {}, words),
        "fit": _labelled({name: value for name, value in fit.items() if name != "cross_validation"}, words),
        "reading_error": _labelled(record.get("reading_error", {}), words),
        "settings": flat(record.get("settings", {})),
        "files": flat({k: record.get(k, {}) for k in ("sha256", "versions")}),
    }


def _labelled(figures: dict[str, Any], words: Words) -> list[tuple[str, str]]:
    """Write figures of ``run.json`` with their names in words, lengths in the ranch's units."""
    return [
        (", ".join(words.known("fit", part) for part in name.split(".")), _fitted(name, value, words))
        for name, value in flat(figures)
    ]


def _fitted(name: str, value: str, words: Words) -> str:
    length = name.endswith("_m") and value
    return quantity(float(value), "length", words) if length else words.known("fit", value)


def _counts(content: Content, words: Words) -> str:
    used, visit = int(content.readings["used"].astype(bool).sum()), len(of_visit(content))
    others = len(content.readings) - visit
    return words("report.used_text", used=used, left_out=visit - used, others=others)


def _flags(content: Content, words: Words) -> list[tuple[str, int, int]]:
    """Count each flag among the readings used and among those left out of this visit."""
    used, out = Counter[str](), Counter[str]()
    for row in rows(of_visit(content)[["used", "flags"]]):
        (used if row["used"] else out).update(flag_codes(row["flags"]))
    return [(words.known("flag", code), used[code], out[code]) for code in sorted(used | out)]


def _left_out(content: Content, words: Words) -> tuple[list[tuple[Any, ...]], str]:
    table = of_visit(content)
    table = table.assign(row=row_names(content.readings))
    out = rows(table[~table["used"].astype(bool)])
    listed = [
        (
            row["row"],
            row.get("tree_id") or "",
            row.get("block") or "",
            row.get("valve") or "",
            _pressure(row, content, words),
            "; ".join(words.known("flag", code) for code in flag_codes(row["flags"])),
        )
        for row in out[:LISTED]
    ]
    more = words("report.and_more", count=len(out) - LISTED) if len(out) > LISTED else ""
    return listed, more


def _pressure(row: dict[str, Any], content: Content, words: Words) -> str:
    found = row.get("pressure_bar")
    return "" if found is None else reading(found, content.gauge_unit, words)


def _moved(content: Content, order: list[Turn], words: Words) -> list[tuple[str, ...]]:
    """Lay out the change since the visit before; empty where there was none."""
    if content.previous_visit is None:
        return []
    told = [(str(turn.row["valve"]), change_cells(turn.row, words)) for turn in order[:FIRST]]
    return [(valve, *cells) for valve, cells in told if cells is not None]


def _first(order: list[Turn], content: Content, words: Words) -> list[tuple[str, ...]]:
    return [
        (
            turn.rank,
            str(turn.row["valve"]),
            str(turn.row["block"] or ""),
            standing_words(turn, words),
            turn_words(turn, content.rank_by, words),
            words(
                "card.interval",
                low=words.number(turn.row["low_bar"]),
                high=words.number(turn.row["high_bar"]),
            ),
            words("measure.no_data") if turn.priority is None else percent(turn.row["confidence"], words),
            trees_words(turn, words),
        )
        for turn in order[:FIRST]
    ]


def _uncertain(content: Content, words: Words) -> str:
    valves = content.valves
    tied = int((valves["tied_group"] > 0).sum()) if "tied_group" in valves else 0
    unsure = int((valves["confidence"] < UNSURE).sum())
    share = percent(UNSURE, words)
    return words("report.uncertain_text", count=unsure, total=len(valves), share=share, tied=tied)


def _scores(checks: dict[str, Any], words: Words) -> list[tuple[str, list[tuple[str, ...]]]]:
    """Lay out how well each method foretells what it has not seen."""
    parts = (("leave_one_out", "report.one_out"), ("leave_block_out", "report.block_out"))
    return [
        (
            words(title),
            [(words.known("method", name), *_score(one, words)) for name, one in checks[key].items()],
        )
        for key, title in parts
        if checks.get(key)
    ]


def _score(one: dict[str, Any], words: Words) -> tuple[str, ...]:
    said = [words.number(one.get(name), 0 if name == "readings" else 2) for name in SCORES[:4]]
    return (*said, *(percent(one.get(name), words) for name in SCORES[4:]))


def flat(table: Any, *, prefix: str = "") -> list[tuple[str, str]]:
    """Flatten nested settings into dotted names.

    Parameters
    ----------
    table : dict
        Nested as deep as it likes.
    prefix : str
        Put before every name.

    Returns
    -------
    list of tuple of str
        Name and value, in the order given; text of files on one line.

    Examples
    --------
    >>> flat({"map": {"cell_m": 5.0, "edges_bar": [0, 2, 4]}, "water": None})
    [('map.cell_m', '5'), ('map.edges_bar', '0, 2, 4'), ('water', '')]
    """
    if isinstance(table, list | tuple) and any(isinstance(value, dict) for value in table):
        table = {str(place): value for place, value in enumerate(table, start=1)}
    if isinstance(table, dict) and table:
        pairs = (flat(value, prefix=f"{prefix}.{key}".lstrip(".")) for key, value in table.items())
        return [pair for several in pairs for pair in several]
    return [(one_line(prefix), one_line(_shown(table), most=600))] if prefix else []


def _shown(value: Any) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(_shown(one) for one in value)
    if isinstance(value, float):
        return f"{value:.6g}"
    return "" if value is None or value == {} else str(value)
