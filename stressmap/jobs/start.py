"""A new ranch folder from its polygons. Needs nothing that maps or draws."""

from __future__ import annotations

from pathlib import Path

from pyproj import CRS

from stressmap.agronomy.crop_names import profile_name
from stressmap.agronomy.crops import load_profiles
from stressmap.core.notes import NoteList
from stressmap.intake.blocks_and_valves import read_blocks, read_valves
from stressmap.output.staging.starter import Start, refuse_started, write_start
from stressmap.quality.spatial_join import join_valves


def start(folder: Path, blocks_file: Path, valves_file: Path | None) -> Start:
    """Make a new ranch folder.

    Parameters
    ----------
    folder : Path
        Where; made if it does not exist.
    blocks_file : Path
        The blocks.
    valves_file : Path or None
        The valve zones.

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
    blocks = notes.keep(read_blocks(blocks_file, None))
    blocks["crop"] = [profile_name(crop, profiles) or crop for crop in blocks["crop"]]
    valves = 0
    if valves_file is not None:
        read = notes.keep(read_valves(valves_file, CRS(blocks.crs)))
        valves = len(notes.keep(join_valves(read, blocks, valves_file)))
    filled = Start(blocks_file, blocks, valves_file, valves, tuple(sorted(profiles)), tuple(notes))
    write_start(folder, filled)
    return filled
