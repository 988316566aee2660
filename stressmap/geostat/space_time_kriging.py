"""Kriging of the last of several visits, and of the change since the visit before, by the space-time model.

What is predicted is a sum of visits with weights: 1 for the last, or 1 and -1 for a change. Its covariance
with a reading is that of one visit times the weighted persistence over the days between, so that the forms of
one visit's kriging serve, its correlations scaled reading by reading. Readings of one tree share their place
and so their column.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.change_of_support import ZoneCells
from stressmap.geostat.course_kriging import (
    Course,
    CourseDays,
    SolvedSet,
    ZoneInSystem,
    krige_course,
)
from stressmap.geostat.drying_slopes import SlopedIndicators
from stressmap.geostat.kriging import (
    GroupIndicators,
    KrigingSystem,
    LeaveOutTerms,
    ParameterNodes,
    QuadraticForms,
    design_terms,
)
from stressmap.geostat.kriging_systems import (
    RANCH_SYSTEM,
    REACH_IN_RANGES,
    KrigingSystems,
    SystemKey,
)
from stressmap.geostat.persistence import Persistence
from stressmap.geostat.reml import solve
from stressmap.geostat.search_neighbourhood import MOVING_NEIGHBOURHOOD, likelihood_groups, nearest
from stressmap.geostat.space_time_fit import SeriesGroup, SpaceTimeFit, choose_sets
from stressmap.geostat.variance_model import valve_groups
from stressmap.geostat.visit_series import VisitLevels, VisitSeries

MOST_OWN = 128
"""Readings of a block's own, of all visits, in its system."""
COURSE_SETS = 12
"""Sets of parameters that courses are averaged over."""
LEAST_OTHERS = 24
"""Today's readings of other blocks that every system has, where there are so many."""


@dataclass(frozen=True)
class SpaceTimeNodes(ParameterNodes):
    """Weighted sets of parameters with trends and persistence, K each."""

    persistence: tuple[Persistence, ...] = ()

    @property
    def levels(self) -> VisitLevels:
        """The model of the mean, with its visits."""
        assert isinstance(self.mean_model, VisitLevels)
        return self.mean_model


