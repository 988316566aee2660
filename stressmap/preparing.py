"""Before the main job: make the folder of a ranch, check its files. Needs nothing that maps or draws."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
from pyproj import CRS

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.orchard import profile_name
from stressmap.core.errors import DataError, Notes
from stressmap.intake.blocks_and_valves import read_blocks, read_valves
from stressmap.core.progress import Progress, Silent
from stressmap.quality.spatial_join import join_valves
from stressmap.quality.assessment_summary import mend_table
from stressmap.output.gis.mend_list import write_mend_list
from stressmap.output.staging.starter import Start, write_start
from stressmap.survey import Inputs, NothingUsableError, Visit, assess_readings, load_inputs


@dataclass(frozen=True)
class Checked:
    """What :func:`check` found.

    Parameters
    ----------
    inputs : Inputs
        As read.
    visit : tuple of date
        First and last day.
    readings : GeoDataFrame
        All readings with their flags.
    notes : tuple of str
        What was mended or is missing.
    stop : DataError or None
        What would stop a run all the same: no reading may be used.
    """

    inputs: Inputs
    visit: Visit
    readings: gpd.GeoDataFrame
    notes: tuple[str, ...]
    stop: DataError | None = None


def check(source: Path, progress: Progress | None = None) -> Checked:
    """Read and check the inputs and write nothing.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    progress : Progress, optional
        Told of stages and steps.

    Returns
    -------
    Checked

    Raises
    ------
    StressmapError
        If a file or setting cannot be used.
    """
    notes, tell = Notes(), progress or Silent()
    inputs = load_inputs(source, notes, tell)
    tell.stage("Checking readings")
    try:
        assessed = assess_readings(inputs, None, notes)
    except NothingUsableError as stop:
        return Checked(inputs, stop.visit, stop.readings, tuple(notes), stop)
    return Checked(inputs, assessed.visit, assessed.readings, tuple(notes))


def list_to_mend(checked: Checked, out: Path) -> Path:
    """Write the doubtful readings of a check as a small table to mend by hand.

    Parameters
    ----------
    checked : Checked
        From :func:`check`.
    out : Path
        A ``.csv`` file, or a folder.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    inputs = checked.inputs.settings.inputs().values()
    return write_mend_list(mend_table(checked.readings), out, (checked.inputs.source, *inputs))


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
    notes, profiles = Notes(), load_profiles({}, "ranch.toml")
    blocks = read_blocks(blocks_file, None, notes)
    blocks["crop"] = [profile_name(crop, profiles) or crop for crop in blocks["crop"]]
    valves = 0
    if valves_file is not None:
        read = read_valves(valves_file, CRS(blocks.crs), notes)
        valves = len(join_valves(read, blocks, valves_file, notes))
    filled = Start(blocks_file, blocks, valves_file, valves, tuple(sorted(profiles)), tuple(notes))
    write_start(folder, filled)
    return filled
