"""Water plans that no longer count are taken away: nobody shall water by one whose map or share is gone."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from stressmap.core.errors import OutputError, Problem
from stressmap.output import outputs
from stressmap.output.staging import run_record
from stressmap.output.staging.output_folder import make_ready, staged
from stressmap.output.staging.result_files import MARK, listed

PLAN = "water"
"""Folder of the plan, below that of the ranch's map."""


def take_plan_away(folder: Path) -> None:
    """Take the files of a plan out of its folder, all at once.

    Parameters
    ----------
    folder : Path
        Of the plan. A record is left in it that tells of no plan, and what is the user's own stays; where no
        plan is, nothing is done.

    Raises
    ------
    OutputError
        If it cannot be done; the plan is as it was.
    """
    files = outputs.files_of("water")
    try:
        there = listed(folder, files.known) - {MARK}
    except OSError as error:
        what = f"the plan in it cannot be taken away ({error.strerror or error})"
        raise OutputError(Problem(str(folder), what, "Take it away yourself: it no longer counts")) from None
    if there:
        make_ready(folder, files)
        with staged(folder, files) as place:
            run_record.write_run({"job": "water", "versions": run_record.versions()}, place)


def withdraw_plans(folder: Path, slugs: Iterable[str]) -> None:
    """Take away the plans of some ranches.

    Parameters
    ----------
    folder : Path
        Of the district.
    slugs : iterable of str
        Folders of the ranches in it.

    Raises
    ------
    OutputError
        If it cannot be done.
    """
    for slug in slugs:
        take_plan_away(folder / slug / PLAN)
