"""A new ranch folder from its polygons. Needs nothing that maps or draws."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from pyproj import CRS

from stressmap.agronomy.crop_names import nearest_crop, profile_name
from stressmap.agronomy.crops import load_profiles
from stressmap.core.notes import NoteList
from stressmap.core.unfilled import ASKED
from stressmap.intake.blocks_and_valves import read_valves, sketch_blocks
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
        If the polygons cannot be used or the folder cannot be written.
    """
    refuse_started(folder)
    notes, profiles = NoteList(), load_profiles({}, "ranch.toml")
    sketch = notes.keep(sketch_blocks(blocks_file))
    blocks = sketch.blocks
    if crop is not None:
        blocks["crop"] = crop
    asked = crop is not None or bool((blocks["crop"] == ASKED).any())
    blocks["crop"] = [profile_name(word, profiles) or word for word in blocks["crop"]]
    for word in sorted(set(blocks["crop"]) - {*profiles, ASKED}):
        near = nearest_crop(word, profiles)
        notes.say("start_crop_unknown", "warning", crop=word, known=[near] if near else sorted(profiles))
    valves = 0
    if valves_file is not None:
        read = notes.keep(read_valves(valves_file, CRS(blocks.crs)))
        valves = len(notes.keep(join_valves(read, blocks, valves_file)))
    place = place_of(blocks, language or ("es" if sketch.spanish else None))
    filled = Start(
        blocks_file, blocks, place, valves_file, valves, tuple(sorted(profiles)), tuple(notes),
        asked=asked, named_by=sketch.named_by, unread=sketch.unread,
    )  # fmt: skip
    return dataclasses.replace(filled, pages=write_start(folder, filled))
