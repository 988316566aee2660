"""What the ranch's record holds, and all of it as plain tables."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from stressmap import __version__
from stressmap.core import settings
from stressmap.core.settings import Settings
from stressmap.jobs.before_work import handed_in
from stressmap.jobs.record_of_ranch import record_of
from stressmap.output.gis.record_files import NAMES, write_record
from stressmap.output.staging.output_folder import make_ready, staged
from stressmap.output.staging.result_files import MARK, JobFiles
from stressmap.store.ranch_record import HeldRecord

FILES = JobFiles("record", frozenset({*NAMES, MARK}), frozenset({*NAMES, MARK}))
"""What the job writes, and the mark by which the next copy takes its place."""


@dataclass(frozen=True)
class GivenOut:
    """What :func:`give_out` found and wrote.

    Parameters
    ----------
    settings : Settings
        The ranch's.
    held : HeldRecord
        What the record holds.
    names : tuple of str
        Of the files that were written.
    """

    settings: Settings
    held: HeldRecord
    names: tuple[str, ...] = ()


def give_out(source: Path, out: Path | None = None) -> GivenOut:
    """Read all that the record of a ranch holds, and write it as CSV and GeoPackage where a folder is named.

    Parameters
    ----------
    source : Path
        A ``ranch.toml``.
    out : Path, optional
        Folder for the tables.

    Returns
    -------
    GivenOut

    Raises
    ------
    StressmapError
        With the problems and the exit code; an earlier copy is untouched.
    """
    chosen = settings.load(source)
    if out is not None:
        make_ready(out, FILES, handed_in(source, chosen))
    held = record_of(chosen).held()
    if out is None:
        return GivenOut(chosen, held)
    told = {"job": "record", "files": sorted([*NAMES, MARK]), "versions": {"stressmap": __version__}}
    with staged(out, FILES) as folder:
        write_record(held, folder, chosen.ranch.zone)
        (folder / MARK).write_text(json.dumps(told, indent=2) + "\n", encoding="utf-8", newline="\n")
    return GivenOut(chosen, held, NAMES)
