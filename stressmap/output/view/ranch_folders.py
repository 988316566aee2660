"""The ranches of a district as their folders hold them: what a finished ``run`` left, and nothing else."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from stressmap.core.errors import Problem
from stressmap.core.ranch_result import RanchResult
from stressmap.core.text import first_line

WGS84 = "EPSG:4326"
RASTER, RECORD, VALVES, PACKAGE = "stress.tif", "run.json", "valves.geojson", "ranch.gpkg"
"""The files that are read of a ranch's folder."""
BORROWED = frozenset({"borrowed", "drying_borrowed", "soils_borrowed"})
"""Notes of a ranch that borrowed."""


@dataclass(frozen=True)
class MappedRanch:
    """A ranch that was mapped.

    Parameters
    ----------
    result : RanchResult
        Where its folder is.
    title : str
        Its name, unlike that of any other ranch of the district.
    crs : str
        Its working CRS.
    rank_by : str
        What its stress is measured from.
    units : str
        ``"us"`` or ``"metric"``.
    counts : dict of str to object
        Of the run: readings, blocks and so on.
    valves : GeoDataFrame
        As ``valves.geojson`` has them, in WGS 84.
    blocks : GeoDataFrame
        As ``ranch.gpkg`` has them, in the working CRS.
    lenders : int
        Ranches that it borrowed from, where its notes say so; 0 for none.
    """

    result: RanchResult
    title: str
    crs: str
    rank_by: str
    units: str
    counts: dict[str, Any]
    valves: gpd.GeoDataFrame
    blocks: gpd.GeoDataFrame
    lenders: int = 0

    @property
    def raster(self) -> Path:
        """Its surface."""
        return Path(self.result.folder or "") / RASTER


def read_ranches(results: Sequence[RanchResult]) -> tuple[list[MappedRanch], list[RanchResult]]:
    """Read the folders of the ranches that were mapped.

    Parameters
    ----------
    results : sequence of RanchResult
        Of a district.

    Returns
    -------
    list of MappedRanch
        In the same order.
    list of RanchResult
        All of them; one whose folder cannot be read has failed, and says so.
    """
    titles = titles_of(results)
    mapped: list[MappedRanch] = []
    told: list[RanchResult] = []
    for result, title in zip(results, titles, strict=True):
        if result.failed or result.folder is None:
            told.append(result)
            continue
        try:
            mapped.append(_read(result, title))
            told.append(result)
        except (OSError, ValueError, LookupError, TypeError, pyogrio.errors.DataSourceError) as error:
            told.append(_unreadable(result, error))
    return mapped, told


def titles_of(results: Sequence[RanchResult]) -> list[str]:
    """Tell ranches of the same name apart by their folders.

    Parameters
    ----------
    results : sequence of RanchResult
        Of a district.

    Returns
    -------
    list of str

    Examples
    --------
    >>> one, other = (RanchResult(slug, Path("r"), "Hill", None, "failed", None) for slug in ("a", "b"))
    >>> titles_of([one]), titles_of([one, other])
    (['Hill'], ['Hill (a)', 'Hill (b)'])
    """
    names = [" ".join(result.name.split()) or result.slug for result in results]
    count = Counter(name.casefold() for name in names)
    return [
        name if count[name.casefold()] == 1 else f"{name} ({result.slug})"
        for name, result in zip(names, results, strict=True)
    ]


def _read(result: RanchResult, title: str) -> MappedRanch:
    folder = Path(result.folder or "")
    record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
    blocks = gpd.read_file(folder / PACKAGE, layer="blocks", engine="pyogrio")
    if not (folder / RASTER).is_file():
        msg = f"{RASTER} is not there"
        raise FileNotFoundError(msg)
    return MappedRanch(
        result,
        title,
        str(record["crs"]),
        str(record["rank_by"]),
        str(record["settings"]["ranch"]["units"]),
        dict(record["counts"]),
        _features(folder / VALVES),
        blocks,
        lenders_of(record),
    )


def lenders_of(record: dict[str, Any]) -> int:
    """Count the ranches that one borrowed from, where that came to anything worth a sentence.

    Parameters
    ----------
    record : dict
        The page of its ``run.json``.

    Returns
    -------
    int
        0 for none.
    """
    borrowed = record.get("borrowed")
    said = {note["code"] for note in record["notes"]} & BORROWED
    return int(borrowed["ranches"]) if borrowed and said else 0


def _features(path: Path) -> gpd.GeoDataFrame:
    """Read features with the types that JSON gives them, so that a name of digits stays a name."""
    features = json.loads(path.read_text(encoding="utf-8"))["features"]
    table = pd.DataFrame.from_records([one["properties"] for one in features])
    shapes = shapely.from_geojson([json.dumps(one["geometry"]) for one in features])
    return gpd.GeoDataFrame(table, geometry=shapes, crs=WGS84)


def _unreadable(result: RanchResult, error: Exception) -> RanchResult:
    what = f"its results cannot be read ({first_line(error)})"
    problem = Problem(str(result.folder), what, "Remove that folder and run again")
    return replace(result, folder=None, state="failed", visit=None, problems=(problem,))
