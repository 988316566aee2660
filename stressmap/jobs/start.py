"""A new ranch folder from its polygons. Needs nothing that maps or draws."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
from pyproj import CRS

from stressmap.agronomy.crop_names import nearest_crop, profile_name
from stressmap.agronomy.crops import CropProfile, load_profiles
from stressmap.core.errors import DataError
from stressmap.core.notes import Noted, NoteList
from stressmap.core.unfilled import ASKED
from stressmap.intake.outline_sketch import OutlineSketch, sketch_blocks, sketch_valves
from stressmap.output.staging.ranch_place import place_of
from stressmap.output.staging.starter import Start, refuse_started, write_start
from stressmap.output.text.words import Language
from stressmap.quality.spatial_join import join_valves


def start(
    folder: Path,
    blocks_file: Path,
    valves_file: Path | None,
    *,
    crop: str | None = None,
    language: Language | None = None,
) -> Start:
    """Make a new ranch folder.

    Parameters
    ----------
    folder : Path
        Where; made if it does not exist.
    blocks_file : Path
        The blocks; a name each is enough.
    valves_file : Path or None
        The valve zones.
    crop : str, optional
        Of all blocks.
    language : {"en", "es"}, optional
        The ranch's first; by default that of the headings, then that of the place.

    Returns
    -------
    Start
        What was filled in.

    Raises
    ------
    StressmapError
        If there are no polygons or the folder cannot be written.
    """
    refuse_started(folder)
    notes, profiles = NoteList(), load_profiles({}, "ranch.toml")
    sketch = notes.keep(sketch_blocks(blocks_file))
    place = place_of(sketch.outlines, language or ("es" if sketch.spanish else None))
    blocks = sketch.outlines
    if crop is not None:
        blocks["crop"] = crop
    asked = crop is not None or bool((blocks["crop"] == ASKED).any())
    blocks["crop"] = [profile_name(word, profiles) or word for word in blocks["crop"]]
    notes.add(_unknown_crops(blocks, profiles))
    sketches, problems = {"blocks": sketch}, list(sketch.to_mend)
    if valves_file is not None:
        zones = sketches["valves"] = notes.keep(_sketched_valves(valves_file, sketch))
        problems += zones.to_mend
    filled = Start(
        blocks_file, blocks, place, valves_file, sketches["valves"].outlines if valves_file else None,
        tuple(sorted(profiles)), tuple(notes), asked=asked, columns=_columns(sketches), unread=sketch.unread,
        given={kind: one.given for kind, one in sketches.items() if one.given}, to_mend=tuple(problems),
    )  # fmt: skip
    return dataclasses.replace(filled, pages=write_start(folder, filled))


def _unknown_crops(blocks: gpd.GeoDataFrame, profiles: dict[str, CropProfile]) -> NoteList:
    notes = NoteList()
    for word in sorted(set(blocks["crop"]) - {*profiles, ASKED}):
        near = nearest_crop(word, profiles)
        notes.say("start_crop_unknown", "warning", crop=word, known=[near] if near else sorted(profiles))
    return notes


def _sketched_valves(file: Path, sketch_of_blocks: OutlineSketch) -> Noted[OutlineSketch]:
    """Read the valve zones and lay them into the blocks; what ``check`` will refuse is to be mended."""
    notes = NoteList()
    blocks = sketch_of_blocks.outlines
    sketch = notes.keep(sketch_valves(file, CRS(blocks.crs), sketch_of_blocks.replaced))
    try:
        joined = notes.keep(join_valves(sketch.outlines, blocks, file))
    except DataError as error:
        return notes.beside(dataclasses.replace(sketch, to_mend=(*sketch.to_mend, *error.problems)))
    return notes.beside(dataclasses.replace(sketch, outlines=joined))


def _columns(sketches: Mapping[str, OutlineSketch]) -> dict[str, tuple[str, str]]:
    """Say what ``[columns]`` shall hold: the headings taken for names, and those that were not taken."""
    found: dict[str, tuple[str, str]] = {}
    for kind, sketch in sketches.items():
        found |= {heading: ("", "left_out") for heading, _ in sketch.left_out}
        if sketch.named_by is not None:
            found[sketch.named_by] = (kind.removesuffix("s"), "named_by")
    return found