class SpaceTimeSystem(KrigingSystem):
    """A kriging system of readings of several visits; predicts the last, and the change since the one before.

    Parameters
    ----------
    series : VisitSeries
        Readings of the ranch.
    index : array of int
        Those of this system, n.
    drift : array, shape (n of the ranch,)
        Standardised covariate at the readings.
    nodes : SpaceTimeNodes
        Sets of parameters.
    blocks : array of int or None
        Blocks whose readings will be left out together; None for a system that gives courses alone.
    """

    def __init__(
        self, series: VisitSeries, index: Ints, drift: Floats, nodes: SpaceTimeNodes, *, blocks: Ints | None
    ) -> None:
        xy = series.samples.places.xy[index]
        _, at = np.unique(xy, axis=0, return_inverse=True)
        order = np.argsort(at.reshape(-1), kind="stable")
        self.index, self._series = index[order], series
        self._nodes: SpaceTimeNodes = nodes
        self._starts = np.flatnonzero(np.diff(at.reshape(-1)[order], prepend=-1))
        self._samples = series.centred().take(self.index)
        places = self._samples.places
        self._own = np.isin(places.block, [] if blocks is None else blocks)
        self._origin = places.xy.mean(axis=0)
        self._xy = np.ascontiguousarray((places.xy - self._origin)[self._starts])
        codes = np.unique(places.block), np.unique(valve_groups(places.block, places.valve))
        self.groups = self._indicators(codes, nodes.levels)
        self._visit = series.visit[self.index]
        self._trend = nodes.levels.of_readings(places, self._visit, drift[self.index])
        self._ranges = nodes.ranges
        self._persistence = nodes.persistence
        self._since = None if len(series) == 1 or blocks is None else self._of_change(codes)
        if blocks is not None:  # the sums over all sets of parameters are most of the work
            self.leave_out_terms = self._build_both()

    def _of_change(self, codes: tuple[Ints, Ints]) -> SpaceTimeSystem:
        """Copy the system for the change since the visit before."""
        change, since = copy.copy(self), self._nodes.levels.since_before()
        change._nodes = replace(self._nodes, mean_model=since)
        change.groups = self._indicators(codes, since)
        return change

    @staticmethod
    def _indicators(codes: tuple[Ints, Ints], levels: VisitLevels) -> GroupIndicators:
        """Give the groups of the readings, with slopes where dryness is known."""
        mm, dryness = levels.slope_mm(), levels.dryness
        if mm is None or dryness is None:
            return GroupIndicators(*codes)
        return SlopedIndicators(*codes, mm, dryness.slopes)

    @property
    def change(self) -> SpaceTimeSystem:
        """The system of the change since the visit before; itself where there is one visit alone.

        A system never holds itself: in such a circle all of its arrays would outlive it, and systems of
        thousands of blocks add up.
        """
        return self if self._since is None else self._since

    @property
    def _targets(self) -> tuple[SpaceTimeSystem, ...]:
        return (self,) if self._since is None else (self, self._since)

    @property
    def nbytes(self) -> int:
        """Bytes of what is held, beside the readings themselves."""
        held = [array for one in self._targets[1:] for array in vars(one.forms).values()]
        return super().nbytes + sum(a.nbytes for a in held if isinstance(a, np.ndarray))

    def _build_both(self) -> LeaveOutTerms:
        """Solve for every set of parameters and sum the weighted forms of both targets."""
        nodes, n = self._nodes, len(self.index)
        columns = self._columns()
        size = columns.shape[1] + self._trend.shape[1]
        for one in self._targets:
            one.forms = QuadraticForms.zeros(len(self._ranges), len(self._xy), size)
        group = SeriesGroup.of(self._series, self._trend, self.index)
        patterns = [nodes.correlation(group.distance, float(one)) for one in self._ranges]
        alpha, diagonal = np.empty((2, len(nodes.weight), n))
        kinds = np.unique(self._samples.places.block[self._own])
        members = {int(b): np.flatnonzero(self._samples.places.block == b) for b in kinds}
        blocks = {b: np.empty((len(nodes.weight), len(i), len(i))) for b, i in members.items()}
        for k, one_set in enumerate(self._solve_sets(group, patterns, np.arange(len(nodes.weight)))):
            a, free, weight = one_set.alpha, one_set.projection, one_set.trend_weight
            for one in self._targets:
                one._add(k, columns, (a, free, weight))
            alpha[k], diagonal[k] = a, np.diag(free)
            for b, i in members.items():
                blocks[b][k] = free[i[:, None], i]
        for one in self._targets:
            width = one.forms.quadratic.shape[1]
            one.forms.quadratic *= np.tri(width) + np.tri(width, k=-1)
        return LeaveOutTerms(alpha, diagonal, blocks)

    def _solve_sets(
        self, group: SeriesGroup, patterns: Sequence[Floats], chosen: Ints
    ) -> Iterator[SolvedSet]:
        """Solve for some sets of parameters, one after the other."""
        nodes = self._nodes
        for k in chosen:
            p, kept, trend = nodes.parameters[k], self._persistence[k], nodes.trends[k]
            pattern = patterns[int(np.searchsorted(self._ranges, p.range_m))]
            between = group.between(kept(self._series.days_between))
            covariance = group.covariance(replace(p, crop=0.0), group.signal(p, pattern), between)
            solved = solve(covariance, self._trend)
            weight = solved.weighed @ trend.variance
            a = np.asarray(solved.inverse @ (self._samples.value - self._trend @ trend.mean))
            free = np.asarray(solved.inverse - weight @ solved.weighed.T)
            yield SolvedSet(p, kept, trend, a, free, weight)

    def course_sets(self) -> list[tuple[int, SolvedSet]]:
        """Solve for a few sets of parameters that stand for all; each with the position of its range."""
        nodes = self._nodes
        group = SeriesGroup.of(self._series, self._trend, self.index)
        patterns = [nodes.correlation(group.distance, float(one)) for one in self._ranges]
        chosen = choose_sets(nodes.weight, COURSE_SETS)
        at = [int(np.searchsorted(self._ranges, nodes.parameters[k].range_m)) for k in chosen]
        return list(zip(at, self._solve_sets(group, patterns, chosen), strict=True))

    def courses(
        self,
        sets: Sequence[tuple[int, SolvedSet]],
        zones: Sequence[tuple[ZoneCells, Floats]],
        days: CourseDays,
        dryness: Floats,
    ) -> list[Course]:
        """Krige the courses of some zones, beside the levels of the visits.

        Parameters
        ----------
        sets : sequence of (int, SolvedSet)
            From :meth:`course_sets`.
        zones : sequence of (ZoneCells, array)
            Cells of each of Z zones, and the standardised covariate there.
        days : CourseDays
            H days.
        dryness : array, shape (H, Z)
            Of the zones [mm].

        Returns
        -------
        list of Course
        """
        nodes, places = self._nodes, self._samples.places
        dry_at = None if self._series.dryness is None else self._series.dryness.take(self.index)
        of_place = np.repeat(np.arange(len(self._xy)), np.diff([*self._starts, len(self.index)]))
        found = []
        for (cells, drift), dry in zip(zones, dryness.T, strict=True):
            near, within = self._mean_correlations(cells)
            zone = ZoneInSystem.of(cells.places, drift, places, (near[:, of_place], within), nodes.levels)
            found.append(krige_course(zone, sets, (self._visit, dry_at), days, dry))
        return found

    def _add(self, k: int, columns: Floats, solved: tuple[Floats, Floats, Floats]) -> None:
        """Add one set of parameters to the forms, the readings of one place summed up."""
        a, free, trend_weight = solved
        p, w, trend = self._nodes.parameters[k], self._nodes.weight[k], self._nodes.trends[k]
        visits = np.array(self._nodes.levels.weight)
        between = self._persistence[k](self._series.days_between)
        scale, own = (between @ visits)[self._visit], float(visits @ between @ visits)
        scaled = columns * self.groups.variances(p) * self._fading(scale)
        x, cross, design = design_terms(a, free, scaled, trend_weight, trend)
        a, cross = (self._by_place(scale * a), self._by_place(scale[:, None] * cross))
        free = self._by_place(self._by_place(scale[:, None] * free * scale).T)
        f, m, r = self.forms, len(self._xy), int(np.searchsorted(self._ranges, p.range_m))
        f.quadratic[r, :m, :m] += w * p.pattern**2 * (np.outer(a, a) - free)
        f.cross[r] += w * p.pattern * (np.outer(a, x) - cross)
        f.design += w * (np.outer(x, x) + design)
        f.correlation_weight[r] += w * p.pattern * a
        f.design_weight += w * x
        f.pattern[r] += w * p.pattern * own
        f.block, f.valve = f.block + w * p.block * own, f.valve + w * p.valve * own

    def _columns(self) -> Floats:
        """Return the columns of random effects of the readings."""
        places, dryness = self._samples.places, self._series.dryness
        if dryness is None or not isinstance(self.groups, SlopedIndicators):
            return self.groups.design_matrix(places)
        return self.groups.of_readings(places, dryness.at_readings[self.index])

    def _fading(self, scale: Floats) -> Floats:
        """Spread a factor of each reading over the columns that fade; slopes do not."""
        if not isinstance(self.groups, SlopedIndicators):
            return scale[:, None]
        return np.where(self.groups.fading, scale[:, None], 1.0)

    def _by_place(self, rows: Floats) -> Floats:
        """Sum up rows of one place."""
        return np.asarray(np.add.reduceat(rows, self._starts, axis=0))


