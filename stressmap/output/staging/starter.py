"""A new ranch folder: settings filled in from the polygons, their schema, and an empty readings table."""

from __future__ import annotations

import errno
import json
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd

from stressmap.core.antimeridian import middle_longitude
from stressmap.core.errors import OutputError, Problem
from stressmap.core.input_files import folded
from stressmap.core.interrupts import unbroken
from stressmap.core.notes import Note
from stressmap.core.text import one_line
from stressmap.core.units import M2_PER_HA
from stressmap.output.staging import ranch_schema
from stressmap.output.text.words import Words
from stressmap.output.view.quantities import area

READING_COLUMNS = (
    "tree_id",
    "time",
    "lon",
    "lat",
    "pressure_bar",
    "recheck_bar",
    "bagged_at",
    "crew",
    "note",
)


@dataclass(frozen=True)
class Start:
    """What a new ranch folder is filled in from.

    Parameters
    ----------
    blocks_file : Path
        The blocks.
    blocks : GeoDataFrame
        As read, in the working CRS.
    valves_file : Path or None
        The valve zones, if there are any.
    valves : int
        How many.
    known_crops : tuple of str
        Crops with a built-in profile.
    notes : tuple of Note
        What was mended or is odd.
    """

    blocks_file: Path
    blocks: gpd.GeoDataFrame
    valves_file: Path | None
    valves: int
    known_crops: tuple[str, ...]
    notes: tuple[Note, ...] = ()


PAGES = (ranch_schema.NAME, "readings.csv", "ranch.toml")
"""What a new ranch folder gets, in the order of writing."""


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


def write_start(folder: Path, start: Start) -> None:
    """Write ``ranch.toml``, its JSON Schema and an empty ``readings.csv``, over nothing: all or none.

    Parameters
    ----------
    folder : Path
        Made where it does not exist.
    start : Start
        What to fill in.

    Raises
    ------
    OutputError
        If one of the files is there already, or the folder cannot be written.
    """
    refuse_started(folder)
    pages = {
        "ranch.toml": settings_text(folder, start),
        "readings.csv": ",".join(READING_COLUMNS) + "\n",
        ranch_schema.NAME: ranch_schema.packaged_text(),
    }
    made: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with unbroken(), tempfile.TemporaryDirectory(prefix=".start.", dir=folder) as held:
            for name in PAGES:
                with (Path(held) / name).open("x", encoding="utf-8", newline="\n") as page:
                    page.write(pages[name])
                    page.flush()
                    os.fsync(page.fileno())
            for name in PAGES:
                _put_new(Path(held) / name, folder / name)
                made.append(folder / name)
    except OSError as error:
        for file in made:
            file.unlink(missing_ok=True)
        raise _unwritable(folder, error) from None


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
    """Fill in the settings of a new ranch.

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
    zone = _time_zone(start.blocks)
    name = folder.resolve().name or "Ranch"
    hectares = float(start.blocks.geometry.area.sum()) / M2_PER_HA
    american = zone is not None and zone.startswith("America/") and _in_united_states(start.blocks)
    crops = sorted(set(start.blocks["crop"]))
    return pages.get_template("ranch.toml.jinja").render(
        comment_name=one_line(name),
        name=_quoted(name),
        timezone=_quoted(zone or "UTC"),
        timezone_note="" if zone else "    # not found from the blocks: write your own",
        units=_quoted("us" if american else "metric"),
        crs=_quoted(start.blocks.crs.to_string()),
        reading_columns=", ".join(READING_COLUMNS),
        blocks=_quoted(_relative(start.blocks_file, folder)),
        block_count=len(start.blocks),
        area=area(hectares, Words("en", "us" if american else "metric")),
        crops=one_line(", ".join(crops)),
        valves=_quoted(_relative(start.valves_file, folder)) if start.valves_file else None,
        valve_count=start.valves,
        unknown=[crop for crop in crops if crop not in start.known_crops],
    )


def _quoted(text: str) -> str:
    """Write a TOML basic string; JSON's escapes are a subset of TOML's."""
    return json.dumps(text, ensure_ascii=False)


def _relative(file: Path, folder: Path) -> str:
    return Path(os.path.relpath(file.resolve(), folder.resolve())).as_posix()


def _time_zone(blocks: gpd.GeoDataFrame) -> str | None:
    from timezonefinder import TimezoneFinder

    lon, lat = _middle(blocks)
    found: str | None = TimezoneFinder().timezone_at(lng=lon, lat=lat)
    return found


def _middle(blocks: gpd.GeoDataFrame) -> tuple[float, float]:
    west, south, east, north = blocks.to_crs("EPSG:4326").total_bounds
    return middle_longitude(float(west), float(east)), float((south + north) / 2)


def _in_united_states(blocks: gpd.GeoDataFrame) -> bool:
    """Guess whether people there speak of acres and gallons; a setting, so a guess may be wrong."""
    lon, lat = _middle(blocks)
    return 24.5 < lat < 49.0 and -125.0 < lon < -66.0
