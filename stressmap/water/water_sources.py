"""Sources of water: the volume of each, and which valve is fed by which."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats, Ints
from stressmap.core.errors import Problem, SettingsError
from stressmap.core.settings import Water
from stressmap.water.hydraulics import text_or_none
from stressmap.water.requirement import Requirement


@dataclass(frozen=True)
class ValveSupply:
    """What the valves file says of a valve's water.

    Parameters
    ----------
    source : str or None
        Its source.
    gate : float or None
        Its place along the ditch.
    """

    source: str | None = None
    gate: float | None = None


def supplies_of(valves: pd.DataFrame) -> dict[str, ValveSupply]:
    """Give source and gate of every valve of a table.

    Parameters
    ----------
    valves : DataFrame
        As ``core.schemas.VALVES``.

    Returns
    -------
    dict of str to ValveSupply
        By valve.
    """
    gates = valves["gate"].to_numpy(np.float64)
    return {
        str(valve): ValveSupply(text_or_none(source), gate if np.isfinite(gate) else None)
        for valve, source, gate in zip(valves["valve"], valves["source"], gates.tolist(), strict=True)
    }


@dataclass(frozen=True)
class Sources:
    """Sources with a volume of their own, s of them, and the valves that they feed, n of them.

    Parameters
    ----------
    names : tuple of str, length s
        As in ``[water.sources]``.
    volume_m3 : array of float, shape (s,)
        [m3].
    of_valve : array of int, shape (n,)
        Source of each valve; -1 for none.
    days : tuple, length n
        Days on which each valve's water comes; None for all.
    """

    names: tuple[str, ...]
    volume_m3: Floats
    of_valve: Ints
    days: tuple[tuple[dt.date, ...] | None, ...]

    @property
    def all_fed(self) -> bool:
        """Whether every valve draws on one of them."""
        return bool((self.of_valve >= 0).all())


def sources_of(
    requirements: Sequence[Requirement],
    supplies: Mapping[str, ValveSupply],
    water: Water,
    pumps: Collection[str],
    where: str,
) -> Sources:
    """Match valves to sources.

    Parameters
    ----------
    requirements : sequence of Requirement, length n
        Of the valves.
    supplies : mapping of str to ValveSupply
        By valve.
    water : Water
        ``[water]``.
    pumps : collection of str
        Names of the pumps.
    where : str
        The ``ranch.toml``, for messages.

    Returns
    -------
    Sources
        A valve that names no source has that which is called like its pump, or the only one there is; where
        its source and its pump both have days, it runs on those that are in both.

    Raises
    ------
    SettingsError
        If a name is not known, the reserve leaves nothing, or a pump must give more than it can.
    """
    _refuse_impossible(water, where)
    _refuse_unknown(requirements, supplies, water, pumps, where)
    names = tuple(water.sources)
    place = {name: k for k, name in enumerate(names)}
    fed = [_named(need, supplies, names) for need in requirements]
    return Sources(
        names,
        np.array([water.sources[name] for name in names], dtype=np.float64),
        np.array([place.get(name or "", -1) for name in fed], dtype=np.int64),
        tuple(_days(need, name, water) for need, name in zip(requirements, fed, strict=True)),
    )


def volume_for_plan_m3(water: Water, *, all_fed: bool = True) -> float:
    """Give the water that a plan may use: what there is, less the reserve.

    Parameters
    ----------
    water : Water
        ``[water]``.
    all_fed : bool, optional
        Whether every valve draws on a source with a volume. Where one does not, all together are held to what
        the sources have, unless an amount is given.

    Returns
    -------
    float
        [m3]; infinite where neither an amount nor a source is given, or each source holds its own valves.
    """
    there = water.available
    if there is None and water.sources and (water.reserve or not all_fed):
        there = sum(water.sources.values())
    return math.inf if there is None else max(0.0, there - (water.reserve or 0.0))


def _refuse_impossible(water: Water, where: str) -> None:
    wrong = []
    if water.reserve is not None and not volume_for_plan_m3(water) > 0.0:
        what = f"the reserve of {water.reserve:,.0f} m3 leaves no water to plan with"
        wrong.append(Problem(where, what, "Keep back less than there is", column="water.reserve"))
    if water.reserve is not None and math.isinf(volume_for_plan_m3(water)):
        what = "a reserve is to be kept back, but not how much water there is"
        remedy = "Give available or sources too, or leave the reserve out"
        wrong.append(Problem(where, what, remedy, column="water.reserve"))
    for name, least in water.pump_least.items():
        most = water.pumps.get(name, water.pump)
        if most is not None and least > most:
            what = f"{name!r} must give at least {least:g} m3/h and can give {most:g} m3/h at most"
            remedy = "Correct one of the two flows"
            wrong.append(Problem(where, what, remedy, column="water.pump_least"))
    if wrong:
        raise SettingsError(wrong)


def _named(need: Requirement, supplies: Mapping[str, ValveSupply], names: tuple[str, ...]) -> str | None:
    own = supplies.get(need.valve, ValveSupply()).source
    if own is not None:
        return own
    if need.pump in names:
        return need.pump
    return names[0] if len(names) == 1 else None


def _days(need: Requirement, source: str | None, water: Water) -> tuple[dt.date, ...] | None:
    """Return the days on which both source and pump give water; None for all."""
    told = [water.source_days[name] for name in (source, need.pump) if name in water.source_days]
    return tuple(sorted(set(told[0]).intersection(*told[1:]))) if told else None


def _refuse_unknown(
    requirements: Sequence[Requirement],
    supplies: Mapping[str, ValveSupply],
    water: Water,
    pumps: Collection[str],
    where: str,
) -> None:
    named = {one.source for one in supplies.values() if one.source}
    known = [*water.sources, *sorted(named), *(name for name in pumps if name)]
    asked = [(name, known, "water.source_days") for name in water.source_days]
    asked += [(name, [name for name in pumps if name], "water.pump_least") for name in water.pump_least]
    if water.sources:
        told = list(water.sources)
        asked += [(name, told, "water.sources") for name in sorted(named)]
        pumped = {need.pump for need in requirements if need.pump}
        asked += [(name, sorted(named | pumped), "water.sources") for name in told if len(told) > 1]
    wrong = [one for one in asked if one[0] not in one[1]]
    if wrong:
        raise SettingsError(_unknown(where, *one) for one in wrong)


def _unknown(where: str, name: str, known: Sequence[str], column: str) -> Problem:
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.0)
    what = {
        "water.source_days": f"there is no source {name!r}",
        "water.pump_least": f"there is no pump {name!r}",
        "water.sources": f"no valve and pump, or no volume, goes by the source {name!r}",
    }[column]
    remedy = f"Did you mean {near[0]!r}?" if near else "Name it in the valves file first, or leave it out"
    return Problem(where, what, remedy, column=column)
