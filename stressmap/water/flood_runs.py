"""Flooding by check and head: the order of the gates, which blocks are due, and the checks that go together.

A head of water is ordered for a block, not for one check: it goes from gate to gate through all its checks
that need water, or does not come. A check takes 75 mm or more to be covered, so the head waits until the
root zones of the block take that much by the middle of the plan; what the trees lack by then is for the
most part used before another head comes. Common practice, no source.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.core.settings import Water
from stressmap.water.requirement import Requirement
from stressmap.water.set_rules import least_set_mm
from stressmap.water.water_sources import ValveSupply

NEAR = 1e-9


def gate_order(requirements: Sequence[Requirement], supplies: Mapping[str, ValveSupply]) -> Ints:
    """Give the place of each check in the order of the gates.

    Parameters
    ----------
    requirements : sequence of Requirement, length n
        Of the valves.
    supplies : mapping of str to ValveSupply
        Gate of a valve by its name, where the valves file tells it; the others follow by their names.

    Returns
    -------
    array of int, shape (n,)
        0 and up; -1 for what is not flooded.
    """

    def key(i: int) -> tuple[float, list[tuple[int, int, str]]]:
        name = requirements[i].valve
        gate = supplies.get(name, ValveSupply()).gate
        parts = re.findall(r"\d+|\D+", name)
        return math.inf if gate is None else gate, [
            (0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts
        ]

    flooded = sorted((i for i, need in enumerate(requirements) if need.system == "flood"), key=key)
    found = np.full(len(requirements), -1, dtype=np.int64)
    found[flooded] = np.arange(len(flooded))
    return found


def waits_for_head(requirements: Sequence[Requirement], water: Water) -> tuple[bool, ...]:
    """Tell which checks wait, for their block does not yet take a whole set.

    Parameters
    ----------
    requirements : sequence of Requirement, length n
        Of the valves.
    water : Water
        ``[water]``.

    Returns
    -------
    tuple of bool, length n
        By the mean of the block's checks, by area, of what their root zones lack in the middle of the plan; a
        block of which that is not known does not wait.
    """
    lacking: dict[tuple[str, str | None], list[tuple[float, float]]] = defaultdict(list)
    for need in requirements:
        if need.system == "flood":
            takes = (need.missing_mm + need.daily_use_mm * water.days / 2.0) / need.factor
            lacking[_head(need)].append((need.area_ha, takes / max(least_set_mm(need, water), NEAR)))
    waits = {head: _mean_by_area(rows) < 1.0 - NEAR for head, rows in lacking.items()}
    return tuple(need.system == "flood" and waits[_head(need)] for need in requirements)


def runs_of_checks(
    requirements: Sequence[Requirement], may_run: Sequence[bool]
) -> tuple[tuple[int, ...], ...]:
    """Give the checks that one head waters together, in the order of the valves.

    Parameters
    ----------
    requirements : sequence of Requirement, length n
        Of the valves.
    may_run : sequence of bool, length n
        Whether a valve may and needs to run.

    Returns
    -------
    tuple of tuple of int
        Of two checks or more each.
    """
    together: dict[tuple[str, str | None], list[int]] = defaultdict(list)
    for i, (need, may) in enumerate(zip(requirements, may_run, strict=True)):
        if may and need.system == "flood":
            together[_head(need)].append(i)
    return tuple(tuple(checks) for checks in together.values() if len(checks) > 1)


def _head(need: Requirement) -> tuple[str, str | None]:
    return need.block, need.pump


def _mean_by_area(rows: list[tuple[float, float]]) -> float:
    areas, figures = np.array(rows, dtype=np.float64).T
    return float(areas @ figures / areas.sum())
