"""Kriging systems of a ranch: a unique neighbourhood while it is small, else one per block."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from dataclasses import replace

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
WINDOW_BYTES = 64_000_000
"""Systems solved and held at once for one call, whatever the number of readings."""
KEPT_BYTES = 256_000_000
"""Solved systems kept for good, the first ones solved: room for 300 blocks with a dozen readings each."""
PASSING_BYTES = 64_000_000
"""Solved systems that found no room, kept a while: the next call is mostly for the same block."""
SystemKey = tuple[int, ...]
RANCH_SYSTEM: SystemKey = ()


class SolvedSystems:
    """Solved systems within a bound of bytes: the first ones stay, later ones pass through.

    Those that came first are kept rather than those used last, because stages go through all blocks in the
    same order: the last ones would be thrown out just before they are needed again.

    Parameters
    ----------
    kept_bytes, passing_bytes : int
        Most for those that stay and for those that pass through; of the latter at least one is held.
    """

    def __init__(self, kept_bytes: int = KEPT_BYTES, passing_bytes: int = PASSING_BYTES) -> None:
        self._room, self._most_passing = kept_bytes, passing_bytes
        self._kept: dict[SystemKey, KrigingSystem] = {}
        self._passing: OrderedDict[SystemKey, KrigingSystem] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: SystemKey) -> KrigingSystem | None:
        """Return a system if it is still held."""
        with self._lock:
            if key in self._passing:
                self._passing.move_to_end(key)
            return self._kept.get(key) or self._passing.get(key)

    def put(self, key: SystemKey, system: KrigingSystem) -> None:
        """Hold a system, for good or for a while."""
        with self._lock:
            if key in self._kept or system.nbytes <= self._room:
                self._room -= 0 if key in self._kept else system.nbytes
                self._kept[key] = system
                return
            self._passing[key] = system
            while len(self._passing) > 1 and self.nbytes_passing > self._most_passing:
                self._passing.popitem(last=False)

    @property
    def nbytes_passing(self) -> int:
        """Bytes of those that pass through."""
        return sum(system.nbytes for system in self._passing.values())


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

    Notes
    -----
    However many readings there are, one call holds systems of :data:`WINDOW_BYTES`, and from call to call
    :data:`KEPT_BYTES` and :data:`PASSING_BYTES` are kept; others are solved again.
    """

    def __init__(self, samples: Samples, drift: Floats, nodes: ParameterNodes) -> None:
        self._samples, self._drift, self._nodes = samples, drift, nodes
        self._solved = SolvedSystems()
        codes, counts = np.unique(samples.places.block, return_counts=True)
        self._readings_in_block = dict(zip(codes.tolist(), counts.tolist(), strict=True))
        self._is_unique = len(samples) <= UNIQUE_NEIGHBOURHOOD
        self._side = self._square_side(codes[counts > MOVING_NEIGHBOURHOOD])
        largest = 8 * len(nodes.ranges) * min(len(samples), UNIQUE_NEIGHBOURHOOD) ** 2
        self._window = max(1, WINDOW_BYTES // largest)

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

    def windows(self, keys: Iterable[SystemKey]) -> Iterator[dict[SystemKey, KrigingSystem]]:
        """Solve systems, a few at a time.

        One after the other: they are many small steps, and threads would only wait for each other.

        Parameters
        ----------
        keys : iterable of tuple of int
            Which; each is solved once.

        Yields
        ------
        dict of KrigingSystem
            Solved systems by key, of :data:`WINDOW_BYTES` at most; every key is in one of these.
        """
        asked = sorted(set(keys))
        for start in range(0, len(asked), self._window):
            part = asked[start : start + self._window]
            yield dict(zip(part, each(self._take, part, jobs=1), strict=True))

    def assign_readings(self) -> Iterator[tuple[KrigingSystem, Ints]]:
        """Assign every reading to one system that holds it; one system is held at a time.

        Yields
        ------
        system : KrigingSystem
            A system, with all that leaving out needs.
        own : array of int
            Which of its readings are assigned to it.
        """
        places = self._samples.places
        members: dict[SystemKey, list[int]] = {}
        for i in range(len(self._samples)):
            members.setdefault(self.key(places.block[i : i + 1], places.xy[i]), []).append(i)
        for key, readings in members.items():
            system = self._solve(key, leaving_out=True)
            yield system, np.flatnonzero(np.isin(system.index, readings))
            # the projections between a block's readings, one for each set of parameters, are most of a system
            system.leave_out_terms = replace(system.leave_out_terms, blocks={})
            self._solved.put(key, system)

    def _take(self, key: SystemKey) -> KrigingSystem:
        """Return a system that is held, else solve it."""
        system = self._solved.get(key)
        if system is None:
            system = self._solve(key)
            self._solved.put(key, system)
        return system

    def _solve(self, key: SystemKey, *, leaving_out: bool = False) -> KrigingSystem:
        places = self._samples.places
        if key == RANCH_SYSTEM:
            blocks, index = np.unique(places.block), np.arange(len(self._samples))
        else:
            blocks = np.array(key[3:])
            if key[0]:
                centre = (np.array(key[1:3]) + 0.5) * self._side
            else:
                centre = places.xy[np.isin(places.block, blocks)].mean(axis=0)
            reach = REACH_IN_RANGES * float(self._nodes.ranges.max())
            index = kriging_neighbourhood(places.xy, places.block, blocks, centre, reach_m=reach)
        left_out = blocks if leaving_out else blocks[:0]
        return KrigingSystem(self._samples, index, self._drift, self._nodes, blocks=left_out)

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
