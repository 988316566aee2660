"""A season as it stands: what passes from this room to pages, rounds and water plans."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.core.notes import Note
from stressmap.season.not_relieved import Alarm
from stressmap.water.measured_water_per_bar import WaterPerBar


@dataclass(frozen=True)
class DayByDay:
    """Stress of Z valve zones day by day, for drawing.

    Parameters
    ----------
    first : date
        Of position 0.
    today : int
        Position of today; later days are without water.
    valves : tuple of str
        Names of the zones.
    mean, sd : array of float, shape (D, Z)
        The ranked figure and its standard deviation [bar].
    hot : array of float, shape (D - today, Z)
        From today on, in a week as hot as the hottest of late [bar].
    """

    first: dt.date
    today: int
    valves: tuple[str, ...]
    mean: Floats
    sd: Floats
    hot: Floats

    @classmethod
    def empty(cls, today: dt.date) -> DayByDay:
        """Make one of no zone."""
        none = np.zeros((1, 0))
        return cls(today, 0, (), none, none, none)


@dataclass(frozen=True)
class Season:
    """A season so far.

    Parameters
    ----------
    today : date
        What is due is counted from it: the last day of the last visit, or of the log where that goes on.
    visits : tuple of (date, date)
        First and last day of each.
    next_visit : date
        By the usual days between visits.
    course : DataFrame
        As :data:`stressmap.core.season_schemas.COURSE`, and ``visit_number``: a row per visit and valve zone.
    cycles : DataFrame
        As ``CYCLES``, and ``zone``, ``crop``, ``soil``, ``system``, ``hours``, ``sets``,
        ``drying_days``, ``drying_bar_per_day``,
        ``drying_bar_per_mm``, ``drying_se_bar_per_mm``, ``manner`` (``like_flood`` for
        drip in long sets and long gaps).
    compared : DataFrame
        Cycles by soil, system and crop: ``by``, ``kind``, ``cycles``, ``relief_bar``, ``relief_low_bar``,
        ``relief_high_bar``, ``recovered``, ``drying_bar_per_day``, ``drying_bar_per_mm``.
    due : DataFrame
        As ``DUE`` without words, and what :func:`stressmap.season.due_table.due_table` gives beside.
    calendar : DataFrame
        From :func:`stressmap.season.due_table.due_calendar`.
    let_down : DataFrame
        A row per block, then per crop (``block`` None): paces, standing, limit and harvest.
    alarms : tuple of Alarm
        Watered, not relieved; the surest first.
    blocks : DataFrame
        As ``SEASON_BLOCKS``, and ``mm_per_bar_log_sd``.
    trees : DataFrame
        Used readings: ``visit_number``, ``day`` (ordinal), ``tree``, ``tree_id``, ``block``, ``valve``,
        ``crop``, ``swp_bar`` (in the visit's weather), ``stress_bar``, ``read_again`` (whether the tree
        was read at other visits too).
    learnt : mapping of str to WaterPerBar
        By valve, for a water plan.
    lent : mapping of str to WaterPerBar
        By valve: what other ranches lend for its soil, for a water plan where the season has not taught it.
    days : DayByDay
        For drawing.
    phases : DataFrame
        Valves that every visit sees at one phase of their turn: ``valve``, ``block``, ``seen_days`` (since
        water), ``interval_days``, ``move_days`` (by which the next visit would show the other side).
    notes : tuple of Note
        What there is to say.
    """

    today: dt.date
    visits: tuple[tuple[dt.date, dt.date], ...]
    next_visit: dt.date
    course: pd.DataFrame
    cycles: pd.DataFrame
    compared: pd.DataFrame
    due: pd.DataFrame
    calendar: pd.DataFrame
    let_down: pd.DataFrame
    alarms: tuple[Alarm, ...]
    blocks: pd.DataFrame
    trees: pd.DataFrame
    learnt: Mapping[str, WaterPerBar] = field(default_factory=dict)
    lent: Mapping[str, WaterPerBar] = field(default_factory=dict)
    days: DayByDay = field(default_factory=lambda: DayByDay.empty(dt.date.min))
    phases: pd.DataFrame = field(default_factory=pd.DataFrame)
    notes: tuple[Note, ...] = ()

    @property
    def alarmed(self) -> frozenset[int]:
        """Positions of the valve zones that were watered and not relieved."""
        return frozenset(zone for alarm in self.alarms for zone in alarm.zones)
