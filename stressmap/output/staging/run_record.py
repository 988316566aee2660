"""``run.json``: what was done with what, the last file of a run."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import platform
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib.metadata import requires, version
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement

from stressmap import __version__
from stressmap.core.district_schemas import versions_of_district
from stressmap.core.errors import DataError, Problem
from stressmap.core.input_files import components
from stressmap.core.notes import Note
from stressmap.core.schemas import versions_of_tables
from stressmap.core.season_schemas import versions_of_season
from stressmap.core.settings import Settings
from stressmap.intake.record_inputs import RecordRows
from stressmap.output.staging.result_files import MARK
from stressmap.output.text.note_words import sentences
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content

OF_A_PROCESS = ("-shm", "-journal")
"""Endings of files that lie beside a database only while a process has it open."""


@dataclass(frozen=True)
class Record:
    """What ``run.json`` says beside the results.

    Parameters
    ----------
    source : Path
        The ``ranch.toml``.
    settings : Settings
        In full.
    fit : dict
        The surface's own summary.
    reading_error : dict
        What rechecks and repeats told.
    seconds : dict
        By stage; the only part of a run that differs between equal runs.
    sha256 : dict
        Of the settings and every input, from :func:`fingerprints`.
    memory : dict, optional
        What earlier visits had to do with the map; None where they had nothing.
    kept : RecordRows, optional
        What was read of the ranch's record.
    borrowed : dict, optional
        What other ranches lent, and what this one tells for them; None for a ranch by itself.
    """

    source: Path
    settings: Settings
    fit: dict[str, Any]
    reading_error: dict[str, Any]
    seconds: dict[str, float]
    sha256: dict[str, str]
    memory: dict[str, Any] | None = None
    kept: RecordRows | None = None
    borrowed: dict[str, Any] | None = None

    @property
    def of_district(self) -> dict[str, Any]:
        """What was borrowed; nothing for a ranch by itself."""
        return {} if self.borrowed is None else {"borrowed": self.borrowed}

    @property
    def of_record(self) -> dict[str, Any]:
        """What came from the ranch's record; nothing where there is none."""
        return {} if self.kept is None else {"record": self.kept.as_plain()}


def write_run(page: dict[str, Any], folder: Path) -> None:
    """Write the record of a run, the last of its files, with the names of them all.

    Parameters
    ----------
    page : dict
        From :func:`run_page`.
    folder : Path
        That holds all other files of the run.
    """
    files = sorted([*(p.name for p in folder.iterdir()), MARK])
    text = json.dumps(page | {"files": files}, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / MARK).write_text(text + "\n", encoding="utf-8", newline="\n")


def run_page(content: Content, record: Record) -> dict[str, Any]:
    """Gather the record of a run.

    Parameters
    ----------
    content : Content
        A finished run.
    record : Record
        Settings, fit and timings.

    Returns
    -------
    dict
        Plain numbers and text.
    """
    readings = content.readings
    flags = Counter(code for codes in readings["flags"] for code in codes)
    return {
        "job": "run",
        "visit": [day.isoformat() for day in content.visit],
        "method": content.method,
        "rank_by": content.rank_by,
        "edges_bar": content.edges_bar,
        "crs": content.raster.crs,
        **_made_from(record),
        "tables": versions_of_tables(),
        "counts": {
            "readings": len(readings),
            "used": int(readings["used"].sum()),
            "flags": dict(sorted(flags.items())),
            "blocks": len(content.blocks),
            "blocks_without_readings": int((content.blocks["readings"] == 0).sum()),
            "valves": len(content.valves),
            "zones": len(content.zones),
            "cells": len(content.raster.row),
        },
        "inputs": [counts.as_plain() for counts in content.files],
        **record.of_record,
        **({} if content.next_round is None else {"next_round": content.next_round.as_plain()}),
        "weather": {"vpd_kpa": content.vpd_kpa, "usual_vpd_kpa": content.usual_vpd_kpa},
        "fit": record.fit,
        "memory": record.memory,
        **record.of_district,
        "reading_error": record.reading_error,
        **_said(content.notes),
        "timings": record.seconds,
    }


def plan_page(visit: tuple[dt.date, dt.date], record: Record, notes: tuple[Note, ...]) -> dict[str, Any]:
    """Gather the record of a water plan that was made alone.

    Parameters
    ----------
    visit : tuple of date
        The readings it rests on.
    record : Record
        Settings and fit.
    notes : tuple of Note
        What the run had to say.

    Returns
    -------
    dict
        Plain numbers and text; the same for the same inputs.
    """
    return {
        "job": "water",
        "visit": [day.isoformat() for day in visit],
        **_made_from(record),
        **record.of_record,
        "fit": record.fit,
        "memory": record.memory,
        "reading_error": record.reading_error,
        **_said(notes),
    }


def round_page(told: Mapping[str, Any], record: Record, notes: tuple[Note, ...]) -> dict[str, Any]:
    """Gather the record of a planned measuring round.

    Parameters
    ----------
    told : mapping of str to number or text
        Of the round itself.
    record : Record
        Settings and fit.
    notes : tuple of Note
        What there is to say.

    Returns
    -------
    dict
        Plain numbers and text; the same for the same inputs.
    """
    return {
        "job": "round",
        **told,
        **_made_from(record),
        **record.of_record,
        "fit": record.fit,
        "memory": record.memory,
        **_said(notes),
    }


