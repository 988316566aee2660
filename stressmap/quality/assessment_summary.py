"""What a person needs to know about readings: used, left out and why, mended, missing, what to fix first.

The words are made where they are shown: each line is a note.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from stressmap.core.notes import Note
from stressmap.core.row_counts import RowCounts, ToldRow
from stressmap.core.row_names import row_names
from stressmap.core.settings import Reading, Settings
from stressmap.core.units import usual_unit
from stressmap.quality.checks import CHECKS, ESSENTIAL
from stressmap.quality.visit_counts import in_two_files, two_files_elsewhere, visit_notes

_URGENT = ("unit_suspect", "outside_blocks", "no_place", "no_time", "outside_window")
"""Of kinds equally many, those that a look at the file mends come first."""
_FAULTS = [code for code in CHECKS if code != "outside_visit"]


@dataclass(frozen=True)
class Summary:
    """What a check of the readings found.

    Parameters
    ----------
    counts : dict of str to int
        ``rows``, ``other_visits``, ``used``, ``left_out``.
    lines : tuple of Note
        In reading order.
    first : tuple of Note
        The one or two things worth fixing first; empty if nothing is.
    visits : tuple of Note
        Every visit with its counts, where there are several.
    """

    counts: dict[str, int]
    lines: tuple[Note, ...]
    first: tuple[Note, ...]
    visits: tuple[Note, ...] = ()


def summarise(
    assessed: gpd.GeoDataFrame,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    settings: Settings,
    *,
    weather: pd.DataFrame | None = None,
) -> Summary:
    """Sum up the result of the checks.

    Parameters
    ----------
    assessed : GeoDataFrame
        From :func:`stressmap.quality.checks.assess`.
    blocks, valves : GeoDataFrame
        In the working CRS.
    settings : Settings
        ``[reading]``, and the units that people see.
    weather : DataFrame, optional
        As ``core.schemas.WEATHER``; tells the temperature where none was measured at the trees.

    Returns
    -------
    Summary
    """
    other = assessed["flags"].map(lambda codes: "outside_visit" in codes).astype(bool)
    here = pd.DataFrame(assessed.drop(columns="geometry")).assign(row=row_names(assessed))[~other]
    counts = {
        "rows": len(assessed),
        "other_visits": int(other.sum()),
        "used": int(here["used"].sum()),
        "left_out": int((~here["used"]).sum()),
    }
    lines = [_counted(counts), *_left_out(here), *_marked(here), *_spans(here, settings, weather)]
    lines += _bare(here, blocks, "block", "blocks") + _bare(here, valves, "valve", "valve_zones")
    first = _first(here[~in_two_files(assessed)[~other]], blocks, settings)[:2]
    visits = (*visit_notes(assessed, settings.reading.keep), *two_files_elsewhere(assessed))
    return Summary(counts, tuple(lines), tuple(first), visits)


def mend_table(assessed: gpd.GeoDataFrame) -> pd.DataFrame:
    """List what to mend by hand, a row per doubtful reading of the visit; not what only stands in two files.

    Parameters
    ----------
    assessed : GeoDataFrame
        From :func:`stressmap.quality.checks.assess`.

    Returns
    -------
    DataFrame
        ``row`` of ``file``, ``tree_id``, ``used``, ``flags`` and the figures concerned.
    """
    marked = np.array([bool(c) and "outside_visit" not in c for c in assessed["flags"]], dtype=bool)
    doubtful = assessed[marked & ~in_two_files(assessed)]
    figures = ["time", "lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes", "block", "valve"]
    wanted = ["row", "tree_id", "used", "flags", *figures, "file"]
    return pd.DataFrame(doubtful[wanted]).reset_index(drop=True)


def judged(
    counts: Iterable[RowCounts], assessed: gpd.GeoDataFrame, reading: Reading
) -> tuple[RowCounts, ...]:
    """Count the rows of readings that are not used, each by the first check that leaves it out.

    Parameters
    ----------
    counts : iterable of RowCounts
        Of every file, as read.
    assessed : GeoDataFrame
        From :func:`stressmap.quality.checks.assess`, every row of the readings.
    reading : settings.Reading
        Its ``keep`` was brought back in.

    Returns
    -------
    tuple of RowCounts
        Those of other files as they were.
    """
    kept = set(reading.keep) - ESSENTIAL
    faults = [code for code in _FAULTS if CHECKS[code].action == "leave out" and code not in kept]
    faults = ["outside_visit", *faults]  # what is wrong with it is told with its own visit
    left_out = assessed[~assessed["used"]]
    told: dict[str, list[ToldRow]] = {}
    for file, row, codes in zip(left_out["file"], left_out["row"], left_out["flags"], strict=True):
        first = next((code for code in faults if code in codes), None)
        why = ToldRow.of(row, "no_figure") if first is None else ToldRow(int(row), first)
        told.setdefault(file, []).append(why)
    return tuple(one.leaving(told.get(one.file, ())) if one.kind == "readings" else one for one in counts)


def _counted(counts: dict[str, int]) -> Note:
    found = {"total": counts["used"] + counts["left_out"], **counts}
    if counts["other_visits"]:
        return Note.of("counted_with_others", **found)
    return Note.of("counted", **found)


def _left_out(here: pd.DataFrame) -> list[Note]:
    codes = [code for code in _FAULTS if CHECKS[code].action == "leave out"]
    found = _flagged(here[~here["used"]], codes)
    return [Note.of("left_out_heading"), *found] if found else []


def _marked(here: pd.DataFrame) -> list[Note]:
    found = _flagged(here[here["used"]], _FAULTS)
    return [Note.of("marked_heading"), *found] if found else []


def _flagged(rows: pd.DataFrame, codes: list[str]) -> list[Note]:
    lines = []
    for code in codes:
        found = [code in own for own in rows["flags"]]
        if any(found):
            lines.append(Note.of("flagged", flag=code, count=sum(found), places=_places(rows[found])))
    return lines


def _places(found: pd.DataFrame) -> list[tuple[int, str]]:
    """Name rows of the file and their trees, empty where none is written."""
    trees = found["tree_id"].astype(object).where(found["tree_id"].notna(), "")
    return list(zip(found["row"].tolist(), trees, strict=True))


def _spans(here: pd.DataFrame, settings: Settings, weather: pd.DataFrame | None) -> list[Note]:
    used = here[here["used"]]
    if used.empty:
        return []
    tension = -used["swp_bar"]
    first, last = used["time"].min(), used["time"].max()
    values: dict[str, Any] = {
        "first": f"{first:%Y-%m-%d %H:%M}",
        "last": f"{last:%Y-%m-%d %H:%M}",
        "least_bar": tension.min(),
        "most_bar": tension.max(),
        "middle_bar": tension.median(),
    }
    in_psi = usual_unit(here["unit"]) == "psi"
    names = ("least_bar", "most_bar", "middle_bar")
    alike = len({f"{values[name]:.1f}" for name in names}) == 1
    values["psi"] = [values[name] for name in (names[:1] if alike else names)] if in_psi else []
    values["pressures"] = [values[name] for name in (names[:1] if alike else names)]
    degrees, where = _temperatures(used, weather)
    if degrees.empty:
        return [Note.of("used_span", **values)]
    low, high, unit = degrees.min(), degrees.max(), "C"
    if settings.ranch.units == "us":
        low, high, unit = low * 1.8 + 32, high * 1.8 + 32, "F"
    degrees_shown = [low] if f"{low:.0f}" == f"{high:.0f}" else [low, high]
    warmth = {"where": where, "degrees": degrees_shown, "unit": unit}
    return [Note.of("used_span_and_temperature", **values, **warmth)]


def _temperatures(used: pd.DataFrame, weather: pd.DataFrame | None) -> tuple[pd.Series, str]:
    """Give the temperatures at the trees, else those of the weather file in the hours of the readings."""
    degrees = used["temp_c"].dropna()
    if not degrees.empty or weather is None:
        return degrees, "at_the_trees"
    hours = used["time"].dropna().dt.tz_convert("UTC").dt.round("h").drop_duplicates()
    return weather.loc[weather["time"].isin(hours), "temp_c"].dropna(), "of_the_weather_file"


def _bare(here: pd.DataFrame, areas: gpd.GeoDataFrame, name: str, kind: str) -> list[Note]:
    measured = set(here.loc[here["used"], name].dropna())
    bare = [label for label in areas[name] if label not in measured]
    if not bare:
        return []
    return [Note.of("without_reading", kind=kind, count=len(bare), total=len(areas), names=bare)]


def _first(here: pd.DataFrame, blocks: gpd.GeoDataFrame, settings: Settings) -> list[Note]:
    """Say what to fix first: what most readings fall to, with the likely cause where the figures tell it."""
    left = here[~here["used"]]
    counted = {
        code: int(sum(code in codes for codes in left["flags"]))
        for code in _FAULTS
        if CHECKS[code].action == "leave out"
    }
    things: list[Note] = []
    for code, count in sorted(counted.items(), key=lambda item: (-item[1], item[0] not in _URGENT)):
        if count:
            rows = left[[code in codes for codes in left["flags"]]]
            facts = {"flag": code, "count": count, "total": len(here)}
            facts["places"] = _places(rows) if count <= 2 else ()
            things.append(_cause(facts, rows, blocks, settings) or Note.of("fix_flagged", **facts))
    used = here[here["used"]]
    if not things and len(used) and used["block"].nunique() < len(blocks):
        bare = len(blocks) - used["block"].nunique()
        things.append(Note.of("fix_bare_blocks", count=bare, total=len(blocks)))
    return things


def _cause(
    facts: dict[str, Any], rows: pd.DataFrame, blocks: gpd.GeoDataFrame, settings: Settings
) -> Note | None:
    """Tell the likely cause where the figures show it."""
    code, total = facts["flag"], facts["total"]
    if code == "outside_window" and 3 * len(rows) >= total and len(rows) >= 3:
        hours = _hours_off(rows, settings)
        side = "later" if hours > 0 else "earlier"
        told = {"hours": abs(hours), "side": side, "zone": settings.ranch.timezone}
        return Note.of("fix_clock", **facts, **told) if hours else None
    if code == "outside_blocks" and _misses_minus(rows, blocks):
        return Note.of("fix_minus_sign", **facts)
    if code == "unit_suspect" and 2 * len(rows) >= total:
        return Note.of("fix_unit", unit=settings.reading.unit, **facts)
    return None


def _hours_off(rows: pd.DataFrame, settings: Settings) -> int:
    """Find the whole hours that would bring nearly all of these readings into the window, 0 if none do."""
    clock = rows["time"].dt.hour * 60 + rows["time"].dt.minute
    first, last = (t.hour * 60 + t.minute for t in settings.reading.window)
    for hours in sorted(range(-12, 13), key=abs):
        if hours and ((clock + 60 * hours).between(first, last)).mean() >= 0.9:
            return hours
    return 0


def _misses_minus(rows: pd.DataFrame, blocks: gpd.GeoDataFrame) -> bool:
    change = Transformer.from_crs("EPSG:4326", blocks.crs, always_xy=True)
    x, y = change.transform(-rows["lon"].to_numpy(float), rows["lat"].to_numpy(float))
    sound: Any = np.isfinite(x) & np.isfinite(y)
    if not sound.any():
        return False
    around = shapely.box(*blocks.total_bounds).buffer(500)
    inside = shapely.contains_xy(around, np.asarray(x)[sound], np.asarray(y)[sound])
    return bool(inside.mean() > 0.5)
