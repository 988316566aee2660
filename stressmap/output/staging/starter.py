"""A new ranch folder: settings filled in from the polygons, their schema, and an empty readings table."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd

from stressmap.core.errors import OutputError, Problem
from stressmap.core.input_files import folded
from stressmap.core.interrupts import unbroken
from stressmap.core.notes import Note
from stressmap.core.text import one_line
from stressmap.core.unfilled import ASKED
from stressmap.core.units import M2_PER_HA
from stressmap.output.gis.csv_tables import defuse
from stressmap.output.staging import ranch_schema
from stressmap.output.staging.ranch_place import RanchPlace
from stressmap.output.text.start_words import StartWords
from stressmap.output.text.words import Language, Words
from stressmap.output.view.quantities import area

READING_COLUMNS = {
    "en": ("tree_id", "time", "lon", "lat", "pressure_bar", "recheck_bar", "bagged_at", "crew", "note"),
    "es": (
        "Árbol", "Fecha", "Hora", "Longitud", "Latitud", "Presión (bar)", "Segunda lectura (bar)",
        "Hora de bolsa", "Cuadrilla", "Nota",
    ),
}  # fmt: skip
"""Headings of the empty sheet by language; day and clock apart in Spanish, as they are written there."""
BLOCK_COLUMNS = {
    "en": ("block", "crop", "variety", "planted", "irrigation", "soil", "harvest", "weight"),
    "es": ("Bloque", "Cultivo", "Variedad", "Plantado", "Riego", "Suelo", "Cosecha", "Peso"),
}
READINGS = {"en": "readings", "es": "lecturas"}
ATTRIBUTES = {"en": "blocks.csv", "es": "bloques.csv"}
PAGES = (
    ranch_schema.NAME, *READINGS.values(), *ATTRIBUTES.values(), "readings.csv", "ranch.toml",
)  # fmt: skip
"""What a new ranch folder may get at its top; one of them there already is a ranch that was started."""
EXAMPLES = {
    "available": '"120000 m3"', "pump": '"180 m3/h"', "pumps": '{ "Pump 1" = "180 m3/h" }',
    "from": "2026-07-16", "next_turn": "2026-07-23", "hours": '["00:00", "24:00"]',
    "crew_hours": '["05:00", "21:00"]', "out_of_service": '["V07"]', "turns": "2", "mm_per_bar": "15",
    "soil": '"loam"', "root_depth_m": "1.5", "eto": '"7 mm"', "uniformity": "{ drip = 0.9 }",
    "efficiency": "{ flood = 0.6 }", "rest_hours": "24", "least_set_mm": "{ drip = 8 }",
    "most_set_mm": "{ flood = 100 }", "most_set_hours": "{ drip = 16 }",
    "days_apart": "{ micro_sprinkler = 3 }", "sets_a_week": "{ micro_sprinkler = 2 }", "intake_mm_h": "10",
    "sources": '{ "Pump 1" = "60000 m3" }', "source_days": '{ "Pump 1" = ["2026-07-17"] }',
    "reserve": '"5000 m3"', "pump_least": '{ "Pump 1" = "40 m3/h" }', "pump_starts": "4", "crews": "2",
    "salinity_ds_m": "0.6",
}  # fmt: skip
"""What may be written for keys of ``[water]`` that have no default to show."""


@dataclass(frozen=True)
class Start:
    """What a new ranch folder is filled in from.

    Parameters
    ----------
    blocks_file : Path
        The blocks.
    blocks : GeoDataFrame
        As read, in the working CRS.
    place : RanchPlace
        Time zone, language and units.
    valves_file : Path or None
        The valve zones, if there are any.
    valves : GeoDataFrame or None
        They, as read.
    known_crops : tuple of str
        Crops with a built-in profile.
    notes : tuple of Note
        What was mended or is odd.
    asked : bool
        Whether a table by block is written, with "???" where a word of the user's is wanted.
    columns : mapping of str to (str, str)
        Heading -> what ``[columns]`` shall say of it, and the remark: ``"named_by"`` or ``"left_out"``.
    unread : tuple of (str, str)
        Headings of the outlines that are not recognised, and which column each may be, ``""`` for none.
    given : mapping of str to mapping of int to str
        ``"blocks"`` and ``"valves"``: provisional names by the row of the outline.
    to_mend : tuple of Problem
        What ``check`` will refuse of the outlines.
    pages : tuple of str
        Files written.
    """

    blocks_file: Path
    blocks: gpd.GeoDataFrame
    place: RanchPlace
    valves_file: Path | None
    valves: gpd.GeoDataFrame | None
    known_crops: tuple[str, ...]
    notes: tuple[Note, ...] = ()
    asked: bool = False
    columns: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    unread: tuple[tuple[str, str], ...] = ()
    given: Mapping[str, Mapping[int, str]] = field(default_factory=dict)
    to_mend: tuple[Problem, ...] = ()
    pages: tuple[str, ...] = ()


def refuse_started(folder: Path) -> None:
    """Refuse a folder that a ranch was started in, or that cannot be written, before the work.

    Parameters
    ----------
    folder : Path
        Where it shall be; nothing is made.

    Raises
    ------
    OutputError
        If one of the files is there already, in whatever case of letters and be it a link that leads nowhere,
        or the folder cannot be written.
    """
    try:
        held = {folded(p.name): p.name for p in folder.iterdir()} if folder.exists() else {}
        there = [held[name] for name in reversed(PAGES) if name in held]
        if there:
            what = f"it holds {' and '.join(there)} already"
            raise OutputError(Problem(str(folder), what, "Name a new folder, or move them away"))
        above = folder
        while not os.path.lexists(above):
            above = above.parent
        with tempfile.TemporaryFile(dir=above):
            pass
    except OSError as error:
        raise _unwritable(folder, error) from None


def write_start(folder: Path, start: Start) -> tuple[str, ...]:
    """Write ``ranch.toml``, its JSON Schema, empty sheets and a table to fill in, over nothing: all or none.

    Parameters
    ----------
    folder : Path
        Made where it does not exist.
    start : Start
        What to fill in.

    Returns
    -------
    tuple of str
        Files written, relative to the folder.

    Raises
    ------
    OutputError
        If one of the files is there already, or the folder cannot be written.
    """
    refuse_started(folder)
    pages = _pages(folder, start)
    made: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with unbroken(), tempfile.TemporaryDirectory(prefix=".start.", dir=folder) as held:
            for at, content in enumerate(pages.values()):
                with (Path(held) / str(at)).open("xb") as page:
                    page.write(content)
                    page.flush()
                    os.fsync(page.fileno())
            for at, name in enumerate(pages):
                (folder / name).parent.mkdir(exist_ok=True)
                _put_new(Path(held) / str(at), folder / name)
                made.append(folder / name)
    except OSError as error:
        for file in made:
            file.unlink(missing_ok=True)
            if file.parent != folder:
                with suppress(OSError):
                    file.parent.rmdir()
        raise _unwritable(folder, error) from None
    return tuple(pages)


def _pages(folder: Path, start: Start) -> dict[str, bytes]:
    """Make the content of every file, in the order of writing, ``ranch.toml`` the last."""
    language = start.place.language
    sheet = f"{READINGS[language]}/{READINGS[language]}"
    pages = {
        ranch_schema.NAME: ranch_schema.packaged_text().encode(),
        f"{sheet}.csv": _csv([READING_COLUMNS[language]]),
        f"{sheet}.xlsx": _workbook(READING_COLUMNS[language], READINGS[language]),
    }
    if start.asked:
        empty = ("",) * (len(BLOCK_COLUMNS[language]) - 2)
        rows = [
            (block, crop, *empty)
            for block, crop in zip(start.blocks["block"], start.blocks["crop"], strict=True)
        ]
        pages[ATTRIBUTES[language]] = _csv([BLOCK_COLUMNS[language], *rows])
    pages["ranch.toml"] = settings_text(folder, start).encode()
    return pages


def _csv(rows: list[tuple[str, ...]]) -> bytes:
    """Write a table that spreadsheets open with its accents."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([[defuse(cell) for cell in row] for row in rows])
    return text.getvalue().encode("utf-8-sig")


