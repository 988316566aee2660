"""A plan in time: which trees are bagged and read by which crew, in which order, at which second."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from stressmap.core.arrays import Bools, Floats, Ints


class Clockwork(NamedTuple):
    """How long things take and when they may happen: whole seconds, 0 where the window opens.

    Parameters
    ----------
    earliest : int
        No bag before it; negative before the window opens.
    closes : int
        Readings are finished by then; they begin no sooner than 0.
    bag, read : int
        To bag a leaf; to take a reading.
    least, most : int
        From the bag on to the reading's beginning.
    """

    earliest: int
    closes: int
    bag: int
    read: int
    least: int
    most: int


@dataclass(frozen=True)
class TimedTask:
    """Candidates of a round and the ways between them.

    Parameters
    ----------
    worth : array of float, shape (n,)
        Of a reading at each tree, over 0; those of the trees taken are added up.
    ways : array of int, shape (n, n)
        From tree to tree [s].
    clockwork : Clockwork
        Times.
    crews : int
        A tree is bagged and read by the same.
    trees : int
        Taken by all crews together, at most.
    start : array of int, shape (n,), optional
        From where the crews are at ``earliest`` to each tree [s]; None where they may begin anywhere.
    twice : array of bool, shape (n,), optional
        Where two leaves are bagged and read, one after the other; None for nowhere.
    """

    worth: Floats
    ways: Ints
    clockwork: Clockwork
    crews: int = 1
    trees: int = 40
    start: Ints | None = None
    twice: Bools | None = None

    def __len__(self) -> int:
        """Return n."""
        return len(self.worth)

    @property
    def bag(self) -> Ints:
        """How long bagging takes at each tree, shape (n,) [s]."""
        return self.clockwork.bag * self._leaves

    @property
    def read(self) -> Ints:
        """How long reading takes at each tree, shape (n,) [s]."""
        return self.clockwork.read * self._leaves

    @property
    def _leaves(self) -> Ints:
        one = np.ones(len(self), dtype=np.int64)
        return one if self.twice is None else one + self.twice


@dataclass(frozen=True)
class TimedPlan:
    """Who does what at which second.

    Parameters
    ----------
    actions : tuple of tuple of (int, bool)
        Of each crew, in their order: the tree, and whether it is read (else bagged).
    bag_at, read_at : array of int, shape (n,)
        When each tree's bag goes on and its reading begins [s after the window opens]; -1,000,000 where it is
        not taken.
    crew : array of int, shape (n,)
        From 0; -1 where it is not taken.
    worth : float
        Of the trees taken.
    """

    actions: tuple[tuple[tuple[int, bool], ...], ...]
    bag_at: Ints
    read_at: Ints
    crew: Ints
    worth: float
