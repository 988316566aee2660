"""What a season is worked out from: visits, irrigations, weather and dryness on one scale of days."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Noted, NoteList
from stressmap.geostat.drying_by_soil import MEASURES
from stressmap.geostat.drying_slopes import SLOPE_BAR_MM, USUAL_DRYING, DryingPriors
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed
from stressmap.jobs.season_weather import SeasonEt, dryness_days, season_et
from stressmap.jobs.season_windows import DrynessDays, SeasonReadings, season_readings
from stressmap.season.calendar_days import HORIZON_DAYS, day_numbers
from stressmap.season.dryness import SOIL_CLASS
from stressmap.season.irrigations import irrigations_of
from stressmap.season.last_year import as_last_season
from stressmap.season.ranch_dryness import LEAD_DAYS, ranch_water, season_before
from stressmap.season.valve_facts import valve_facts
from stressmap.season.visit_course import Came, VisitDays


@dataclass(frozen=True)
class Gathered:
    """What a season is worked out from.

    Parameters
    ----------
    inputs : Inputs
        The files.
    readings : SeasonReadings
        Of V visits.
    visits : VisitDays
        Their days, targets and baselines.
    facts : DataFrame, Z rows
        Of the valve zones.
    block : array of int, shape (Z,)
        Position of each zone's block.
    irrigations : DataFrame
        Up to today.
    came : Came or None
        They as arrays; None without a log.
    et : SeasonEt
        Evapotranspiration.
    dryness : DrynessDays
        Of the valve zones.
    soil, use_share : array of float, shape (Z,)
        The measure by which dryness counts on their soil, and what trees use of the reference.
    last_season : dict of str to (float, float)
        Water per bar and the standard error of its logarithm, by block.
    """

    inputs: Inputs
    readings: SeasonReadings
    visits: VisitDays
    facts: pd.DataFrame
    block: Ints
    irrigations: pd.DataFrame
    came: Came | None
    et: SeasonEt
    dryness: DrynessDays
    soil: Floats
    use_share: Floats
    last_season: dict[str, tuple[float, float]]

    @property
    def today(self) -> int:
        """Day from which on is looked ahead."""
        return self.et.today

    @property
    def first(self) -> int:
        """Day of the first visit."""
        return int(np.floor(self.readings.day[0]))

    @property
    def rise_mm(self) -> Floats:
        """Dryness that a millimetre of reference evapotranspiration brings each zone, shape (Z,)."""
        return np.asarray(self.soil * (1.0 + self.use_share) / 2.0 if self.dryness.known else self.soil)


def gather(
    inputs: Inputs, visits: tuple[Assessed, ...], drying: DryingPriors = USUAL_DRYING
) -> Noted[Gathered]:
    """Gather what a season is worked out from.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    visits : tuple of Assessed
        From :func:`stressmap.jobs.season_windows.season_visits`.
    drying : DryingPriors, optional
        What is believed of drying beforehand.

    Returns
    -------
    Noted of Gathered
    """
    notes, chosen, orchard = NoteList(), inputs.settings, visits[-1].orchard
    today = _today(inputs, visits[-1])
    until = dt.date.fromordinal(today)
    water = ranch_water(inputs, orchard, visits[0].visit[0], until, drying.measures)
    first = visits[0].visit[0].toordinal() - LEAD_DAYS if water is None else water.first.toordinal() + 1
    # The log may begin after the first visit.
    et = notes.keep(season_et(inputs, min(first, today, visits[0].visit[0].toordinal()), today))
    facts = valve_facts(inputs.valves, orchard, chosen)
    zone_of = {valve: k for k, valve in enumerate(facts["valve"])}
    log = None if inputs.irrigation is None else inputs.irrigation
    irrigations = irrigations_of(log, zone_of, facts["rate_mm_h"].to_numpy(np.float64))
    came = None if log is None or log.empty else _came(irrigations, chosen.ranch.zone)
    readings = season_readings(inputs, visits, water, drying.slopes)
    held = tuple(one.blocks for one in visits)
    position = {name: k for k, name in enumerate(inputs.blocks["block"])}
    before = season_before(inputs)
    if water is None:
        share = np.ones(len(facts))
        # without a log the slope is the usual one, whatever is lent: the measure makes up for it
        times = drying.slopes.bar_mm / SLOPE_BAR_MM
        of_soil = {**MEASURES, **drying.measures}
        kinds = facts["soil"].map(SOIL_CLASS).fillna("loam")
        believed = np.asarray(kinds.map(of_soil), dtype=np.float64) * times
        soil = as_last_season(believed, share, facts["block"].tolist(), before)
    else:
        soil, share = water.soil, water.use_share()
    return notes.beside(
        Gathered(
            inputs, readings, VisitDays(tuple(one.visit for one in visits), readings.day, held), facts,
            facts["block"].map(position).to_numpy(np.int64), irrigations, came, et,
            dryness_days(water, et, len(facts)), np.asarray(soil, dtype=np.float64),
            share, before,
        )
    )  # fmt: skip


def _today(inputs: Inputs, last: Assessed) -> int:
    """Give the last day that is known: of the visit, or of the log where that goes on."""
    end, log = last.visit[1].toordinal(), inputs.irrigation
    if log is None or log.empty:
        return end
    return int(max(end, min(log["end"].max().date().toordinal(), end + HORIZON_DAYS)))


def _came(irrigations: pd.DataFrame, zone: object) -> Came:
    start, end = (day_numbers(irrigations[name], zone) for name in ("start", "end"))  # type: ignore[arg-type]
    return Came(irrigations["zone"].to_numpy(np.int64), start, end, irrigations["mm"].to_numpy(np.float64))
