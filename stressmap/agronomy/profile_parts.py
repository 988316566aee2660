"""What a crop profile is made of: sources, lines, edges, levels, stages, allowances, varieties."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from stressmap.agronomy.target import check_season
from stressmap.core.setting_types import MonthDay, Number, Part, Switch, Whole
from stressmap.core.settings import Baseline

Standing = Literal[
    "read", "read at second hand", "from memory, cross-checked", "from memory only", "derived",
    "common practice, no source", "set by the ranch",
]  # fmt: skip
"""How far a figure can be trusted: the text was read; a text that quotes it was read; remembered and
recomputed; only remembered; worked out here from other figures; what people in the trade do; or what the user
wrote."""

Edge3 = tuple[float, float, float]
Number3 = tuple[Number, Number, Number]
Scale = Literal["absolute", "below_baseline"]
SET_BY_RANCH: Standing = "set by the ranch"


def _rising(edges: Edge3) -> Edge3:
    if not edges[0] < edges[1] < edges[2]:
        msg = f"{list(edges)} does not rise; write three rising numbers such as [0, 2, 4]"
        raise ValueError(msg)
    return edges


def _in_season_order(points: tuple[tuple[str, float], ...]) -> tuple[tuple[str, float], ...]:
    check_season(points)
    return points


Edges3 = Annotated[Number3, AfterValidator(_rising)]
Potential = Annotated[Number, Field(ge=-60.0, le=0.0)]
Targets = Annotated[tuple[tuple[MonthDay, Potential], ...], AfterValidator(_in_season_order)]
Bars = Annotated[Number, Field(ge=0.0, le=30.0)]
"""How far below a fully watered tree [bar], never negative."""
Depth = Annotated[Number, Field(gt=0.0, le=200.0)]
"""Depth of water [mm]."""
Course = Annotated[tuple[tuple[MonthDay, Bars], ...], AfterValidator(_in_season_order)]
Coefficients = Annotated[
    tuple[tuple[MonthDay, Annotated[Number, Field(ge=0.0, le=2.0)]], ...], AfterValidator(_in_season_order)
]


class CropNames(Part):
    """One text in the languages of the sheets."""

    en: str
    es: str

    def said(self, language: str) -> str:
        """Return it in a language.

        Parameters
        ----------
        language : str
            ``"en"`` or ``"es"``.

        Returns
        -------
        str
        """
        return self.es if language == "es" else self.en


class Source(Part):
    """Where a figure comes from, and how far it can be trusted."""

    cite: str
    standing: Standing
    remark: str | None = None


class BaselineLine(Baseline):
    """Fully watered line, and the deficits [kPa] it was published for."""

    vpd_range_kpa: tuple[Number, Number] | None = None
    provisional: Switch = False


class Edges(Part):
    """The edges between the four priorities [bar], for each of the three ranked figures."""

    below_target: Edges3 = (0.0, 2.0, 4.0)
    below_baseline: Edges3 | None = None
    tension: Edges3 | None = None


class Level(Part):
    """What a range of potentials means; the two scales are published apart and never converted."""

    scale: Scale
    from_bar: Number
    to_bar: Number | None = None
    level: CropNames
    text: CropNames
    standing: Standing

    def holds(self, bar: float) -> bool:
        """Tell whether a potential (or a distance from the baseline), both negative [bar], is in the range.

        Parameters
        ----------
        bar : float
            [bar].

        Returns
        -------
        bool
        """
        return bar <= self.from_bar and (self.to_bar is None or bar > self.to_bar)


class Stage(Part):
    """A growth stage: the day it begins and how harmful stress is in it, 0 (not) to 1 (most)."""

    begins: MonthDay = Field(alias="from")
    harm: Number = Field(ge=0.0, le=1.0)
    text: CropNames


class Young(Part):
    """Limits for trees planted under ``years`` years ago.

    ``driest_target_bar`` holds for targets given as potentials, ``allowance_bar`` for those given as
    distances below the fully watered line.
    """

    driest_target_bar: Potential
    allowance_bar: Bars | None = None
    years: Whole = Field(default=4, ge=1)


class TooWet(Part):
    """Trees whose distance below the baseline is under this [bar] are too wet, not praiseworthy."""

    below_baseline_bar: Number


class CropCoefficient(Part):
    """Crop coefficient on reference evapotranspiration through the season, and height of the trees [m].

    ``young_kc_mid`` is the highest coefficient of the season in each of the first years from planting;
    ``standard_climate`` tells whether the points are those of a table for a standard climate, to be fitted
    to wind and dry air, or were measured in the climate that the crop is grown in.
    """

    points: Coefficients
    young_kc_mid: tuple[Annotated[Number, Field(gt=0.0, le=2.0)], ...] = ()
    standard_climate: Switch = True
    height_m: Number = Field(default=3.0, gt=0.0)


class Roots(Part):
    """What trees take from the soil.

    ``depth_m`` is how deep the roots of irrigated trees reach [m], the least of a
    published range; ``depletion_fraction`` the share of the
    available water there that they take without stress, at a crop evapotranspiration of 5 mm a day.
    """

    depth_m: Number = Field(default=1.0, gt=0.0, le=10.0)
    depletion_fraction: Number = Field(default=0.50, gt=0.0, lt=1.0)


class Caution(CropNames):
    """Something a user of this crop must know."""

    standing: Standing = SET_BY_RANCH


def _falling(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    bars, shares = [bar for bar, _ in points], [share for _, share in points]
    if not points or bars != sorted(set(bars)) or shares != sorted(shares, reverse=True):
        msg = "bars must rise and shares must not; write them as [[0.0, 1.0], [5.5, 0.5]]"
        raise ValueError(msg)
    return points


StressShares = Annotated[
    tuple[tuple[Bars, Annotated[Number, Field(ge=0.0, le=1.0)]], ...], AfterValidator(_falling)
]
"""Bars below the fully watered line, and the share of the water that the crop still uses there."""


class LimitSpan(Part):
    """Days of the year on which a crop bears less than its ``limit_bar``; they may go over the new year."""

    begins: MonthDay = Field(alias="from")
    until: MonthDay
    limit_bar: Bars

    def holds(self, day: dt.date) -> bool:
        """Tell whether a day is one of them; the last one is.

        Parameters
        ----------
        day : date
            Local.

        Returns
        -------
        bool
        """
        on = f"{day:%m-%d}"
        if self.begins <= self.until:
            return self.begins <= on <= self.until
        return on >= self.begins or on <= self.until


class Allowance(Part):
    """How far below a fully watered tree the crop should stand, through the season.

    ``points`` are days of the year and bars below the line; ``least_bar`` is what no target of the crop goes
    under, however it was given.
    """

    points: Course
    least_bar: Bars = 0.0

    @model_validator(mode="after")
    def _never_under_the_least(self) -> Allowance:
        for day, bar in self.points:
            if bar < self.least_bar:
                msg = f"{bar:g} bar on {day} is under least_bar = {self.least_bar:g}; raise it or lower that"
                raise ValueError(msg)
        return self


class Variety(Part):
    """What is known of one variety of a crop; what is not given is the crop's."""

    also: tuple[str, ...] = ()
    allowance: Allowance | None = None
    baseline: BaselineLine | None = None


class CutOff(Part):
    """How many days before harvest the last water is given: between two counts of days."""

    least_days: Whole = Field(ge=0, le=120)
    most_days: Whole = Field(ge=0, le=120)

    @model_validator(mode="after")
    def _in_order(self) -> CutOff:
        if self.most_days < self.least_days:
            msg = f"most_days = {self.most_days} is under least_days = {self.least_days}; exchange the two"
            raise ValueError(msg)
        return self
