"""ONE table of all files that ``run`` and ``water`` write.

The README's list, that of ``docs/contract.md``, the guard that keeps inputs from being written over and the
summary on the terminal derive from it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pandas as pd

from stressmap.core.progress import Progress, Silent
from stressmap.core.settings import Ranch
from stressmap.output.staging.result_files import Job, JobFiles
from stressmap.output.text.words import Words

if TYPE_CHECKING:
    from stressmap.agronomy.orchard import Profiles
    from stressmap.output.report.page import Background
    from stressmap.output.view.content import Content
    from stressmap.season.season import Season
    from stressmap.water.value_of_water import WaterValueCurve
    from stressmap.water.water_plan import Advice

When = Literal["run", "look_again", "water", "curve", "season", "record"]
"""By every ``run``; by one that chose places to look again; with a plan, by ``run`` and ``water``; by
``water --curve``; by ``season``; last of each."""


@dataclass(frozen=True)
class Made:
    """What the files of a job are made from; what the job did not make is None.

    Parameters
    ----------
    ranch : Ranch
        Languages, units and form of the tables.
    tables : dict of str to DataFrame
        From :func:`stressmap.output.view.leaving_tables.leaving_tables`.
    content : Content, optional
        The finished run.
    background : Background, optional
        What the report tells beside the results.
    advice : Advice, optional
        The water plan.
    curve : WaterValueCurve, optional
        Relief against water.
    record : dict, optional
        What was done with what. Its file names all others and is the mark of a whole result: written last, by
        itself.
    trees : mapping of str to int, optional
        How many read trees stand behind each valve zone.
    season : tuple of (Season, dict), optional
        The season so far and the profiles of its crops, where a season is written.
    """

    ranch: Ranch
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)
    content: Content | None = None
    background: Background | None = None
    advice: Advice | None = None
    curve: WaterValueCurve | None = None
    record: dict[str, Any] | None = None
    trees: Mapping[str, int] | None = None
    season: tuple[Season, Profiles] | None = None

    @cached_property
    def picture(self) -> bytes | None:
        """The map at a glance, a PNG, drawn once for all files that hold it."""
        from stressmap.output.paper.picture import picture_bytes

        return None if self.content is None else picture_bytes(self.content)


Writer = Callable[[Made, Path], None]


@dataclass(frozen=True)
class Output:
    """A file that a job writes.

    Parameters
    ----------
    name : str
        Of the file.
    about : str
        Key of the words ``outputs.<about>`` that say for whom it is; files of one key stand side by side.
    when : str
        When it is written.
    write : callable
        Takes a :class:`Made` that has what the file is made from, and the path.
    first : bool
        Whether the summary on the terminal names it.
    """

    name: str
    about: str
    when: When
    write: Writer
    first: bool = False


# Libraries that draw are slow to load, and a run draws last: each writer loads its own.


def _of_content(write: Callable[[Content, Path], None]) -> Writer:
    def from_content(made: Made, path: Path) -> None:
        if made.content is not None:
            write(made.content, path)

    return from_content


def _map(made: Made, path: Path) -> None:
    from stressmap.output.web.map_page import write_map

    if made.content is not None:
        write_map(made.content, path, made.picture)


def _picture(made: Made, path: Path) -> None:
    if made.picture is not None:
        path.write_bytes(made.picture)


def _crew_sheet(content: Content, path: Path) -> None:
    from stressmap.output.paper.crew_sheet import write_crew_sheet

    write_crew_sheet(content, path)


def _gpx(content: Content, path: Path) -> None:
    from stressmap.output.gis.gpx_kml import write_gpx

    write_gpx(content, path)


def _kml(content: Content, path: Path) -> None:
    from stressmap.output.gis.gpx_kml import write_kml

    write_kml(content, path)


def _raster(content: Content, path: Path) -> None:
    from stressmap.output.gis.raster import write_raster

    write_raster(content.raster, path)


def _report(made: Made, path: Path) -> None:
    from stressmap.output.report.page import write_report

    if made.content is not None and made.background is not None:
        write_report(made.content, made.background, path)


def _record(made: Made, path: Path) -> None:
    from stressmap.output.staging.run_record import write_run

    if made.record is not None:
        write_run(made.record, path.parent)


def _geopackage(made: Made, path: Path) -> None:
    from stressmap.output.gis.geopackage import write_geopackage

    layers = ("blocks", "valves", "zones", "readings")
    write_geopackage({name: made.tables[name] for name in layers}, path)


def _csv(table: str) -> Writer:
    def write(made: Made, path: Path) -> None:
        from stressmap.output.gis.csv_tables import write_csv

        write_csv(made.tables[table], path, made.ranch.spreadsheet)

    return write


def _geojson(table: str) -> Writer:
    def write(made: Made, path: Path) -> None:
        from stressmap.output.gis.geojson import write_geojson

        write_geojson(made.tables[table], path)

    return write


def _plan_text(made: Made, path: Path) -> None:
    from stressmap.output.gis.plan_files import write_plan_text

    if made.advice is not None:
        write_plan_text(made.advice, made.ranch, path, made.trees)


def _valve_times(made: Made, path: Path) -> None:
    from stressmap.output.paper.valve_times import write_valve_times

    write_valve_times(made.tables["timetable"], made.ranch, path)


def _season_page(made: Made, path: Path) -> None:
    from stressmap.output.web.season_page import write_season

    if made.season is not None:
        write_season(made.season[0], made.ranch, made.season[1], path)


def _curve_picture(made: Made, path: Path) -> None:
    from stressmap.output.gis.plan_files import write_curve_picture

    if made.curve is not None:
        write_curve_picture(made.curve, made.ranch, path)


OUTPUTS: tuple[Output, ...] = (
    Output("map.html", "map", "run", _map, first=True),
    Output("map.png", "picture", "run", _picture, first=True),
    Output("crew_sheet.pdf", "crew_sheet", "run", _of_content(_crew_sheet), first=True),
    Output("waypoints.gpx", "phone", "run", _of_content(_gpx), first=True),
    Output("map.kml", "phone", "run", _of_content(_kml)),
    Output("report.html", "report", "run", _report, first=True),
    Output("valves.csv", "valves", "run", _csv("valves"), first=True),
    Output("valves.geojson", "valves", "run", _geojson("valves")),
    Output("zones.geojson", "zones", "run", _geojson("zones")),
    Output("look_again.csv", "look_again", "look_again", _csv("look_again")),
    Output("stress.tif", "surface", "run", _of_content(_raster)),
    Output("water_plan.csv", "plan", "water", _csv("water_plan")),
    Output("timetable.csv", "plan", "water", _csv("timetable"), first=True),
    Output("water_plan.txt", "plan", "water", _plan_text, first=True),
    Output("valve_times.xlsx", "valve_times", "water", _valve_times, first=True),
    Output("water_curve.csv", "curve", "curve", _csv("water_curve")),
    Output("water_curve.png", "curve", "curve", _curve_picture),
    Output("readings.csv", "readings", "run", _csv("readings")),
    Output("readings.geojson", "readings", "run", _geojson("readings")),
    Output("ranch.gpkg", "geopackage", "run", _geopackage),
    Output("season.html", "season_page", "season", _season_page, first=True),
    Output("due.csv", "due", "season", _csv("due"), first=True),
    Output("cycles.csv", "cycles", "season", _csv("cycles")),
    Output("season.csv", "season", "season", _csv("season")),
    Output("season_blocks.csv", "season_blocks", "season", _csv("season_blocks")),
    Output("run.json", "record", "record", _record),
)
"""In the order in which people look for them."""


def names() -> frozenset[str]:
    """Give every file name that a job may write into its folder.

    Returns
    -------
    frozenset of str
    """
    return frozenset(output.name for output in OUTPUTS)


def files_of(job: Job) -> JobFiles:
    """Say which files a job may write, and which names any of them has.

    Parameters
    ----------
    job : {"run", "water", "season"}
        What writes.

    Returns
    -------
    JobFiles
    """
    parts = {"water": {"water", "curve", "record"}, "season": {"season", "record"}}
    own = parts.get(job, {output.when for output in OUTPUTS} - {"season"})
    return JobFiles(job, frozenset(output.name for output in OUTPUTS if output.when in own), names())


def first_files(folder: Path) -> list[str]:
    """Give the files of a finished job that the summary on the terminal names.

    Parameters
    ----------
    folder : Path
        Where they are.

    Returns
    -------
    list of str
    """
    return [output.name for output in OUTPUTS if output.first and (folder / output.name).exists()]


def write(made: Made, folder: Path, progress: Progress | None = None) -> None:
    """Write every file for which there is what it is made from.

    Parameters
    ----------
    made : Made
        By a job.
    folder : Path
        A folder with no earlier result in it.
    progress : Progress, optional
        Told of each file written.
    """
    there: dict[When, bool] = {
        "run": made.content is not None,
        "look_again": "look_again" in made.tables,
        "water": made.advice is not None,
        "curve": made.curve is not None,
        "season": made.season is not None,
        "record": made.record is not None,
    }
    due = [output for output in OUTPUTS if there[output.when]]
    tell = progress or Silent()
    tell.stage("Writing files", len(due))
    with usual_style(made):
        for output in due:
            output.write(made, folder / output.name)
            tell.step()


def usual_style(made: Made) -> AbstractContextManager[None]:
    """Draw alike everywhere, whatever a ``matplotlibrc`` in the working folder or at home says.

    Parameters
    ----------
    made : Made
        What is written; without a picture nothing that draws is loaded.

    Returns
    -------
    context manager
    """
    if made.content is None and made.curve is None and made.season is None:
        return nullcontext()
    from matplotlib import style

    return style.context("default")


def described(words: Words) -> list[tuple[tuple[str, ...], str]]:
    """Say for whom the files are, files of one purpose together.

    Parameters
    ----------
    words : Words
        The language.

    Returns
    -------
    list of tuple
        File names, and the words.
    """
    groups: dict[str, list[Output]] = {}
    for output in OUTPUTS:
        groups.setdefault(output.about, []).append(output)
    return [(tuple(o.name for o in group), words(f"outputs.{about}")) for about, group in groups.items()]
