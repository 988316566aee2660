"""How far a reading may be off: from second end points, repeat leaves, and chambers set beside each other.

A repeat leaf is another leaf of the same tree on the same day; what its readings differ by is the error of
one reading (leaf to leaf and end point together). A second end point on the same leaf tells the end point
alone. Between two leaves the air may have dried: they are compared on their distance from the fully watered
line, and where that is not known only if taken close after one another. Pooled standard deviations within
groups, and least squares with a level per tree and day; textbook analysis of variance, derived here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.notes import Note, NoteList

LEAST_DEGREES = 3
"""Repeat leaves (beyond the first of a tree) from which an error is estimated."""
LEAST_RECHECKS = 5
ALIKE = pd.Timedelta(minutes=15)
"""Leaves taken within this time are compared although nothing is known of the air: 0.4 bar at most."""
LEAST_PAIRS = 3
"""Trees that two chambers or crews must share before their offset is estimated."""


@dataclass(frozen=True)
class Offset:
    """How much one chamber or crew reads above another on the same trees.

    Parameters
    ----------
    kind : str
        ``"chamber"`` or ``"crew"``.
    name, reference : str
        Which reads above which; the reference has the most readings.
    bar : float
        Its pressures less the reference's [bar].
    se_bar : float
        Standard error of that [bar]; NaN where one tree tells.
    trees : int
        Trees measured by both on one day.
    """

    kind: str
    name: str
    reference: str
    bar: float
    se_bar: float
    trees: int


@dataclass(frozen=True)
class ReadingError:
    """What rechecks and repeats tell.

    Parameters
    ----------
    reading_error_bar : float or None
        Standard deviation of one reading about its tree [bar]; None where too few repeats and rechecks.
    source : str
        ``"repeat leaves"``, ``"rechecks"`` (the end point alone: a lower bound) or ``"none"``.
    tree_sd_bar : float or None
        Standard deviation between trees of one valve zone and day, reading error taken out [bar].
    end_point_sd_bar : float or None
        Standard deviation of one end point, from rechecks [bar].
    repeats, rechecks, trees : int
        Repeat leaves beyond the first of each tree, rechecks, and trees that were repeated.
    offsets : tuple of Offset
        Between chambers; between crews where no chamber is written.
    """

    reading_error_bar: float | None = None
    source: str = "none"
    tree_sd_bar: float | None = None
    end_point_sd_bar: float | None = None
    repeats: int = 0
    rechecks: int = 0
    trees: int = 0
    offsets: tuple[Offset, ...] = field(default=())


def estimate(assessed: gpd.GeoDataFrame, watered_bar: NDArray[np.float64] | None = None) -> ReadingError:
    """Estimate reading error, the spread between trees, and offsets between chambers or crews.

    All readings that may be used, or would be but for being of another visit, are taken: a season tells
    more than a day.

    Parameters
    ----------
    assessed : GeoDataFrame, n rows
        From :func:`stressmap.quality.checks.assess`.
    watered_bar : array of float, shape (n,), optional
        What a fully watered tree would have shown at the moment of each reading [bar], NaN where unknown.

    Returns
    -------
    ReadingError
    """
    sound = _sound(assessed, np.full(len(assessed), np.nan) if watered_bar is None else watered_bar)
    offsets = _offsets(sound)
    level = _without_offsets(sound, offsets)
    groups = level.groupby(sound["together"])
    within = float(((level - groups.transform("mean")) ** 2).sum())
    degrees = len(level) - groups.ngroups - len(offsets)
    end_point, rechecks = _end_point(assessed[assessed["swp_bar"].notna()])
    found: dict[str, Any] = {"reading_error_bar": None, "source": "none"}
    if degrees >= LEAST_DEGREES:
        found = {"reading_error_bar": float(np.sqrt(within / degrees)), "source": "repeat leaves"}
    elif end_point is not None:
        found = {"reading_error_bar": end_point, "source": "rechecks"}
    return ReadingError(
        **found,
        tree_sd_bar=_tree_sd(sound, level, within / degrees if degrees >= LEAST_DEGREES else None),
        end_point_sd_bar=end_point,
        repeats=len(level) - groups.ngroups,
        rechecks=rechecks,
        trees=int((groups.size() > 1).sum()),
        offsets=tuple(offsets),
    )


def _sound(assessed: gpd.GeoDataFrame, watered_bar: NDArray[np.float64]) -> pd.DataFrame:
    other_day_only = assessed["flags"].map(lambda codes: set(codes) == {"outside_visit"})
    taken = (assessed["used"] | other_day_only) & assessed["swp_bar"].notna() & assessed["time"].notna()
    kept, watered = assessed[taken], pd.Series(watered_bar, index=assessed.index, dtype=float)[taken]
    sound = pd.DataFrame(
        {
            "bar": watered.fillna(0.0) - kept["swp_bar"].astype(float),
            "tree": kept["tree"],
            "day": kept["time"].dt.date,
            "zone": kept["valve"].where(kept["valve"].notna(), kept["block"]),
            "lined": watered.notna(),
            "chamber": kept["chamber"],
            "crew": kept["crew"],
        }
    )
    first = kept["time"].groupby([sound["tree"], sound["day"], sound["lined"]]).transform("min")
    turn = ((kept["time"] - first) // ALIKE).where(~sound["lined"], 0)
    alike = [sound["tree"], sound["day"], sound["lined"], turn]
    return sound.assign(together=sound.groupby(alike).ngroup())


def _end_point(assessed: pd.DataFrame) -> tuple[float | None, int]:
    """Pool rechecks that passed the check; a difference of two end points has twice the variance of one."""
    passed = assessed["flags"].map(lambda codes: "recheck_apart" not in codes)
    gap = (assessed["recheck_bar"].abs() + assessed["swp_bar"])[passed].dropna()
    if len(gap) < LEAST_RECHECKS:
        return None, len(gap)
    return float(np.sqrt((gap**2).mean() / 2)), len(gap)


def _tree_sd(sound: pd.DataFrame, level: pd.Series, error_variance: float | None) -> float | None:
    """Spread of tree means within zone and day, less what reading error contributes to it."""
    means = level.groupby([sound["zone"], sound["day"], sound["lined"], sound["tree"]]).agg(["mean", "size"])
    zone = means.groupby(level=[0, 1, 2])
    freedom = len(means) - zone.ngroups
    if error_variance is None or freedom < LEAST_DEGREES:
        return None
    between = float(((means["mean"] - zone["mean"].transform("mean")) ** 2).sum()) / freedom
    return float(np.sqrt(max(between - error_variance * float((1 / means["size"]).mean()), 0.0)))


def _offsets(sound: pd.DataFrame) -> list[Offset]:
    """Compare chambers on shared trees, else crews."""
    for kind in ("chamber", "crew"):
        named = sound[sound[kind].notna()]
        counts = named[kind].value_counts()
        if len(counts) > 1:
            return _against(
                named, kind, [str(name) for name in sorted(counts.index, key=lambda n: (-counts[n], str(n)))]
            )
    return []


def _against(named: pd.DataFrame, kind: str, names: list[str]) -> list[Offset]:
    """Fit pressure = tree and day + chamber, by least squares on what is left within tree and day."""
    who = named[kind].astype(str)
    dummies = pd.DataFrame({name: (who == name).astype(float) for name in names[1:]})
    shared = {
        name: named[who.isin([name, names[0]])].groupby("together")[kind].nunique().gt(1).sum()
        for name in names[1:]
    }
    told = [name for name in names[1:] if shared[name] >= LEAST_PAIRS]
    if not told:
        return []
    rows = who.isin([names[0], *told])
    inside = pd.concat([named["bar"], dummies[told]], axis=1)[rows]
    together = named["together"][rows]
    centred = inside - inside.groupby(together).transform("mean")
    x, y = centred[told].to_numpy(float), centred["bar"].to_numpy(float)
    beta, *_ = np.linalg.lstsq(x, y, rcond=None)
    freedom = len(y) - together.nunique() - len(told)
    left = float(((y - x @ beta) ** 2).sum())
    variance = np.linalg.pinv(x.T @ x) * (left / freedom if freedom > 0 else np.nan)
    return [
        Offset(kind, name, names[0], float(b), float(np.sqrt(v)), int(shared[name]))
        for name, b, v in zip(told, beta, np.diag(variance), strict=True)
    ]


def _without_offsets(sound: pd.DataFrame, offsets: list[Offset]) -> pd.Series:
    shift = pd.Series(0.0, index=sound.index)
    for offset in offsets:
        shift = shift.mask(sound[offset.kind].astype(str) == offset.name, offset.bar)
    level: pd.Series = sound["bar"] - shift
    return level


def align(assessed: gpd.GeoDataFrame, error: ReadingError) -> gpd.GeoDataFrame:
    """Take the offsets between chambers or crews out (``[reading] align_chambers``).

    Parameters
    ----------
    assessed : GeoDataFrame
        From :func:`stressmap.quality.checks.assess`.
    error : ReadingError
        From :func:`estimate`.

    Returns
    -------
    GeoDataFrame
        With ``swp_bar`` as the reference chamber would have read it; ``pressure_bar`` stays as written.
    """
    aligned = assessed.copy()
    for offset in error.offsets:
        theirs = aligned[offset.kind].astype(str) == offset.name
        aligned.loc[theirs, "swp_bar"] = aligned.loc[theirs, "swp_bar"] + offset.bar
    return aligned


def remarks(error: ReadingError, *, aligned: bool) -> tuple[Note, ...]:
    """Say what was found.

    Parameters
    ----------
    error : ReadingError
        From :func:`estimate`.
    aligned : bool
        Whether the offsets were taken out.

    Returns
    -------
    tuple of Note
        Nothing where there was nothing to learn from.

    Examples
    --------
    >>> [note.code for note in remarks(ReadingError(0.55, "rechecks", rechecks=12), aligned=False)]
    ['end_point_error']
    """
    notes = NoteList()
    if error.source == "repeat leaves" and error.reading_error_bar is not None:
        notes.say("reading_error", bar=error.reading_error_bar, repeats=error.repeats, trees=error.trees)
    if error.source == "rechecks" and error.reading_error_bar is not None:
        notes.say("end_point_error", bar=error.reading_error_bar, rechecks=error.rechecks)
    for offset in error.offsets:
        values = {
            "kind": offset.kind,
            "name": offset.name,
            "reference": offset.reference,
            "bar": abs(offset.bar),
            "se_bar": offset.se_bar,
            "side": "above" if offset.bar >= 0 else "below",
            "trees": offset.trees,
        }
        if aligned:
            notes.say("offset_taken_out", **values)
        else:
            notes.say("offset_left_in", "caution", **values)
    return tuple(notes)
