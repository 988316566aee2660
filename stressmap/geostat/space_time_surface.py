"""The structured method with memory: the last of several visits mapped by the space-time model."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.linalg import LinAlgError
from scipy.spatial.distance import cdist

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat import leave_one_out
from stressmap.geostat.borrowed_model import borrow, lent_persistence
from stressmap.geostat.change_of_support import zone_set
from stressmap.geostat.course_kriging import CourseDays, SolvedSet
from stressmap.geostat.drying_slopes import shared_slopes
from stressmap.geostat.kriging import KrigingSystem
from stressmap.geostat.kriging_systems import SystemKey
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.persistence import USUAL_PERSISTENCE
from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.space_time_fit import SpaceTimeFit, fit_series
from stressmap.geostat.space_time_kriging import SpaceTimeSystem, SpaceTimeSystems, estimate_levels
from stressmap.geostat.variance_model import choose_model, reading_noise, valve_groups
from stressmap.geostat.visit_series import VisitLevels, VisitSeries
from stressmap.geostat.zone_covariance import ZoneCovariance, nearest_readings, universal_kriging_covariance
from stressmap.geostat.zone_paths import ZonePaths


class SpaceTimeSurface(StructuredSurface):
    """The structured method fitted to readings of several visits; answers for the last one.

    Parameters
    ----------
    series : VisitSeries
        Readings, those of the last visit last.
    today : StructuredSurface
        Fitted to those of the last visit alone.
    found : SpaceTimeFit, optional
        Where the fit is known; else it is made.

    Raises
    ------
    LinAlgError
        If the likelihood cannot be evaluated.
    """

    def __init__(
        self, series: VisitSeries, today: StructuredSurface, found: SpaceTimeFit | None = None
    ) -> None:
        series = series.with_doubt(today.doubt)
        self.series, self.samples, self.options = series, series.samples, today.options
        self.drift = today.drift
        self._level = float(series.level()[-1])
        self._centred = series.centred()
        self._z = self.drift.standardised(self.samples.places)
        used, priors = bool(self.drift.sd), today.options.priors
        if found is None:
            # the error is learnt: a tree differs from day to day by more than a recheck tells
            model, kept = choose_model(self.samples, priors, None), USUAL_PERSISTENCE
            if (lent := today.fit.borrowed_from(today.options.lent)) is not None:
                model, kept = borrow(model, lent), lent_persistence(lent)
            found = fit_series(series, self._z, model, start=today.fit, covariate=used, kept=kept)
        if found is None:
            msg = "the likelihood of the visits together cannot be evaluated"
            raise LinAlgError(msg)
        self.found, self.fit = found, found.fit
        levels = VisitLevels.of(series, priors.crop_bar**2, covariate=used)
        self.timed = self.nodes = estimate_levels(series, self._z, found, levels)
        self._systems = SpaceTimeSystems(series, self._z, self.timed)
        self._held: tuple[SystemKey, SpaceTimeSystem, list[tuple[int, SolvedSet]]] | None = None
        self._held_days: tuple[Floats, CourseDays] | None = None
        self.notes = ()

    def __getstate__(self) -> dict[str, Any]:
        """Return what is pickled: nothing that was solved."""
        return {**super().__getstate__(), "_held": None, "_held_days": None}

    def __setstate__(self, state: dict[str, Any]) -> None:
        """Take what was pickled; systems are solved again when first needed."""
        vars(self).update(state)
        self._systems = SpaceTimeSystems(self.series, self._z, self.timed)

    def predict(self, places: Places) -> Estimate:
        """Estimate the signal at points; as :meth:`Surface.predict`."""
        found = super().predict(places)
        return Estimate(found.mean + self._by_dryness(places), found.variance)

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones; as :meth:`Surface.predict_zones`."""
        found = super().predict_zones(places, zone, count)
        return Estimate(found.mean + self._zones_by_dryness((places, zone, count)), found.variance)

    def _by_dryness(self, places: Places, *, change: bool = False) -> Floats:
        """Give what the dryness of the last visit, or its change, is expected to do at places [bar]."""
        levels = self.timed.levels.since_before() if change else self.timed.levels
        mm, dryness = levels.slope_mm(), levels.dryness
        if mm is None or dryness is None:
            return np.zeros(len(places))
        return np.asarray(dryness.slopes.bar_mm * mm[places.valve])

    def _zones_by_dryness(self, zones: tuple[Places, Ints, int], *, change: bool = False) -> Floats:
        places, zone, count = zones
        inside = np.flatnonzero(zone >= 0)
        told = self._by_dryness(places.take(inside), change=change)
        size = np.maximum(np.bincount(zone[inside], minlength=count), 1)
        return np.asarray(np.bincount(zone[inside], weights=told, minlength=count) / size)

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading of the last visit from other trees, each tree left out at all its visits."""
        predicted, z_score = super().leave_one_out()
        return predicted[self.series.today], z_score[self.series.today]

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading of the last visit from other blocks, its own left out at all visits."""
        predicted, z_score = super().leave_block_out()
        return predicted[self.series.today], z_score[self.series.today]

    def predict_change(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate the change of zone means since the visit before the last; as :meth:`predict_zones`.

        Parameters
        ----------
        places : Places
            Cell centres, m of them.
        zone : array of int, shape (m,)
            Zone of each cell, -1 for none.
        count : int
            Number of zones.

        Returns
        -------
        Estimate
            Of the last visit's mean less that of the one before.
        """
        level = self.series.level()
        mean, variance = np.full(count, np.nan), np.full(count, np.nan)
        cells = zone_set(places, zone, count).cells
        keys = {code: self._systems.key(one.blocks, one.middle) for code, one in cells.items()}
        for systems in self._systems.windows(keys.values()):
            for code, key in keys.items():
                system = systems.get(key)
                if isinstance(system, SpaceTimeSystem):
                    drift = self.drift.standardised(cells[code].places)
                    mean[code], variance[code] = system.change.predict_mean(cells[code], drift)
        told = self._zones_by_dryness((places, zone, count), change=True)
        return Estimate(mean + told + float(level[-1] - level[-2]), variance)

    def zone_paths(self, places: Places, zone: Ints, count: int, day: Floats, dryness: Floats) -> ZonePaths:
        """Estimate zone means on any days; as :meth:`PathSurface.zone_paths`."""
        days, level = self._course_days(day), self.series.level()
        mean, covariance = np.full((len(day), count), np.nan), np.full((len(day), len(day), count), np.nan)
        slope, spread = np.full((2, count), np.nan)
        cells = zone_set(places, zone, count).cells
        keys = {code: self._systems.key(one.blocks, one.middle) for code, one in cells.items()}
        for key in sorted(set(keys.values())):
            own = [code for code in cells if keys[code] == key]
            system, sets = self._course_sets(key)
            zones = [(cells[code], self.drift.standardised(cells[code].places)) for code in own]
            for code, one in zip(own, system.courses(sets, zones, days, dryness[:, own]), strict=True):
                mean[:, code], covariance[:, :, code] = one.mean + days.share @ level, one.covariance
                slope[code], spread[code] = one.slope, one.slope_variance
        return ZonePaths(mean, covariance, Estimate(slope, spread))

    def _course_days(self, day: Floats) -> CourseDays:
        """Relate days to the visits, or take what was related last: blocks are asked for the same days."""
        held = self._held_days
        if held is None or not np.array_equal(held[0], day):
            self._held_days = held = day.copy(), CourseDays.of(self.series, day)
        return held[1]

    def _course_sets(self, key: SystemKey) -> tuple[SpaceTimeSystem, list[tuple[int, SolvedSet]]]:
        """Solve a system for courses, or take what was solved last: one may be asked block by block."""
        held = self._held
        if held is None or held[0] != key:
            assert isinstance(self._systems, SpaceTimeSystems)
            system = self._systems.for_courses(key)
            self._held = held = key, system, system.course_sets()
        return held[1:]

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of zone means' errors; as :meth:`Surface.zone_covariance`."""
        index = nearest_readings(self.samples, places)
        samples, visit = self.samples.take(index), self.series.visit[index]
        p, kept = self.fit.best, self.found.best(self.series.days_between)
        last, levels = len(self.series) - 1, self.timed.levels
        dryness, now = self.series.dryness, levels.slope_mm()

        def visits_of(at: Places) -> Ints:
            return visit if at is samples.places else np.full(len(at), last)

        def covariance(a: Places, b: Places) -> Floats:
            when = visits_of(a), visits_of(b)
            groups = valve_groups(a.block, a.valve), valve_groups(b.block, b.valve)
            signal = p.block * np.equal.outer(a.block, b.block) + p.valve * np.equal.outer(*groups)
            signal = signal + p.pattern * self.nodes.correlation(cdist(a.xy, b.xy), p.range_m)
            crop = np.equal.outer(a.crop, b.crop) & np.equal.outer(*when)
            total = signal * kept[when[0][:, None], when[1]] + p.crop * crop
            if dryness is None or now is None:
                return np.asarray(total)
            mm = [dryness.at_readings[index] if at is samples.places else now[at.valve] for at in (a, b)]
            return np.asarray(total + np.outer(*mm) * shared_slopes(a, b, dryness.slopes))

        def trend(at: Places) -> Floats:
            own = np.equal.outer(visits_of(at), np.unique(np.append(visit, last))).astype(float)
            drift = self.drift.standardised(at)
            return np.column_stack([own, drift]) if levels.covariate else own

        noise = reading_noise(samples, p)
        return universal_kriging_covariance(samples, (places, zone, count), covariance, noise, trend)

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
        if len(self.series) == 1:  # tells nothing of what lasts
            return super().summary()
        share, spread = self.found.lasting()
        return super().summary() | {
            "lasting_share": round(share, 4),
            "lasting_share_sd": round(spread, 4),
            "fading_days": round(self.found.fading_days(), 2),
        }

    def _leave_trees_out(self, system: KrigingSystem, own: Ints, residual: Floats, variance: Floats) -> None:
        """Replace residuals on trees read more than once by those without the tree at any visit."""
        tree, block = self.samples.tree[system.index], self.samples.places.block[system.index]
        part, at = system.leave_out_terms, system.index
        for t in np.unique(tree[own][tree[own] >= 0]):
            leaves = np.flatnonzero(tree == t)
            if len(leaves) < 2:
                continue
            in_block = np.flatnonzero(block == block[leaves[0]])
            inside = np.searchsorted(in_block, leaves)
            inner = part.blocks[int(block[leaves[0]])][:, inside][:, :, inside]
            residual[at[leaves]], variance[at[leaves]] = leave_one_out.residuals_group_out(
                self.nodes.weight, part.alpha[:, leaves], inner
            )