def season_page(
    visits: tuple[tuple[dt.date, dt.date], ...], record: Record, notes: tuple[Note, ...]
) -> dict[str, Any]:
    """Gather the record of a season.

    Parameters
    ----------
    visits : tuple of (date, date)
        First and last day of each.
    record : Record
        Settings and inputs.
    notes : tuple of Note
        What there is to say.

    Returns
    -------
    dict
        Plain numbers and text; the same for the same inputs.
    """
    return {
        "job": "season",
        "visits": [[day.isoformat() for day in visit] for visit in visits],
        **_made_from(record),
        "tables": versions_of_season(),
        **record.of_record,
        **_said(notes),
    }


def district_page(
    told: Mapping[str, Any], notes: tuple[Note, ...], timings: dict[str, Any]
) -> dict[str, Any]:
    """Gather the record of the overview of a district.

    Parameters
    ----------
    told : mapping of str to number or text
        Of the district and its ranches.
    notes : tuple of Note
        What there is to say.
    timings : dict
        By ranch; the only part that differs between equal calls.

    Returns
    -------
    dict
        Plain numbers and text.
    """
    versions_there = {"tables": versions_of_district(), "versions": versions()}
    return {"job": "district", **told, **versions_there, **_said(notes), "timings": timings}


def _made_from(record: Record) -> dict[str, Any]:
    """Give what any job's result was made from: settings, files, versions."""
    return {"settings": settings_shown(record.settings), "sha256": record.sha256, "versions": versions()}


def _said(notes: Iterable[Note]) -> dict[str, Any]:
    """Give what any job had to say, as sentences and as plain values."""
    told = tuple(notes)
    return {"warnings": list(sentences(told, Words("en"))), "notes": [_as_plain(note) for note in told]}


def settings_shown(chosen: Settings) -> dict[str, Any]:
    """Give the settings in full, files as seen from theirs.

    Parameters
    ----------
    chosen : Settings
        Of a ranch.

    Returns
    -------
    dict
        Plain values.
    """
    shown = {key: [chosen.shown(path) for path in paths] for key, paths in chosen.named_inputs().items()}
    named = {key: paths if len(paths) > 1 else paths[0] for key, paths in shown.items()}
    settings = chosen.model_dump(mode="json", by_alias=True)
    settings["map"]["covariate"] = named.pop("covariate", None)
    settings["files"] = named
    if settings["store"]["url"] is None:  # as most are: without a record nothing of it stands here
        del settings["store"]
    return settings


def fingerprints(source: Path, settings: Settings, kept: RecordRows | None = None) -> dict[str, str]:
    """Take the fingerprint of every input, as soon as it has been read.

    Parameters
    ----------
    source : Path
        The ``ranch.toml``.
    settings : Settings
        What it says.
    kept : RecordRows, optional
        What was read of the ranch's record, whose bytes differ with every writing.

    Returns
    -------
    dict
        SHA-256 of ``settings`` and of each file by its key in ``[files]``, and by its name
        too where there are several; of the files that belong to one, as of a shapefile, by key and name.

    Raises
    ------
    DataError
        If one is no longer there.
    """
    found = {name: _hash(file) for name, file in {"settings": source, **settings.inputs()}.items()}
    for name, file in settings.inputs().items():
        parts = [part for part in components(file) if not part.name.endswith(OF_A_PROCESS)]
        found |= {f"{name}: {settings.shown(part)}": _hash(part) for part in parts}
    return found if kept is None else found | {"record": kept.sha256}


def _as_plain(note: Note) -> dict[str, Any]:
    values = {name: _plain_value(value) for name, value in note.values}
    return {"code": note.code, "severity": note.severity, "values": values}


def _plain_value(value: Any) -> Any:
    """Write dates as text and leave out what no number stands for."""
    if isinstance(value, tuple):
        return [_plain_value(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value.isoformat() if isinstance(value, dt.date) else value


def _hash(file: Path) -> str:
    try:
        with file.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        what = f"it could be read, and then no more ({error.strerror})"
        raise DataError(Problem(str(file), what, "Put it back and run again")) from None


def versions() -> dict[str, str]:
    """Tell the versions of all that computes: Python, this program, the libraries it declares, and theirs.

    Returns
    -------
    dict
        By name; the libraries are those that the installed program says it depends on.
    """
    import pyproj
    import shapely
    from rasterio import __gdal_version__ as gdal

    declared = [Requirement(line) for line in requires("stressmap") or ()]
    wanted = [r.name for r in declared if r.marker is None or r.marker.evaluate({"extra": ""})]
    found = {"python": platform.python_version(), "stressmap": __version__}
    found |= {name: version(name) for name in sorted(wanted, key=str.lower)}
    return found | {"gdal": gdal, "geos": shapely.geos_version_string, "proj": pyproj.proj_version_str}
