"""Root-zone water storage: available water of soil and crop, and the depth that relieves one bar of stress.

The readily available share of the water in the wetted root zone is gone when the trees stand at the edge
beyond which the crop's profile calls them driest (root depth, the least published, and depletion fraction are
the profile's too); water is taken to go evenly with stress down to there. That is a judgement (standing:
derived), right within a factor of two at best: a published cycle of walnut comes to 14 to 20 mm a bar, a
published cut-off of almond to 6 or 7. Roots also drink from outside the wetted strip, so that no trees are
taken to dry faster than almonds without any water did. What a ranch measured goes in the place of all this:
``[crops.X] mm_per_bar``, or ``[water] mm_per_bar`` for all crops.
"""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.agronomy.crops import CropProfile
from stressmap.core.units import M_PER_FOOT, MM_PER_INCH
from stressmap.intake.block_words import soil_of

MM_M_PER_IN_FT = MM_PER_INCH / M_PER_FOOT
DEFAULT_SOIL = "loam"
SPAN_BAR = 6.0
"""Bars from fully watered to the driest class, where a crop's profile does not say."""

MOST_DRYING_BAR = 1.3
"""Bars that trees dry in a day without water, at most: almond, second ten days after the cut-off, sandy loam
(predawn; Irrigation Science 19:125-131, 2000, conference abstract, read). Other crops: a judgement."""

INCHES_PER_FOOT: dict[str, tuple[float, float]] = {
    "very coarse sand": (0.40, 0.75),
    "sand": (0.75, 1.25),
    "sandy loam": (1.25, 1.75),
    "loam": (1.50, 2.30),
    "clay loam": (1.75, 2.50),
    "clay": (1.60, 2.50),
}
"""Available water [in/ft], least and most, by class of texture: "Soil Characteristics", table of available
water holding capacity, university pages on managing drought (irrigation scheduling, frequency of irrigation),
undated (read)."""


def texture_class(soil: str) -> str | None:
    """Find the class of a soil texture.

    Parameters
    ----------
    soil : str
        As people write it, English or Spanish.

    Returns
    -------
    str or None
        Key of :data:`INCHES_PER_FOOT`; None for a word that is not known.

    Examples
    --------
    >>> texture_class("Franco Arenoso"), texture_class("Silt loam"), texture_class("moon dust")
    ('sandy loam', 'loam', None)
    """
    return soil_of(soil)


def available_mm_per_m(texture: str) -> float:
    """Give the available water of a texture, in the middle of its range.

    Parameters
    ----------
    texture : str
        Key of :data:`INCHES_PER_FOOT`.

    Returns
    -------
    float
        [mm of water per m of soil].

    Examples
    --------
    >>> round(available_mm_per_m("loam"), 1)
    158.3
    """
    low, high = INCHES_PER_FOOT[texture]
    return (low + high) / 2.0 * MM_M_PER_IN_FT


def depletion_fraction(p_table: float, etc_mm_day: float) -> float:
    """Give the depletion fraction for no stress, adjusted for crop evapotranspiration.

    Parameters
    ----------
    p_table : float
        Share at a crop evapotranspiration of 5 mm a day.
    etc_mm_day : float
        Crop evapotranspiration [mm/day].

    Returns
    -------
    float
        Between 0.1 and 0.8. FAO Irrigation and Drainage Paper 56, table 22, footnote (from memory, formula
        cross-checked): p = p(table) + 0.04 (5 - ETc).

    Examples
    --------
    >>> round(depletion_fraction(0.50, 8.0), 2)
    0.38
    """
    return min(0.8, max(0.1, p_table + 0.04 * (5.0 - etc_mm_day)))


@dataclass(frozen=True)
class RootZone:
    """Water storage of the root zone of a valve zone.

    Parameters
    ----------
    mm_per_bar : float
        Water that brings the trees back by one bar [mm].
    capacity_mm : float
        Most water that the root zone can be short of [mm]; infinite where ``mm_per_bar`` was set.
    """

    mm_per_bar: float
    capacity_mm: float

    def with_mm_per_bar(self, mm_per_bar: float) -> RootZone:
        """Give the root zone with another water per bar: it holds as much more or less in all.

        Parameters
        ----------
        mm_per_bar : float
            [mm].

        Returns
        -------
        RootZone
        """
        return RootZone(mm_per_bar, self.capacity_mm * mm_per_bar / self.mm_per_bar)


def root_zone(
    texture: str,
    crop: CropProfile,
    etc_mm_day: float,
    *,
    wetted_share: float = 1.0,
    root_depth_m: float | None = None,
) -> RootZone:
    """Work out the water per bar of a soil and crop.

    Parameters
    ----------
    texture : str
        Key of :data:`INCHES_PER_FOOT`.
    crop : CropProfile
        The crop.
    etc_mm_day : float
        Crop evapotranspiration [mm/day].
    wetted_share : float
        Share of the ground that is wetted, 0 to 1.
    root_depth_m : float, optional
        [m]; by default the crop's.

    Returns
    -------
    RootZone
        Depths are of the whole area, not of the wetted part.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> prune, walnut = (load_profiles({}, "ranch.toml")[crop] for crop in ("prune", "walnut"))
    >>> round(root_zone("loam", prune, 5.0).mm_per_bar, 1)
    13.2
    >>> round(root_zone("loam", walnut, 9.0, wetted_share=0.6).mm_per_bar, 1)
    18.3
    """
    roots = crop.roots
    held = available_mm_per_m(texture) * (root_depth_m or roots.depth_m) * wetted_share
    edges = crop.edges.below_baseline
    span = edges[2] if edges else SPAN_BAR
    by_soil = depletion_fraction(roots.depletion_fraction, etc_mm_day) * held / span
    return RootZone(max(by_soil, etc_mm_day / MOST_DRYING_BAR), held)
