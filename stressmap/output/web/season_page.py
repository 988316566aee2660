"""``season.html``: what is urgent, what the water did, what is next, the course of every block; one page."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from markupsafe import Markup

from stressmap.core.notes import Note
from stressmap.core.settings import Ranch
from stressmap.output.text.note_words import by_severity, sentence
from stressmap.output.view.crop_words import Profiles
from stressmap.output.view.rows import rows
from stressmap.output.view.season_order import counts_with_names
from stressmap.output.web.course_frames import CourseFrames
from stressmap.output.web.joined_modules import STRICT, join
from stressmap.output.web.page_frame import page_template, script_hash
from stressmap.output.web.season_courses import BlockCourse, RanSets, block_courses
from stressmap.output.web.season_figures import SteppedPicture, course, due_ranges, relief_ranges
from stressmap.output.web.season_next import NextTables
from stressmap.output.web.season_tables import SeasonTable, SeasonTables, begun_crop
from stressmap.output.web.spoken import Spoken
from stressmap.season.season import Season

DRAWN_DUE, OPEN_ALARMS = 24, 8
"""Valves on the picture of what is due, and alarms above it that need no opening."""
CYCLES_A_PAGE, FEWEST_CYCLES, MOST_CYCLES = 2500, 8, 24
"""Irrigations listed on the page, and of one block at least and at most: 250 blocks stay under 6 MB."""
INDEXED_FROM = 6
"""So many blocks or more get a list to find them by."""
HORIZON = 21.0
MOST_SIDE_BY_SIDE = 12
LIMITS = ("season_limit", "season_limit_open")
TOLD = {
    *LIMITS, "season_due", "season_dries_on", "season_dry_after_water", "season_like_flood",
    "season_phase_later", "season_phase_earlier",
}  # fmt: skip
"""Notes that the page tells where they belong; the others stand at its end."""
CAUTIONS = ("advice", "stress", "heat", "pumps", "chamber")


@dataclass(frozen=True)
class Chart:
    """A picture with the table below it.

    Parameters
    ----------
    name : str
        Different for each on the page.
    heading : Markup
        What it shows.
    picture : SteppedPicture
        Drawn.
    table : SeasonTable
        Its figures.
    """

    name: str
    heading: Markup
    picture: SteppedPicture
    table: SeasonTable

    @property
    def at(self) -> str:
        """Places of the table's rows on the picture, for the page's script."""
        return json.dumps(self.picture.at)


def write_season(season: Season, ranch: Ranch, profiles: Profiles, path: Path) -> None:
    """Write the page.

    Parameters
    ----------
    season : Season
        So far.
    ranch : Ranch
        Languages, units, name.
    profiles : mapping of str to CropProfile
        Of the crops on the ranch.
    path : Path
        Where; the same season gives the same bytes.
    """
    path.write_text(render(season, ranch, profiles), encoding="utf-8", newline="\n")


def render(season: Season, ranch: Ranch, profiles: Profiles) -> str:
    """Make the page.

    Parameters
    ----------
    season : Season
        So far.
    ranch : Ranch
        Languages, units, name.
    profiles : mapping of str to CropProfile
        Of the crops on the ranch.

    Returns
    -------
    str
        HTML that asks no network for anything.
    """
    spoken = Spoken.of(ranch)
    tables = SeasonTables(season, profiles, spoken)
    script = STRICT + join("main", lambda name: _read(f"{name}.js"))
    first = spoken.tongues[0]
    return page_template("season").render(
        say=spoken,
        languages=[(words.plain.language, words.plain("locale.language")) for words in spoken.tongues],
        title=first("page.title", ranch=ranch.name, day=first.plain.date(season.today)),
        ranch=ranch.name,
        styles=Markup(_read("page.css")),
        script=Markup(script),
        script_hash=script_hash(script),
        cautions=[spoken(f"caution.{name}") for name in CAUTIONS],
        lead=_lead(season, spoken),
        counts=counts_with_names(season),
        counted=spoken("page.counted", day=lambda words: words.plain.day(season.today)),
        **_urgent(tables),
        **_water(tables),
        **_next(tables),
        **_courses(tables),
        learnt=tables.learnt(),
        notes=_notes(season, spoken),
    )


def _notes(season: Season, spoken: Spoken) -> list[Markup]:
    """Say what there is to say of readings and files, what may mislead first."""
    ordered = (note for part in by_severity(season.notes) for note in part)
    return _sentences((note for note in ordered if note.code not in TOLD), spoken)


def _sentences(notes: Iterable[Note], spoken: Spoken) -> list[Markup]:
    return [spoken.each(lambda words, one=one: sentence(one, words.plain)) for one in dict.fromkeys(notes)]  # type: ignore[misc]


def _lead(season: Season, spoken: Spoken) -> Markup:
    """Say how many visits there are, and when the next is expected."""
    (first, _), (last, _) = season.visits[0], season.visits[-1]
    if len(season.visits) == 1:
        return spoken("page.one_visit", first=lambda words: words.plain.day(first))
    return spoken(
        "page.lead",
        visits=len(season.visits),
        first=lambda words: words.plain.day(first),
        last=lambda words: words.plain.day(last),
        next=lambda words: words.plain.day(season.next_visit),
    )


def _urgent(tables: SeasonTables) -> dict[str, Any]:
    due, others, more = tables.due()
    season = tables.season
    shown = season.due[season.due["days_left_low"].astype(float) <= HORIZON].head(DRAWN_DUE)
    picture = None if shown.empty else due_ranges(shown, season.today, tables.spoken)
    return {
        "past": tables.past(),
        "alarms": tables.alarms(),
        "most_alarms": OPEN_ALARMS,
        "limits": _sentences((note for note in season.notes if note.code in LIMITS), tables.spoken),
        "due": due,
        "others": others,
        "due_more": tables.spoken("page.more", count=more, file="due.csv") if more else "",
        "due_picture": picture,
    }


def _water(tables: SeasonTables) -> dict[str, Any]:
    cycles, compared = tables.season.cycles, tables.compared()
    seen = 0 if cycles.empty else int((cycles["seen"] == "both").sum())
    chart = None
    if compared is not None:
        labels, table = compared
        seen_at = tables.season.compared["seen"].to_numpy() > 0
        kept = [label for label, here in zip(labels, seen_at, strict=True) if here]
        picture = relief_ranges(kept, tables.season.compared[seen_at], tables.spoken)
        chart = Chart("relief", tables.spoken("water.compared"), picture, table)
    return {
        "cycles": len(cycles),
        "seen": seen,
        "relief": chart,
        "manners": [*tables.like_flood(), *tables.phases()],
    }


def _next(tables: SeasonTables) -> dict[str, Any]:
    made = NextTables(tables)
    first, later = made.calendar()
    return {"calendar": first, "later": later, "intervals": made.intervals(), "let_down": made.let_down()}


def _courses(tables: SeasonTables) -> dict[str, Any]:
    """Draw crops, then every block, each on axes that others of its scale share."""
    season = tables.season
    urgency = {block: place for place, block in enumerate(dict.fromkeys(season.due["block"].astype(str)))}
    courses = block_courses(season)
    ordered = sorted(courses, key=lambda one: urgency.get(one.block, len(urgency)))
    ran = RanSets.of(season)
    frames = CourseFrames(ran.span, tables.spoken)
    facts = {str(row["block"]): row for row in rows(season.blocks)}
    most = min(MOST_CYCLES, max(FEWEST_CYCLES, CYCLES_A_PAGE // max(1, len(courses))))
    crops = _crops(tables, ordered, (ran, frames))
    blocks: list[dict[str, Any]] = []
    for place, one in enumerate(courses, start=1):
        picture = course([one], ran.within([one.block]), frames)
        name = Markup.escape(one.block)
        blocks.append(
            {
                "chart": Chart(f"block-{place}", name, picture, tables.course(one)),
                "crop": tables.crop(one.crop),
                "facts": tables.block_facts(facts[one.block]) if one.block in facts else None,
                "cycles": None if season.cycles.empty else tables.cycles_of(one.block, most),
            }
        )
    places = {one["chart"].heading: one["chart"].name for one in blocks}
    return {
        "crops": crops, "blocks": blocks, "frames": frames.shared(), "places": places,
        "indexed": len(blocks) >= INDEXED_FROM,
    }  # fmt: skip


def _crops(
    tables: SeasonTables, ordered: list[BlockCourse], drawn_with: tuple[RanSets, CourseFrames]
) -> list[Chart]:
    """Draw the blocks of each crop that has several side by side."""
    by_crop: dict[str, list[BlockCourse]] = {}
    ran, frames = drawn_with
    for one in ordered:
        by_crop.setdefault(one.crop, []).append(one)
    charts = []
    for place, (crop, own) in enumerate(sorted(by_crop.items()), start=1):
        if len(own) < 2:
            continue
        name, shown = f"crop-{place}", own[:MOST_SIDE_BY_SIDE]
        heading = tables.spoken(
            "course.crop" if len(shown) == len(own) else "course.crop_first",
            crop=partial(begun_crop, crop, tables.profiles),
            shown=len(shown),
            count=len(own),
        )
        picture = course(shown, ran.within([one.block for one in own]), frames)
        charts.append(Chart(name, heading, picture, tables.crop_course(shown)))
    return charts


def _read(name: str) -> str:
    return files("stressmap.output.web").joinpath("season", name).read_text(encoding="utf-8")