class SpaceTimeSystems(KrigingSystems):
    """Assignment of places to systems of several visits; as the base's, for today's readings.

    Parameters
    ----------
    series : VisitSeries
        Readings.
    drift : array, shape (n,)
        Standardised covariate at the readings.
    nodes : SpaceTimeNodes
        Sets of parameters.
    """

    def __init__(self, series: VisitSeries, drift: Floats, nodes: SpaceTimeNodes) -> None:
        super().__init__(series.centred(), drift, nodes)
        self._series, self._timed = series, nodes

    def assign_readings(self) -> Iterator[tuple[KrigingSystem, Ints]]:
        """Assign every reading of the last visit to one system that holds it; as the base's."""
        for system, own in super().assign_readings():
            now = self._series.visit[system.index[own]] == len(self._series) - 1
            yield system, own[now]

    def for_courses(self, key: SystemKey) -> SpaceTimeSystem:
        """Give a system that serves for courses: one that is held, else one that serves for nothing else.

        Parameters
        ----------
        key : tuple of int
            Of the system.

        Returns
        -------
        SpaceTimeSystem
        """
        held = self._solved.get(key)
        if isinstance(held, SpaceTimeSystem):
            return held
        return SpaceTimeSystem(self._series, self._near(key)[1], self._drift, self._timed, blocks=None)

    def _solve(self, key: SystemKey, *, leaving_out: bool = False) -> SpaceTimeSystem:
        blocks, index = self._near(key)
        left_out = blocks if leaving_out else blocks[:0]
        return SpaceTimeSystem(self._series, index, self._drift, self._timed, blocks=left_out)

    def _near(self, key: SystemKey) -> tuple[Ints, Ints]:
        """Give the blocks of a system, and which readings it has."""
        places = self._samples.places
        if key == RANCH_SYSTEM:
            blocks, index = np.unique(places.block), np.arange(len(self._samples))
        else:
            blocks = np.array(key[3:])
            centre = (np.array(key[1:3]) + 0.5) * self._side
            if not key[0]:
                centre = places.xy[np.isin(places.block, blocks)].mean(axis=0)
            index = series_neighbourhood(
                self._series, blocks, centre, REACH_IN_RANGES * self._nodes.ranges.max()
            )
        return blocks, index


