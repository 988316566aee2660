"""Readings of a season as arrays, and what is left of them once days, crops, places and dryness are told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Bools, Floats, Ints

LEVEL_SD, ZONE_SD, SCATTER_SD = 0.7, 1.5, 1.0
"""How the level of a crop moves from visit to visit, how zones differ for good, and how the readings of a
zone at a visit scatter about the two [bar]: usual figures of ``[model]``; the first a judgement."""
CLIP_BAR = 2.0
"""A reading further off counts no more than one so far off."""
ROUNDS = 12


@dataclass(frozen=True)
class ReadDays:
    """Used readings of all visits, n of them.

    Parameters
    ----------
    zone, block, crop, visit, tree : array of int, shape (n,)
        Codes; a tree has one code at all visits.
    day : array of float, shape (n,)
        Middle of its visit, on the scale of days.
    bar : array of float, shape (n,)
        The ranked figure [bar].
    dryness : array of float, shape (n,)
        Felt in the zone on that day [mm].
    """

    zone: Ints
    block: Ints
    crop: Ints
    visit: Ints
    tree: Ints
    day: Floats
    bar: Floats
    dryness: Floats

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.bar)

    def take(self, which: Ints | Bools) -> ReadDays:
        """Take some of them."""
        return ReadDays(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


def left_over(read: ReadDays, slope: Floats) -> Floats:
    """Give what is left of readings past the level of crop and visit and the effect of dryness.

    Parameters
    ----------
    read : ReadDays
        n readings.
    slope : array of float, shape (Z,)
        Of each zone [bar/mm].

    Returns
    -------
    array of float, shape (n,)
        How much drier a reading is than its crop at that visit [bar]; what sets its zone apart for good is
        still in it. Of a visit with few zones the level is only in part known, and only in part taken out.
    """
    value = read.bar - slope[read.zone] * read.dryness
    level_of = np.unique(read.crop * 10_000 + read.visit, return_inverse=True)[1]
    crop_of = np.unique(read.crop, return_inverse=True)[1]
    together = np.unique(read.zone * 10_000 + read.visit, return_inverse=True)[1]
    weight = 1.0 / np.bincount(together)[together]
    value = value - _means(value, weight, crop_of)[crop_of]
    zones = np.bincount(level_of, weights=weight)
    zone, level = np.zeros(int(read.zone.max()) + 1), np.zeros(len(zones))
    per_zone = np.bincount(read.zone, weights=weight, minlength=len(zone))
    for _ in range(ROUNDS):
        rest = np.clip(value - level[level_of] - zone[read.zone], -CLIP_BAR, CLIP_BAR)
        part = _means(rest + level[level_of], weight, level_of)
        level = part * LEVEL_SD**2 / (LEVEL_SD**2 + SCATTER_SD**2 / zones)
        rest = np.clip(value - level[level_of] - zone[read.zone], -CLIP_BAR, CLIP_BAR)
        own = np.bincount(read.zone, weights=weight * (rest + zone[read.zone]), minlength=len(zone))
        zone = own / (per_zone + SCATTER_SD**2 / ZONE_SD**2)
    return np.asarray(value - level[level_of])


def _means(value: Floats, weight: Floats, group: Ints) -> Floats:
    return np.asarray(np.bincount(group, weights=weight * value) / np.bincount(group, weights=weight))
