"""A visit as it was surveyed: files read, readings checked, and what they mean for crop, date and weather."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.indices import add_figures, block_figures, watered_bar
from stressmap.agronomy.orchard import Orchard, Profiles, settle
from stressmap.agronomy.visit_weather import shift_error_bar, usual_weather
from stressmap.core import settings as settings_module
from stressmap.core.errors import DataError, NoRowsError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.row_counts import ToldRow
from stressmap.core.row_names import row_names
from stressmap.core.schemas import CHECKED_READINGS, hold
from stressmap.core.settings import Settings, Shared
from stressmap.core.sources import InputSource
from stressmap.core.text import renamed
from stressmap.intake.block_words import SOILS, known_words, nearest, soil_of
from stressmap.intake.blocks_and_valves import blocks_as_valves, read_blocks, read_valves
from stressmap.intake.covariate import read_covariate
from stressmap.intake.inputs import Inputs
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.intake.outline_names import OutlineFile, replaced_names
from stressmap.intake.ranch_clock import check_ranch_clock
from stressmap.intake.readings import no_readings, read_readings
from stressmap.intake.record_inputs import said_of_record, troubles_left
from stressmap.intake.road_files import read_roads
from stressmap.intake.road_points import read_road_points
from stressmap.intake.weather import read_weather
from stressmap.jobs.record_of_ranch import logged, record_rows
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.quality import chosen_trees, reading_error, whole_visit
from stressmap.quality.assessment_summary import summarise
from stressmap.quality.checks import assess
from stressmap.quality.reading_error import ReadingError
from stressmap.quality.record_spans import late_sets_note, log_end_note
from stressmap.quality.spatial_join import join_valves, outside_rows
from stressmap.quality.visit import choose_visit, doubtful_last_visit
from stressmap.quality.visit_counts import two_files_note
from stressmap.zoning.lattice_limits import refuse_too_many_cells

Visit = tuple[dt.date, dt.date]
T = TypeVar("T")
G = TypeVar("G")


@dataclass(frozen=True)
class Assessed:
    """The readings of a visit with their flags and figures, and what each block is held against."""

    orchard: Orchard
    visit: Visit
    readings: gpd.GeoDataFrame
    blocks: pd.DataFrame
    error: ReadingError

    @property
    def modelled_error_bar(self) -> float | None:
        """Error of a reading and of carrying it along a line of uncertain slope together [bar]."""
        if self.error.reading_error_bar is None:
            return None
        shift = self.readings.loc[self.readings["used"], "weather_shift_bar"].to_numpy()
        return float(np.hypot(self.error.reading_error_bar, shift_error_bar(shift)))


class NothingUsableError(DataError):
    """No reading of the visit may be used; carries them, so that ``check`` can say why.

    Parameters
    ----------
    problem : Problem
        In one sentence.
    visit : tuple of date
        First and last day.
    readings : GeoDataFrame
        With their flags.
    notes : tuple of Note
        What there is to say of them.
    """

    def __init__(
        self, problem: Problem, visit: Visit, readings: gpd.GeoDataFrame, notes: tuple[Note, ...]
    ) -> None:
        super().__init__(problem)
        self.notes = notes
        self.visit = visit
        self.readings = readings


READERS = 5
"""Polygons, readings, weather, irrigation, raster."""


def _together(step: Callable[[], None], *readers: Callable[[], Any]) -> list[Any]:
    """Call readers of separate files and raise all their problems at once."""
    found: list[Any] = []
    problems: list[Problem] = []
    for reader in readers:
        try:
            found.append(reader())
        except DataError as error:
            problems += error.problems
        step()
    if problems:
        raise DataError(problems)
    return found


def load_inputs(
    source: Path, progress: Progress | None = None, shared: Shared | None = None, *, unread: bool = False
) -> Noted[tuple[Inputs, Orchard]]:
    """Read ``ranch.toml`` and every file that it names; settle the crops, once for all that follows.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    progress : Progress, optional
        Told of each file read.
    shared : mapping of str to mapping, optional
        What counts where the settings say nothing.
    unread : bool
        Whether there need be no reading yet.

    Returns
    -------
    Noted of (Inputs, Orchard)
        The blocks of the inputs are those of the orchard, with their crops settled, beside the profiles of
        those crops. Says what was mended or is missing.

    Raises
    ------
    SettingsError
        If ``ranch.toml`` is wrong.
    DataError
        If an input cannot be used.
    """
    chosen = settings_module.load(source, shared)
    notes = NoteList()
    files, zone = chosen.files, chosen.ranch.zone
    profiles = load_profiles(chosen.crops, str(source))
    tell = progress or Silent()
    tell.stage("Reading files", READERS)
    spelled: dict[str, Any] = {
        "zone": zone, "columns": chosen.columns, "order": chosen.reading.date_order,
    }  # fmt: skip

    def optional(given: G | None, read: Callable[[G], T]) -> Callable[[], T | None]:
        return lambda: None if given is None else read(given)

    notes.add(_soil_of_settings(chosen))

    outside: list[ToldRow] = []
    record = record_rows(chosen)
    notes.add(said_of_record(record) if record else ())
    logs: tuple[Path | InputSource, ...] = (*(files.irrigation or ()), *logged(record, zone))
    known: list[gpd.GeoDataFrame] = []
    read_on: list[dt.date] = []

    def outlines() -> tuple[Orchard, gpd.GeoDataFrame]:
        orchard, valves, beyond = notes.keep(read_outlines(chosen, profiles))
        known.append(valves)
        outside.extend(beyond)
        return orchard, valves

    def trees() -> pd.DataFrame:
        try:
            made = notes.keep(read_readings(files.readings, chosen, record))
        except NoRowsError:
            if not unread:
                raise
            return no_readings(zone)
        read_on.extend(moment.date() for moment in made["time"].agg(["min", "max"]).dropna())
        return made

    def log(paths: tuple[Path | InputSource, ...]) -> pd.DataFrame | None:
        days = (read_on[0], read_on[1]) if read_on else None
        told: dict[str, Any] = {"valves": known[0] if known else None, "read_on": days}
        try:
            return notes.keep(read_irrigation(paths, **spelled, **told))
        except NoRowsError as empty:  # in spring nothing has run yet
            notes.say("files_without_rows", files=[one.where for one in empty.problems])
            return None

    (orchard, valves), readings, weather, irrigation = _together(
        tell.step,
        outlines,
        trees,
        optional(files.weather, lambda path: notes.keep(read_weather(path, **spelled))),
        optional(logs or None, log),
    )
    raster = chosen.map.covariate
    crs = CRS(orchard.blocks.crs)
    covariate = None if raster is None else read_covariate(raster, crs)
    roads = None if files.roads is None else read_roads(files.roads, crs)
    points = () if files.roads is None else read_road_points(files.roads, crs)
    tell.step()
    notes.add(check_ranch_clock(orchard.blocks, readings["time"], chosen.ranch.timezone))
    orchard = replace(orchard, usual=usual_weather(weather, zone))
    names = _short_names(chosen)
    readings = readings.assign(file=readings["file"].map(lambda file: renamed(file, names)))
    counts = tuple(
        one.leaving(outside if one.kind == "valves" else ()).renamed(names) for one in notes.counts
    )
    troubles = notes.keep(troubles_left(record, valves["valve"])) if record else {}
    kept: dict[str, Any] = {"record": record, "troubles": troubles, "roads": roads, "road_points": points}
    read = (valves, readings, weather, irrigation, covariate, counts)
    inputs = Inputs(source, chosen, orchard.blocks, *read, **kept)
    return Noted((inputs, orchard), shown(notes, chosen))


def read_outlines(
    chosen: Settings, profiles: Profiles
) -> Noted[tuple[Orchard, gpd.GeoDataFrame, list[ToldRow]]]:
    """Read blocks and valve zones, and settle the crops.

    Parameters
    ----------
    chosen : Settings
        Of the ranch.
    profiles : dict of str to CropProfile
        From :func:`stressmap.agronomy.crops.load_profiles`.

    Returns
    -------
    Noted of (Orchard, GeoDataFrame, list of ToldRow)
        The orchard, the valve zones in its blocks, and the rows of valves that lie in none.

    Raises
    ------
    DataError
        If a file cannot be used.
    """
    notes, files = NoteList(), chosen.files
    told: dict[str, Any] = {"attributes": files.attributes, "crops": tuple(profiles)}
    outlines = OutlineFile(InputSource.of(files.blocks), chosen.names.blocks, chosen.source)
    read = notes.keep(
        read_blocks(outlines, chosen.ranch.crs, chosen.columns, settings_file=chosen.source, **told)
    )
    said_in = str(files.attributes or files.blocks)
    own = Words(chosen.ranch.languages[0])
    named: dict[str, Any] = {"blocks_file": said_in, "settings_file": chosen.source}
    orchard = notes.keep(settle(read, profiles, **named, shown=lambda crop: own.known("crop", crop)))
    refuse_too_many_cells(orchard.blocks, chosen.map.cell_m, chosen.source)
    if files.valves is None:
        return notes.beside((orchard, blocks_as_valves(orchard.blocks), []))
    file = OutlineFile(InputSource.of(files.valves), chosen.names.valves, chosen.source)
    gone = replaced_names(notes) - set(read["block"])
    valves = notes.keep(read_valves(file, CRS(read.crs), chosen.columns, replaced=gone))
    joined = join_valves(valves, orchard.blocks, files.valves)
    return notes.beside((orchard, notes.keep(joined), outside_rows(valves, joined)))


def shown(notes: Iterable[Note], settings: Settings) -> tuple[Note, ...]:
    """Show the ranch's files by short names: notes go into files that leave the computer.

    Parameters
    ----------
    notes : iterable of Note
        With the paths of files as they were opened.
    settings : Settings
        Knows the files.

    Returns
    -------
    tuple of Note
        Each once.
    """
    names = _short_names(settings)
    return tuple(NoteList(note.renamed(names) for note in notes))


def _soil_of_settings(chosen: Settings) -> tuple[Note, ...]:
    """Say where ``[water] soil`` is a word that is not known."""
    word = chosen.water.soil if chosen.water else None
    if word is None or soil_of(word) is not None:
        return ()
    near = nearest(word, known_words("soil"))
    said = {"file": chosen.source, "written": word, "near": int(near is not None)}
    return (Note.of("soil_of_settings_not_known", "warning", words=[near] if near else list(SOILS), **said),)


def _short_names(settings: Settings) -> dict[str, str]:
    named = (path for paths in settings.named_inputs().values() for path in paths)
    every = (*named, *settings.inputs().values(), *settings.record.files)
    return {str(file): settings.shown(file) for file in every}


def assess_readings(inputs: Inputs, orchard: Orchard, on: dt.date | None) -> Noted[Assessed]:
    """Choose the visit, check its readings and work out what they mean.

    Parameters
    ----------
    inputs, orchard : Inputs, Orchard
        From :func:`load_inputs`.
    on : date or None
        A day of the visit wanted; None for the settings' or the latest.

    Returns
    -------
    Noted of Assessed
        Says what was mended, assumed or could not be computed.

    Raises
    ------
    DataError
        If no reading of the visit can be used.
    """
    open_choice = on is None and inputs.settings.visit.end is None
    doubt = doubtful_last_visit(inputs.readings) if open_choice else ()
    try:
        assessed = assess_visit(inputs, orchard, choose_visit(inputs.readings, inputs.settings, on))
    except NothingUsableError as stop:
        stop.notes = (*doubt, *stop.notes)
        raise
    ended = log_end_note(inputs.irrigation, assessed.value.visit[1])
    ended += late_sets_note(inputs.irrigation, inputs.readings["time"].max().date())
    return Noted(assessed.value, tuple(NoteList((*doubt, *assessed.notes, *ended))))


def assess_visit(inputs: Inputs, orchard: Orchard, visit: Visit) -> Noted[Assessed]:
    """Check the readings of one visit and work out what they mean.

    Parameters
    ----------
    inputs, orchard : Inputs, Orchard
        From :func:`load_inputs`.
    visit : tuple of date
        First and last day.

    Returns
    -------
    Noted of Assessed
        Says what was mended, assumed or could not be computed.

    Raises
    ------
    DataError
        If no reading of the visit can be used.
    """
    chosen, notes = inputs.settings, NoteList()
    checked = notes.keep(assess(inputs.readings, inputs.blocks, inputs.valves, chosen, visit, inputs.crs))
    watered = watered_bar(checked, orchard, inputs.weather, chosen)
    error = reading_error.estimate(checked, watered)
    notes.add(reading_error.remarks(error, aligned=chosen.reading.align_chambers))
    if chosen.reading.align_chambers:
        checked = reading_error.align(checked, error)
    figured = notes.keep(add_figures(checked, orchard, inputs.weather, chosen))
    table = gpd.GeoDataFrame(figured, geometry="geometry", crs=inputs.crs)
    bare = table["used"] & table["stress_bar"].isna()
    if bare.any():
        notes.say("figure_unknown", "caution", count=bare.sum(), figure=chosen.map.rank_by)
        table["used"] = table["used"] & ~bare
    if not table["used"].any():
        raise NothingUsableError(_nothing_usable(inputs, visit, table), visit, table, shown(notes, chosen))
    notes.add(_mended(table))
    notes.add(two_files_note(table))
    notes.add(chosen_trees.remarks(table, chosen.reading))
    notes.add(whole_visit.remarks(table.assign(row=row_names(table))[table["used"]]))
    held = block_figures(orchard, visit, table[table["used"]], chosen)
    checked = hold(table, CHECKED_READINGS)
    assessed = Assessed(orchard, visit, checked, held, error)
    return Noted(assessed, shown(notes, chosen))


def _nothing_usable(inputs: Inputs, visit: Visit, table: gpd.GeoDataFrame) -> Problem:
    """Say why no reading can be used, and the likely cause where the figures tell it."""
    chosen = inputs.settings
    today = table[~table["flags"].map(lambda codes: "outside_visit" in codes)]
    codes = pd.Series([code for flags in today["flags"] for code in flags], dtype=object).value_counts()
    why = ", ".join(f"{code} {count}" for code, count in codes.items()) or "none was taken in it"
    what = f"no reading of the visit {visit[0]} to {visit[1]} can be used ({why})"
    causes = summarise(today, inputs.blocks, inputs.valves, chosen).first if len(today) else ()
    remedy = (
        sentence(causes[0], Words("en")).rstrip(".")
        if causes
        else "Mend the readings, or name another visit with --visit"
    )
    return Problem(chosen.named("readings"), what, remedy[:1].upper() + remedy[1:])


def _mended(table: gpd.GeoDataFrame) -> NoteList:
    """Say how many of the readings that are used were mended; more than half is worth a second look."""
    notes, used = NoteList(), table[table["used"]]
    for code in ("lonlat_swapped", "sign_read_as_potential"):
        count = int(sum(code in codes for codes in used["flags"]))
        found = {"count": count, "total": len(used), "flag": code}
        if 2 * count > len(used):
            notes.say("readings_mostly_mended", "warning", **found)
        elif count:
            notes.say("readings_mended", "caution", **found)
    return notes
