"""The files of a district's overview, ONE table of them, and how they are written from the ranches' folders.

Only the folders are read (:mod:`stressmap.output.view.ranch_folders`), so that it is all the same which
machine mapped a ranch, and when.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence, Set
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stressmap.core.notes import Note, NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.core.ranch_result import RanchResult
from stressmap.output.staging.output_folder import staged
from stressmap.output.staging.result_files import MARK, JobFiles, record_in
from stressmap.output.text.district_words import DistrictWords

if TYPE_CHECKING:
    from stressmap.core.district_settings import District
    from stressmap.output.view.district_content import DistrictContent
    from stressmap.water.shared_volume import SharedVolume


@dataclass(frozen=True)
class DistrictFile:
    """A file of a district.

    Parameters
    ----------
    name : str
        Of the file.
    about : str
        Key of the words ``outputs.<about>`` that say for whom it is.
    write : callable
        Takes the district and the path; gives what there is to say. It may leave the file out.
    """

    name: str
    about: str
    write: Callable[[DistrictContent, Path], Iterable[Note]]


# Libraries that write are slow to load: each writer loads its own.


def _page(content: DistrictContent, path: Path) -> Iterable[Note]:
    from stressmap.output.web.overview_page import write_overview_page

    write_overview_page(content, path)
    return ()


def _valves(content: DistrictContent, path: Path) -> Iterable[Note]:
    from stressmap.output.gis.csv_tables import write_csv

    write_csv(content.valves, path)
    return ()


def _problems(content: DistrictContent, path: Path) -> Iterable[Note]:
    from stressmap.output.gis.csv_tables import write_csv

    write_csv(content.problems, path)
    return ()


def _water(content: DistrictContent, path: Path) -> Iterable[Note]:
    from stressmap.output.gis.csv_tables import write_csv
    from stressmap.output.view.shared_water import district_water_table

    if content.shared is not None:
        write_csv(district_water_table(content.shared, content.title_of), path)
    return ()


def _mosaic(content: DistrictContent, path: Path) -> Iterable[Note]:
    from stressmap.output.gis.mosaic import write_mosaic

    rasters = [ranch.raster for ranch in content.ranches]
    return write_mosaic(rasters, path, [ranch.title for ranch in content.ranches]).notes


def _layers(content: DistrictContent, path: Path) -> Iterable[Note]:
    from stressmap.output.gis.district_layers import write_district_layers

    if content.ranches:
        write_district_layers(content, path)
    return ()


DISTRICT_FILES: tuple[DistrictFile, ...] = (
    DistrictFile("district.html", "page", _page),
    DistrictFile("district.csv", "valves", _valves),
    DistrictFile("problems.csv", "problems", _problems),
    DistrictFile("district_water.csv", "water", _water),
    DistrictFile("district.gpkg", "layers", _layers),
    DistrictFile("district.tif", "surface", _mosaic),
)
"""In the order in which people look for them; the record follows. They are written from the last to the
first, so that the page can tell what the others had to say."""
_NAMES = frozenset({MARK, *(file.name for file in DISTRICT_FILES)})
FILES = JobFiles("district", _NAMES, _NAMES)
"""Beside them the folder holds that of each ranch."""


def write_overview(
    district: District,
    results: Sequence[RanchResult],
    shared: SharedVolume | None,
    folder: Path,
    tell: Progress | None = None,
) -> DistrictContent:
    """Write the overview of a district from its ranches' folders.

    Parameters
    ----------
    district : District
        Its name and languages.
    results : sequence of RanchResult
        What came of each ranch, in the order of the district's list.
    shared : SharedVolume or None
        The water that they share.
    folder : Path
        Of the district; the ranches' folders in it stay as they are, the files of an earlier overview are
        replaced all at once.
    tell : Progress, optional
        Told of each file written.

    Returns
    -------
    DistrictContent
        What was written, for the summary.

    Raises
    ------
    OutputError
        If the folder cannot be written; an earlier overview is as it was.
    """
    from stressmap.output.view.district_content import district_content

    progress = tell or Silent()
    progress.stage("Writing the overview", len(DISTRICT_FILES))
    content = district_content(district.name, district.languages, results, shared)
    with staged(folder, FILES) as place:
        notes = NoteList(content.notes)
        if left := left_over(folder, {one.slug for one in results}):
            notes.say("district_left_over", folders=left)
        for file in reversed(DISTRICT_FILES):
            notes.add(file.write(content, place / file.name))
            content = replace(content, notes=tuple(notes))
            progress.step()
        _write_record(content, place)
    return content


def left_over(folder: Path, slugs: Set[str]) -> list[str]:
    """Name the folders of ranches that were taken out of the list; they stay, for someone may want them.

    Parameters
    ----------
    folder : Path
        Of the district.
    slugs : set of str
        Folders of the ranches that are in it.

    Returns
    -------
    list of str
        Those beside them that hold the result of a run, by name.
    """
    found = []
    for place in folder.iterdir() if folder.is_dir() else ():
        with suppress(OSError):
            if place.name not in slugs and place.name[0] != "." and record_in(place).get("job") == "run":
                found.append(place.name)
    return sorted(found)


def _write_record(content: DistrictContent, place: Path) -> None:
    from stressmap.output.staging.run_record import district_page, write_run

    told: dict[str, Any] = {"district": content.name, "ranches": [_plain(one) for one in content.results]}
    if content.shared is not None and content.shared.kept:
        told["water_kept"] = content.shared.kept
    timings = {one.slug: {"seconds": one.seconds, "peak_mb": one.peak_mb} for one in content.results}
    write_run(district_page(told, content.notes, timings), place)


def _plain(result: RanchResult) -> dict[str, Any]:
    return {
        "folder": result.slug,
        "name": result.name,
        "state": result.state,
        "visit": None if result.visit is None else [day.isoformat() for day in result.visit],
        "problems": [str(problem) for problem in result.problems],
    }


def district_described(words: DistrictWords) -> list[tuple[str, str]]:
    """Say for whom the files of a district are.

    Parameters
    ----------
    words : DistrictWords
        The language.

    Returns
    -------
    list of (str, str)
        File, and the words.
    """
    told = [(file.name, words(f"outputs.{file.about}")) for file in DISTRICT_FILES]
    return [*told, (MARK, words("outputs.record"))]
