"""What a person needs to know about readings: used, left out and why, mended, missing, what to fix first."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from stressmap.core.schemas import MEND_LIST, hold
from stressmap.core.settings import Settings
from stressmap.quality.checks import CHECKS

_URGENT = ("unit_suspect", "outside_blocks", "no_place", "no_time", "outside_window")
"""Of kinds equally many, those that a look at the file mends come first."""
LISTED = 8
"""So many rows of a kind are named; the table of ``--out`` has all."""
_FAULTS = [code for code in CHECKS if code != "outside_visit"]


@dataclass(frozen=True)
class Summary:
    """What a check of the readings found, as sentences for the terminal.

    Parameters
    ----------
    counts : dict of str to int
        ``rows``, ``other_visits``, ``used``, ``left_out``.
    lines : tuple of str
        In reading order.
    first : tuple of str
        The one or two things worth fixing first; empty if nothing is.
    """

    counts: dict[str, int]
    lines: tuple[str, ...]
    first: tuple[str, ...]


def summarise(
    assessed: gpd.GeoDataFrame,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    settings: Settings,
    *,
    weather: pd.DataFrame | None = None,
) -> Summary:
    """Put the result of the checks into sentences.

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
    here = pd.DataFrame(assessed.drop(columns="geometry"))[~other]
    counts = {
        "rows": len(assessed),
        "other_visits": int(other.sum()),
        "used": int(here["used"].sum()),
        "left_out": int((~here["used"]).sum()),
    }
    lines = [_counted(counts)]
    lines += _listed(here, "Left out", used=False)
    lines += _listed(here, "Mended or marked, and used", used=True)
    lines += _spans(here, settings, weather)
    lines += _bare(here, blocks, "block", "Blocks") + _bare(here, valves, "valve", "Valve zones")
    return Summary(counts, tuple(lines), tuple(_first(here, blocks, settings)[:2]))


def mend_table(assessed: gpd.GeoDataFrame) -> pd.DataFrame:
    """List what to mend by hand, a row per doubtful reading of the visit.

    Parameters
    ----------
    assessed : GeoDataFrame
        From :func:`stressmap.quality.checks.assess`.

    Returns
    -------
    DataFrame
        ``row`` of the file, ``tree_id``, ``used``, ``flags``, ``wrong`` and ``to_do`` in words, and the
        figures concerned.
    """
    doubtful = assessed[[bool(c) and "outside_visit" not in c for c in assessed["flags"]]]
    figures = ["time", "lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes", "block", "valve"]
    table = pd.DataFrame(doubtful[["row", "tree_id", "used", "flags", *figures]]).reset_index(drop=True)
    says = [", ".join(CHECKS[c].says for c in codes) for codes in table["flags"]]
    remedies = ["; ".join(dict.fromkeys(CHECKS[c].remedy for c in codes)) for codes in table["flags"]]
    table.insert(4, "wrong", pd.Series(says, dtype=object))
    table.insert(5, "to_do", pd.Series(remedies, dtype=object))
    return hold(table, MEND_LIST)


def _counted(counts: dict[str, int]) -> str:
    of_visit = counts["used"] + counts["left_out"]
    others = f" ({counts['other_visits']} more are of other visits)" if counts["other_visits"] else ""
    return f"{of_visit} readings{others}: {counts['used']} used, {counts['left_out']} left out."


def _listed(here: pd.DataFrame, title: str, *, used: bool) -> list[str]:
    rows = here[here["used"] == used]
    lines = []
    for code in _FAULTS:
        if not used and CHECKS[code].action != "leave out":
            continue
        found = [code in codes for codes in rows["flags"]]
        if any(found):
            lines.append(f"  {sum(found)} {CHECKS[code].says} ({code}): {_named(rows[found])}")
    return [f"{title}:", *lines] if lines else []


def _named(found: pd.DataFrame) -> str:
    shown = [
        f"row {row}" + (f" tree {tree}" if tree is not None else "")
        for row, tree in zip(found["row"], found["tree_id"], strict=True)
    ]
    more = f" and {len(shown) - LISTED} more" if len(shown) > LISTED else ""
    return ", ".join(shown[:LISTED]) + more


def _spans(here: pd.DataFrame, settings: Settings, weather: pd.DataFrame | None) -> list[str]:
    used = here[here["used"]]
    if used.empty:
        return []
    first, last = used["time"].min(), used["time"].max()
    parts = [f"time {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}"]
    parts += _temperatures(used, settings, weather)
    tension = -used["swp_bar"]
    parts.append(
        f"pressure {tension.min():.1f} to {tension.max():.1f} bar, half of it over {tension.median():.1f}"
    )
    return [f"Used: {'; '.join(parts)}."]