def _workbook(headings: tuple[str, ...], title: str) -> bytes:
    import openpyxl

    book, data = openpyxl.Workbook(), io.BytesIO()
    book.active.title = title
    book.active.append(headings)
    book.active.freeze_panes = "A2"
    book.save(data)
    return data.getvalue()


def _put_new(whole: Path, place: Path) -> None:
    """Put a whole file in a place where none is, in one step."""
    try:
        os.link(whole, place)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if os.path.lexists(place):
            raise FileExistsError(errno.EEXIST, f"{place.name} is there already") from None
        whole.rename(place)


def _unwritable(folder: Path, error: OSError) -> OutputError:
    what = f"it cannot be written ({error.strerror or error})"
    return OutputError(Problem(str(folder), what, "Name a folder that can be written"))


def settings_text(folder: Path, start: Start) -> str:
    """Fill in the settings of a new ranch, with remarks in its first language.

    Parameters
    ----------
    folder : Path
        Where they will stand; paths are written relative to it.
    start : Start
        What to fill in.

    Returns
    -------
    str
        TOML.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined  # slow to load, and a check needs none

    pages = Environment(
        loader=PackageLoader("stressmap.output.staging"), undefined=StrictUndefined, autoescape=False
    )
    pages.filters.update(comment=one_line, key=json.dumps)
    name = folder.resolve().name or "Ranch"
    hectares = float(start.blocks.geometry.area.sum()) / M2_PER_HA
    language, units = start.place.language, start.place.units
    say = StartWords(language, units)
    crops = sorted(set(start.blocks["crop"]))
    return pages.get_template("ranch.toml.jinja").render(
        say=lambda key, **values: one_line(say(f"comment.{key}", **values)),
        comment_name=one_line(name),
        name=_quoted(name),
        timezone=_quoted(start.place.zone or ASKED),
        zone_found=start.place.zone is not None,
        units=_quoted(units),
        crs=_quoted(start.blocks.crs.to_string()),
        reading_columns=", ".join(READING_COLUMNS[language]),
        readings=_quoted(f"{READINGS[language]}/"),
        sheet=READINGS[language],
        languages=_quoted(["es", "en"] if language == "es" else ["en", "es"]),
        attributes=_quoted(ATTRIBUTES[language]) if start.asked else None,
        columns=[(_quoted(h), _quoted(ours), remark) for h, (ours, remark) in start.columns.items()],
        given={kind: _named_rows(start, kind) for kind in start.given},
        unread=[(_quoted(heading), ours) for heading, ours in start.unread],
        water=water_lines(language),
        blocks=_quoted(_relative(start.blocks_file, folder)),
        block_count=len(start.blocks),
        area=area(hectares, Words(language, units)),
        crops=one_line(", ".join(crops)),
        valves=_quoted(_relative(start.valves_file, folder)) if start.valves_file else None,
        valve_count=0 if start.valves is None else len(start.valves),
        unknown=[crop for crop in crops if crop not in (*start.known_crops, ASKED)],
    )


def _named_rows(start: Start, kind: str) -> list[tuple[int, str, str]]:
    """Give row, provisional name and whereabouts of outlines: area, latitude and longitude."""
    table = start.blocks if kind == "blocks" else start.valves
    words = Words(start.place.language, start.place.units)
    if table is None:
        return []
    middles = table.geometry.representative_point().to_crs("EPSG:4326")
    shown = {
        name: f"{area(shape.area / M2_PER_HA, words)}, {middle.y:.5f}, {middle.x:.5f}"
        for name, shape, middle in zip(table.iloc[:, 0], table.geometry, middles, strict=True)
    }
    return [(row, _quoted(name), shown.get(name, "")) for row, name in start.given[kind].items()]


def water_lines(language: Language = "en") -> list[str]:
    """Write every key of ``[water]`` with a value and its meaning.

    Parameters
    ----------
    language : str
        Of the meaning.

    Returns
    -------
    list of str
        TOML, a key a line.
    """
    water = ranch_schema.ranch_schema()["properties"]["water"]["properties"]
    words, lines = StartWords(language), []
    for key, about in water.items():
        value = EXAMPLES.get(key) or _quoted(about.get("default", "..."))
        lines.append(f"{key} = {value}    # {one_line(words.meaning(key, about['description']))}")
    return lines


def _quoted(text: Any) -> str:
    """Write a TOML basic string; JSON's escapes are a subset of TOML's."""
    return json.dumps(text, ensure_ascii=False)


def _relative(file: Path, folder: Path) -> str:
    return Path(os.path.relpath(file.resolve(), folder.resolve())).as_posix()