def series_neighbourhood(series: VisitSeries, blocks: Ints, centre: Floats, reach_m: float) -> Ints:
    """Choose the readings from which some blocks are kriged: their own of all visits, today's of others.

    Parameters
    ----------
    series : VisitSeries
        Readings.
    blocks : array of int
        Blocks to be kriged.
    centre : array of float, shape (2,)
        Middle of what is to be kriged [m].
    reach_m : float
        How far another block's reading may be [m].

    Returns
    -------
    array of int
        Indices, sorted: the nearest :data:`MOST_OWN` of the blocks' own, and of others read at the last visit
        the nearest :data:`LEAST_OTHERS`, or as many as fill up a moving neighbourhood.
    """
    inside = np.isin(series.samples.places.block, blocks)
    apart = np.hypot(*(series.samples.places.xy - centre).T)
    own = np.flatnonzero(inside)
    own = own[nearest(apart[own], MOST_OWN)]
    others = series.today[~inside[series.today]]
    extent = float(apart[own].max()) if len(own) else 0.0
    count = max(LEAST_OTHERS, MOVING_NEIGHBOURHOOD - len(own))
    near = others[nearest(apart[others], count)]
    return np.sort(np.concatenate([own, near[apart[near] <= reach_m + extent]]))


def estimate_levels(
    series: VisitSeries, drift: Floats, found: SpaceTimeFit, levels: VisitLevels
) -> SpaceTimeNodes:
    """Estimate the level of every visit and crop from all readings under every set of parameters.

    Parameters
    ----------
    series : VisitSeries
        n readings.
    drift : array, shape (n,)
        Standardised covariate.
    found : SpaceTimeFit
        Sets of parameters.
    levels : VisitLevels
        Visits and crops.

    Returns
    -------
    SpaceTimeNodes
    """
    fit, places = found.fit, series.samples.places
    columns = levels.of_readings(places, series.visit, drift)
    parts: list[list[tuple[Floats, Floats]]] = [[] for _ in fit.nodes]
    with threadpool_limits(1):
        for index in likelihood_groups(places.xy, places.block):
            group = SeriesGroup.of(series, columns[index], index)
            patterns = {r: fit.model.correlation(group.distance, r) for r in {p.range_m for p in fit.nodes}}
            for part, p, kept in zip(parts, fit.nodes, found.persistence, strict=True):
                between = group.between(kept(series.days_between))
                signal = group.signal(p, patterns[p.range_m])
                solved = solve(group.covariance(replace(p, crop=0.0), signal, between), group.trend)
                part.append((solved.information, np.asarray(solved.weighed.T @ group.value)))
    trends = tuple(levels.estimate(part) for part in parts)
    return SpaceTimeNodes(fit.nodes, fit.weight, trends, levels, fit.model.correlation, found.persistence)