def _temperatures(used: pd.DataFrame, settings: Settings, weather: pd.DataFrame | None) -> list[str]:
    """Give the span of temperature at the trees, else of the weather file in the hours of the readings."""
    degrees, where = used["temp_c"].dropna(), "at the trees"
    if degrees.empty and weather is not None:
        hours = used["time"].dropna().dt.tz_convert("UTC").dt.round("h").drop_duplicates()
        degrees, where = weather.loc[weather["time"].isin(hours), "temp_c"].dropna(), "of the weather file"
    if degrees.empty:
        return []
    low, high, unit = degrees.min(), degrees.max(), "C"
    if settings.ranch.units == "us":
        low, high, unit = low * 1.8 + 32, high * 1.8 + 32, "F"
    return [f"temperature {where} {low:.0f} to {high:.0f} °{unit}"]


def _bare(here: pd.DataFrame, areas: gpd.GeoDataFrame, name: str, title: str) -> list[str]:
    measured = set(here.loc[here["used"], name].dropna())
    bare = [label for label in areas[name] if label not in measured]
    if not bare:
        return []
    more = f" and {len(bare) - 3 * LISTED} more" if len(bare) > 3 * LISTED else ""
    return [f"{title} without a reading: {len(bare)} of {len(areas)}: {', '.join(bare[: 3 * LISTED])}{more}."]


def _first(here: pd.DataFrame, blocks: gpd.GeoDataFrame, settings: Settings) -> list[str]:
    """Say what to fix first: what most readings fall to, with the likely cause where the figures tell it."""
    left = here[~here["used"]]
    counted = {
        code: int(sum(code in codes for codes in left["flags"]))
        for code in _FAULTS
        if CHECKS[code].action == "leave out"
    }
    things = []
    for code, count in sorted(counted.items(), key=lambda item: (-item[1], item[0] not in _URGENT)):
        if count:
            rows = left[[code in codes for codes in left["flags"]]]
            cause = _cause(code, rows, here, blocks, settings) or CHECKS[code].remedy
            where = f" ({_named(rows)})" if count <= 2 else ""
            things.append(f"{count} of {len(here)} {CHECKS[code].says}{where}: {cause}.")
    used = here[here["used"]]
    if not things and len(used) and used["block"].nunique() < len(blocks):
        bare = len(blocks) - used["block"].nunique()
        things.append(f"{bare} of {len(blocks)} blocks have no reading: measure at least one tree in each.")
    return things


def _cause(
    code: str, rows: pd.DataFrame, here: pd.DataFrame, blocks: gpd.GeoDataFrame, settings: Settings
) -> str | None:
    if code == "outside_window" and 3 * len(rows) >= len(here) and len(rows) >= 3:
        return _hours_off(rows, settings)
    if code == "outside_blocks" and _misses_minus(rows, blocks):
        return "the longitudes have lost their minus sign (west is negative)"
    if code == "unit_suspect" and 2 * len(rows) >= len(here):
        return f"say the right [reading] unit (it is {settings.reading.unit}), or correct the heading"
    return None


def _hours_off(rows: pd.DataFrame, settings: Settings) -> str | None:
    """Find the whole hours that would bring nearly all of these readings into the window."""
    clock = rows["time"].dt.hour * 60 + rows["time"].dt.minute
    first, last = (t.hour * 60 + t.minute for t in settings.reading.window)
    for hours in sorted(range(-12, 13), key=abs):
        if hours and ((clock + 60 * hours).between(first, last)).mean() >= 0.9:
            side = "later" if hours > 0 else "earlier"
            return (
                f"{abs(hours)} h {side} they would be inside; was the clock on another time zone than "
                f"{settings.ranch.timezone}? Correct the times, or write them with their offset"
            )
    return None


def _misses_minus(rows: pd.DataFrame, blocks: gpd.GeoDataFrame) -> bool:
    change = Transformer.from_crs("EPSG:4326", blocks.crs, always_xy=True)
    x, y = change.transform(-rows["lon"].to_numpy(float), rows["lat"].to_numpy(float))
    sound: Any = np.isfinite(x) & np.isfinite(y)
    if not sound.any():
        return False
    around = shapely.box(*blocks.total_bounds).buffer(500)
    inside = shapely.contains_xy(around, np.asarray(x)[sound], np.asarray(y)[sound])
    return bool(inside.mean() > 0.5)


def visit_line(visit: tuple[dt.date, dt.date]) -> str:
    """Name the days of a visit.

    Parameters
    ----------
    visit : tuple of date
        First and last day.

    Returns
    -------
    str

    Examples
    --------
    >>> visit_line((dt.date(2026, 7, 14), dt.date(2026, 7, 15)))
    'Visit 2026-07-14 to 2026-07-15'
    """
    first, last = visit
    return f"Visit {first}" if first == last else f"Visit {first} to {last}"
