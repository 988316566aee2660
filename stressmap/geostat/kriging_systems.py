"""Kriging systems of a ranch: a unique neighbourhood while it is small, else one per block."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.parallel import each
from stressmap.geostat.kriging import KrigingSystem, ParameterNodes
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.search_neighbourhood import (
    MOVING_NEIGHBOURHOOD,
    UNIQUE_NEIGHBOURHOOD,
    kriging_neighbourhood,
)

SQUARE_M = 400.0
"""Largest side of the squares in which a block without readings, or with very many, is kriged [m]."""
MOST_IN_SQUARE = 48
"""Readings of such a block in one square; five squares' worth fit into a system."""
REACH_IN_RANGES = 4.0
"""Search radius in ranges: beyond it the correlation is below 0.01."""
SystemKey = tuple[int, ...]
RANCH_SYSTEM: SystemKey = ()


class KrigingSystems:
    """Assignment of places to kriging systems, solved when first needed.

    Parameters
    ----------
    samples : Samples
        Readings, about 0 on the whole.
    drift : array, shape (n,)
        Standardised covariate at the readings.
    nodes : ParameterNodes
        Sets of parameters.
    """

    def __init__(self, samples: Samples, drift: Floats, nodes: ParameterNodes) -> None:
        self._samples, self._drift, self._nodes = samples, drift, nodes
        self._solved: dict[SystemKey, KrigingSystem] = {}
        codes, counts = np.unique(samples.places.block, return_counts=True)
        self._readings_in_block = dict(zip(codes.tolist(), counts.tolist(), strict=True))
        self._is_unique = len(samples) <= UNIQUE_NEIGHBOURHOOD
        self._side = self._square_side(codes[counts > MOVING_NEIGHBOURHOOD])

    def key(self, blocks: Ints, at: Floats) -> SystemKey:
        """Give the key of the system that kriges blocks near a place: ranch's, blocks' or square's.

        Parameters
        ----------
        blocks : array of int
            Codes, sorted.
        at : array, shape (2,)
            [m].

        Returns
        -------
        tuple of int
        """
        if self._is_unique:
            return RANCH_SYSTEM
        own = sum(self._readings_in_block.get(int(b), 0) for b in blocks)
        if 0 < own <= MOVING_NEIGHBOURHOOD:
            return (0, 0, 0, *map(int, blocks))
        return (1, *map(int, np.floor(at / self._side)), *map(int, blocks))

    def sort_codes(self, places: Places) -> list[Ints]:
        """Return codes, m each, all equal only for places of one system, block, valve zone and crop."""
        codes = [places.block, places.valve, places.crop]
        if self._is_unique:
            return codes
        kinds, which = np.unique(places.block, return_inverse=True)
        own = np.array([self._readings_in_block.get(int(b), 0) for b in kinds])
        local = ((own == 0) | (own > MOVING_NEIGHBOURHOOD))[which]
        square = np.floor(places.xy / self._side).astype(np.int64)
        return codes + [np.where(local, s, 0) for s in square.T]

    def solve(self, keys: Iterable[SystemKey]) -> None:
        """Solve the systems that are still missing.

        One after the other: they are many small steps, and threads would only wait for each other.
        """
        missing = sorted(set(keys) - self._solved.keys())
        for key, system in zip(missing, each(self._solve, missing, jobs=1), strict=True):
            self._solved[key] = system

    def __getitem__(self, key: SystemKey) -> KrigingSystem:
        """Return a solved system."""
        return self._solved[key]

    def assign_readings(self) -> Iterator[tuple[KrigingSystem, Ints]]:
        """Assign every reading to one system that holds it.

        Yields
        ------
        system : KrigingSystem
            A system.
        own : array of int
            Which of its readings are assigned to it.
        """
        places = self._samples.places
        members: dict[SystemKey, list[int]] = {}
        for i in range(len(self._samples)):
            members.setdefault(self.key(places.block[i : i + 1], places.xy[i]), []).append(i)
        self.solve(members)
        for key, readings in members.items():
            yield self[key], np.flatnonzero(np.isin(self[key].index, readings))

    def _solve(self, key: SystemKey) -> KrigingSystem:
        if key == RANCH_SYSTEM:
            return KrigingSystem(self._samples, np.arange(len(self._samples)), self._drift, self._nodes)
        places, blocks = self._samples.places, np.array(key[3:])
        if key[0]:
            centre = (np.array(key[1:3]) + 0.5) * self._side
        else:
            centre = places.xy[np.isin(places.block, blocks)].mean(axis=0)
        reach = REACH_IN_RANGES * float(self._nodes.ranges.max())
        index = kriging_neighbourhood(places.xy, places.block, blocks, centre, reach_m=reach)
        return KrigingSystem(self._samples, index, self._drift, self._nodes, blocks=blocks)

    def _square_side(self, crowded: Ints) -> float:
        """Halve the squares until each holds few readings of densely measured blocks."""
        side = SQUARE_M
        places = self._samples.places
        inside = np.isin(places.block, crowded)
        while side > 1.0 and inside.any():
            square = np.column_stack([np.floor(places.xy[inside] / side), places.block[inside]])
            if np.unique(square, axis=0, return_counts=True)[1].max() <= MOST_IN_SQUARE:
                break
            side /= 2
        return side
