"""What the need of a valve zone is worked out from, and its book."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from stressmap.agronomy.crops import CropProfile, Edge3, for_variety
from stressmap.agronomy.harvest import at_harvest
from stressmap.agronomy.orchard import Orchard
from stressmap.agronomy.water_use import stress_coefficient
from stressmap.core.arrays import Floats
from stressmap.core.settings import RankBy, Water
from stressmap.core.unsure_sets import unsure_of
from stressmap.water.crop_water_use import ReferenceEt, crop_use_mm, effective_rain_mm
from stressmap.water.hydraulics import Hydraulics, number_or, text_or_none
from stressmap.water.logged_sets import Run, runs_of
from stressmap.water.measured_water_per_bar import (
    FACTORS,
    PRIOR_LOG_SD,
    WaterPerBar,
    change_of_trees,
    measured_between_visits,
    put_together,
)
from stressmap.water.read_trees import ReadTrees
from stressmap.water.root_zone import RootZone
from stressmap.water.soil_water_balance import (
    BOOK_DAYS,
    RAN_ERROR,
    START_ERROR_BAR,
    USE_ERROR,
    Book,
    BookDays,
    midnights,
    net_by_span,
    running_balance,
)


@dataclass(frozen=True)
class RequirementFacts:
    """Data that requirements are worked out from, beside the valves.

    Parameters
    ----------
    water : Water
        ``[water]``.
    orchard : Orchard
        The blocks' crops, with allowances and seasons.
    rank_by : str
        The mapped figure.
    visit_end : date
        Last day of the visit.
    visit_begin : date or None
        Its first day; by default the last.
    start, next_turn : date
        First day of the plan, and the day by which water must last.
    eto : ReferenceEt
        Reference evapotranspiration.
    log : DataFrame or None
        As ``core.schemas.IRRIGATION``.
    edges_bar : tuple of float or None
        Of the map's settings; they go before the crops' own.
    read : ReadTrees
        When and on how many trees each valve zone was read; by default at the end of the visit.
    troubles : frozenset of str
        Valves at which the crew reported trouble, and no later set without.
    """

    water: Water
    orchard: Orchard
    rank_by: RankBy
    visit_end: dt.date
    start: dt.date
    next_turn: dt.date
    eto: ReferenceEt
    log: pd.DataFrame | None
    edges_bar: Edge3 | None = None
    read: ReadTrees = field(default_factory=ReadTrees)
    troubles: frozenset[str] = frozenset()
    visit_begin: dt.date | None = None


class ValveContext:
    """The facts, with the log by valve, and crop water use worked out once for each span of days."""

    def __init__(self, facts: RequirementFacts) -> None:
        self.facts = facts
        self.log = {} if facts.log is None else dict(list(facts.log.groupby("valve", sort=False)))
        self.unsure = unsure_of(facts.log)
        self.log_begins = None if facts.log is None or facts.log.empty else facts.log["start"].min().date()
        self._used: dict[tuple[Any, ...], float] = {}
        self._daily: dict[tuple[Any, ...], tuple[list[float], Floats]] = {}
        self._edges: dict[tuple[dt.date, dt.date], pd.DatetimeIndex] = {}
        self._profiles: dict[tuple[str, str | None, str | None], CropProfile] = {}

    def profile(self, place: pd.Series) -> CropProfile:
        """Return the profile of a place's variety, moved to its own harvest."""
        key = place["crop"], text_or_none(place.get("variety")), text_or_none(place.get("harvest"))
        if key not in self._profiles:
            crop, variety, harvest = key
            self._profiles[key] = at_harvest(for_variety(self.facts.orchard.profiles[crop], variety), harvest)
        return self._profiles[key]

    def crop_use_mm(self, place: pd.Series, first: dt.date, until: dt.date, below_bar: float) -> float:
        """Return what trees so far below their fully watered line use over some days [mm]."""
        planted = number_or(place["planted"], np.nan)
        known = None if np.isnan(planted) else planted
        names = place["crop"], text_or_none(place.get("variety")), text_or_none(place.get("harvest"))
        key = *names, known, first, until, round(below_bar, 2)
        if key not in self._used:
            self._used[key] = crop_use_mm(
                self.profile(place),
                self.facts.eto,
                first,
                until,
                planted=known,
                below_baseline_bar=round(below_bar, 2),
            )
        return self._used[key]

    def read_on(self, valve: str, block: str) -> dt.date:
        """Return the day of a valve zone's last used reading, else its block's, else the visit's last."""
        moment = self.facts.read.at.get(valve, self.facts.read.at.get(block))
        return self.facts.visit_end if moment is None else moment.date()

    def read_at(self, valve: str, block: str, log: pd.DataFrame) -> pd.Timestamp:
        """Return the moment of that reading; of a day alone its end."""
        moment = self.facts.read.at.get(valve, self.facts.read.at.get(block))
        if moment is None:
            after = self.facts.visit_end + dt.timedelta(days=1)
            return midnights(after, after, log["end"])[0]
        return moment

    def book(self, row: Any, place: pd.Series, storage: RootZone, hydraulics: Hydraulics) -> Book | None:
        """Keep the book of a valve zone up to its last reading.

        None without a set of it in the log, or where rows of the log that could not be used may be of it.
        """
        kept = self._book_days(row, place, storage.mm_per_bar, hydraulics)
        if kept is None:
            return None
        profile = self.profile(place)

        def share(missing_mm: float) -> float:
            return float(stress_coefficient(profile, missing_mm / storage.mm_per_bar))

        days = zip(kept.use.tolist(), (kept.ran + kept.rain).tolist(), strict=True)
        missing, used = running_balance(kept.begins_mm, days, share, storage.capacity_mm)
        total = float(kept.ran.sum())
        se = float(np.sqrt(kept.begins_se_mm**2 + (USE_ERROR * used) ** 2 + (RAN_ERROR * total) ** 2))
        return Book(missing, se, used - float(kept.rain.sum()), total)

    def measured(
        self, row: Any, place: pd.Series, storage: RootZone, hydraulics: Hydraulics, book: Book
    ) -> WaterPerBar:
        """Put the water per bar of soil and roots together with what two visits tell of it."""
        kept = self._book_days(row, place, storage.mm_per_bar, hydraulics)
        if kept is None or not kept.from_visit or book.ran_mm <= 0.0:
            return WaterPerBar(storage.mm_per_bar, PRIOR_LOG_SD)
        profile, per_bar = self.profile(place), storage.mm_per_bar
        zone = per_bar * FACTORS, storage.capacity_mm * FACTORS

        def change(ran: float, use: float) -> Floats:
            """Return the change of the trees if so many times the use and what ran were true."""
            days = zip((use * kept.use).tolist(), (ran * kept.ran + kept.rain).tolist(), strict=True)
            stress = partial(stress_coefficient, profile)
            return change_of_trees(kept.begins_mm / per_bar, days, stress, zone)

        expected, missed = change(1.0, 1.0), change(0.0, 1.0)
        error = np.hypot(change(1.0 - RAN_ERROR, 1.0) - expected, change(1.0, 1.0 + USE_ERROR) - expected)
        seen = float(row.change_bar), float(row.change_se_bar)
        return measured_between_visits(per_bar, (expected, missed, error), seen)

    def told_per_bar(
        self, row: Any, place: pd.Series, storage: RootZone, hydraulics: Hydraulics, book: Book | None
    ) -> tuple[WaterPerBar | None, str]:
        """Give the water per bar that the season taught, else two visits, where it is sure, and its name.

        The season's rests on the two visits too, so that the two are never put together. Where neither is
        sure, what other ranches lend for the soil is put together with what there is.
        """
        learnt = self.facts.read.learnt.get(row.valve)
        if learnt is not None and learnt.is_measured:
            return learnt, "mm_per_bar_season"
        found = WaterPerBar(storage.mm_per_bar, PRIOR_LOG_SD)
        if book is not None:
            found = self.measured(row, place, storage, hydraulics, book)
        if found.is_measured:
            return found, "mm_per_bar_measured"
        lent = self.facts.read.lent.get(row.valve)
        return (None, "") if lent is None else (put_together(found, lent), "mm_per_bar_borrowed")

    def _book_days(
        self, row: Any, place: pd.Series, mm_per_bar: float, hydraulics: Hydraulics
    ) -> BookDays | None:
        """Gather what the book of a valve zone is kept from; None where :meth:`book` gives none."""
        log = self.log.get(row.valve)
        if log is None or self.log_begins is None:
            return None
        until = self.read_on(row.valve, row.block) + dt.timedelta(days=1)
        first, begins, begins_se, from_visit = self._start(row, mm_per_bar, until)
        if first >= until or self.unsure.may_have_run(row.valve, first, until):
            return None
        end = self.read_at(row.valve, row.block, log)
        days_begin = self._midnights(first, until, log)
        edges = pd.DatetimeIndex([*days_begin[days_begin < end], end])
        ran = np.zeros((until - first).days)
        ran[: len(edges) - 1] = net_by_span(log, edges, hydraulics.rate, hydraulics.factor)[: len(ran)]
        use, rain = self._days(place, first, until)
        return BookDays(begins, begins_se, np.array(use), ran, rain, from_visit)

    def log_unread(self, row: Any) -> bool:
        """Tell whether rows of the log that could not be used may be of a valve zone, up to the plan."""
        until = self.read_on(row.valve, row.block) + dt.timedelta(days=1)
        return self.unsure.may_have_run(row.valve, self._start(row, 1.0, until)[0], self.facts.start)

    def runs(self, valve: str) -> tuple[Run, ...]:
        """Return the logged sets of a valve that a plan has to keep to."""
        return runs_of(self.log.get(valve), self.facts.start)

    def ran_between(self, row: Any, hydraulics: Hydraulics, until: dt.date) -> float:
        """Return the net depth that ran from a valve zone's last reading to the start of a day [mm]."""
        log = self.log.get(row.valve)
        if log is None:
            return 0.0
        since = self.read_at(row.valve, row.block, log)
        edges = pd.DatetimeIndex([since, *self._midnights(until, until, log)])
        if edges[1] <= edges[0]:
            return 0.0
        return float(net_by_span(log, edges, hydraulics.rate, hydraulics.factor)[0])

    def came_before(self, row: Any, hydraulics: Hydraulics, after: dt.date) -> float:
        """Return the rain that counts and the net depth that ran from a reading to the plan [mm]."""
        rain = effective_rain_mm(self.facts.eto, after, self.facts.start)
        return rain + self.ran_between(row, hydraulics, self.facts.start)

    def unmet_mm(
        self,
        row: Any,
        place: pd.Series,
        storage: RootZone,
        hydraulics: Hydraulics,
        below_bar: tuple[float, float],
    ) -> float:
        """Return what trees could not use from their reading to the plan, as their root zone ran out [mm].

        The running book goes on from what is missing at the reading, with the stress that it comes to,
        against the use of trees that stay where they are held: ``below_bar`` has both.
        """
        after, start = self.read_on(row.valve, row.block) + dt.timedelta(days=1), self.facts.start
        if start <= after:
            return 0.0
        use, rain = self._days(place, after, start)
        came = rain + self._ran_by_day(row, hydraulics, after)
        profile, missing = self.profile(place), min(storage.capacity_mm, below_bar[0] * storage.mm_per_bar)
        first = missing
        for used, arrived in zip(use, came.tolist(), strict=True):
            share = float(stress_coefficient(profile, missing / storage.mm_per_bar))
            missing = min(storage.capacity_mm, missing + used * share - arrived)
        possible = missing - first + float(came.sum())
        return max(0.0, self.crop_use_mm(place, after, start, below_bar[1]) - possible)

    def _ran_by_day(self, row: Any, hydraulics: Hydraulics, after: dt.date) -> Floats:
        """Return the net depth that ran on each day from the one after a reading up to the plan [mm].

        What ran on the day of the reading after it counts for the first.
        """
        ran = np.zeros((self.facts.start - after).days)
        if (log := self.log.get(row.valve)) is None:
            return ran
        days = self._midnights(after, self.facts.start, log)
        edges = pd.DatetimeIndex([min(self.read_at(row.valve, row.block, log), days[0]), *days[1:]])
        return ran + net_by_span(log, edges, hydraulics.rate, hydraulics.factor)

    def _midnights(self, first: dt.date, until: dt.date, log: pd.DataFrame) -> pd.DatetimeIndex:
        key = first, until
        if key not in self._edges:
            self._edges[key] = midnights(first, until, log["end"])
        return self._edges[key]

    def _days(self, place: pd.Series, first: dt.date, until: dt.date) -> tuple[list[float], Floats]:
        """Return full crop use of days, and what counts of their rain [mm]."""
        names = (text_or_none(place.get(name)) for name in ("crop", "variety", "harvest"))
        key = *names, number_or(place["planted"], 0.0), first, until
        if key not in self._daily:
            days = [first + dt.timedelta(days=k) for k in range((until - first).days)]
            one = dt.timedelta(days=1)
            use = [self.crop_use_mm(place, day, day + one, 0.0) for day in days]
            rain = np.array([effective_rain_mm(self.facts.eto, day, day + one) for day in days])
            self._daily[key] = use, rain
        return self._daily[key]

    def _start(self, row: Any, mm_per_bar: float, until: dt.date) -> tuple[dt.date, float, float, bool]:
        """Return a book's first day, what was missing then, its standard error [mm], if a visit tells it.

        The visit before tells it, where the change since then is known; else trees are taken to have stood
        where they should.
        """
        earliest = until - dt.timedelta(days=BOOK_DAYS)
        below = number_or(row.baseline_bar - row.swp_bar, np.nan)
        change, se = (number_or(getattr(row, name, None), np.nan) for name in ("change_bar", "change_se_bar"))
        before = self.facts.read.before
        if before is not None and before >= earliest and np.isfinite([below, change, se]).all():
            start_se = float(np.sqrt(max(0.0, se**2 - row.stress_se_bar**2)))
            began = max(0.0, below - change) * mm_per_bar
            return before + dt.timedelta(days=1), began, start_se * mm_per_bar, True
        first = max(earliest, self.log_begins or earliest)
        allowed = number_or(row.baseline_bar - row.target_bar, 0.0)
        return first, allowed * mm_per_bar, START_ERROR_BAR * mm_per_bar, False
