"""Earlier visits and the one that is mapped: their readings join its fit, and what came of it is said."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.agronomy.orchard import Orchard
from stressmap.core.arrays import Floats, Ints
from stressmap.core.errors import StressmapError
from stressmap.core.notes import Note, Noted
from stressmap.core.progress import Progress, Silent
from stressmap.geostat.borrowed_model import lent_drying
from stressmap.geostat.cross_validation import score
from stressmap.geostat.drying_slopes import USUAL_DRYING, USUAL_SLOPES, DryingPriors, Dryness, SlopePriors
from stressmap.geostat.memory_mixture import Recalled, log_scores, one_visit, remember
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.surface import Surface
from stressmap.geostat.visit_series import VisitSeries
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed, Visit, assess_visit
from stressmap.quality.visit import visits_before
from stressmap.season.ranch_dryness import RanchWater, ranch_water, season_before
from stressmap.zoning.reading_arrays import usable_samples

CLEARLY_WORSE = 3.0
"""Loss of log score over all readings left out by which borrowed drying is refused: odds of one to twenty."""
LEAST_GAIN = 0.01
"""Share by which memory must lower the error of left-out readings to be said to have helped."""


@dataclass(frozen=True)
class RecalledVisits:
    """What was remembered of earlier visits.

    Parameters
    ----------
    visits : tuple of (date, date)
        First and last day of each earlier visit that took part, in order.
    read : mapping of str to int
        How many of them read each block.
    recalled : Recalled
        What the fit came to, blocks by their position.
    blocks : tuple of str
        Names of the blocks.
    """

    visits: tuple[Visit, ...]
    read: dict[str, int]
    recalled: Recalled
    blocks: tuple[str, ...]

    @property
    def news(self) -> tuple[str, ...]:
        """Blocks that are not what they were: their earlier visits hardly count."""
        return tuple(self.blocks[code] for code in self.recalled.news if self.read.get(self.blocks[code]))

    def visits_used(self, blocks: pd.Series) -> list[int]:
        """Count the visits whose readings of a block count, that of the map too."""
        news = set(self.news)
        return [1 + (0 if name in news else self.read.get(name, 0)) for name in blocks]

    def as_plain(self) -> dict[str, Any]:
        """Give all as plain numbers and text for ``run.json``."""
        found = dataclasses.asdict(self.recalled)
        foretold, log = found.pop("foretold"), found.pop("log")
        share = {self.blocks[code]: round(r, 4) for code, r in sorted(found.pop("share").items())}
        return {
            "visits": [[day.isoformat() for day in visit] for visit in self.visits],
            "readings": found.pop("readings"),
            **{name: round(value, 4) for name, value in found.items() if name != "visits"},
            "share_by_block": share,
            "visits_predicted": [self._foretold(one) for one in foretold],
            "log": None if log is None else self._of_log(*log),
            "not_what_they_were": list(self.news),
        }

    def _foretold(self, one: dict[str, Any]) -> dict[str, Any]:
        """Say how a visit is predicted from those before it; the last one is that of the map."""
        day = self.visits[one["visit"]][0].isoformat() if one["visit"] < len(self.visits) else None
        figures = {name: one[name] for name in ("without_bar", "with_bar")}
        return {"visit": day, **{n: round(x, 4) if np.isfinite(x) else None for n, x in figures.items()}}

    def _of_log(self, without: float, with_it: float) -> dict[str, Any]:
        """Say whether the log helped."""
        helped = with_it < (1 - LEAST_GAIN) * without
        return {"without_bar": round(without, 4), "with_bar": round(with_it, 4), "helped": helped}

    def notes(self) -> tuple[Note, ...]:
        """Say how many visits, how much lasts, whether it helped, and which blocks are not what they were."""
        r = self.recalled
        helped = r.with_bar < (1 - LEAST_GAIN) * r.without_bar
        told = {
            "count": r.visits,
            "first": self.visits[0][0],
            "percent": round(100 * r.lasting_share),
            "with_bar": r.with_bar,
            "without_bar": r.without_bar,
        }
        said = [Note.of("memory_helped", **told) if helped else Note.of("memory_hardly_helped", **told)]
        if r.log is not None:
            without, with_it = r.log
            figures = {"with_bar": with_it, "without_bar": without}
            helped = with_it < (1 - LEAST_GAIN) * without
            said.append(
                Note.of("log_helped", **figures) if helped else Note.of("log_hardly_helped", **figures)
            )
        if self.news:
            said.append(Note.of("memory_news", blocks=self.news))
        return tuple(said)


@dataclass(frozen=True)
class Remembered:
    """The surface that is mapped, and what earlier visits had to do with it.

    Parameters
    ----------
    surface : Surface
        With memory, or as it was.
    memory : RecalledVisits or None
        None where no earlier visit takes part.
    earlier : tuple of Assessed
        The earlier visits that take part, in order.
    drying : DryingPriors
        What is believed of drying beforehand: as usual, or as other ranches lend it.
    """

    surface: Surface
    memory: RecalledVisits | None = None
    earlier: tuple[Assessed, ...] = ()
    drying: DryingPriors = USUAL_DRYING

    def as_plain(self) -> dict[str, Any] | None:
        """Give what was remembered as plain numbers and text for ``run.json``; None for nothing."""
        return None if self.memory is None else self.memory.as_plain()


def recall(
    inputs: Inputs, assessed: Assessed, surface: Surface, progress: Progress | None = None
) -> Noted[Remembered]:
    """Let the readings of earlier visits take part in the map.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    assessed : Assessed
        The visit that is mapped.
    surface : Surface
        Fitted to it alone.
    progress : Progress, optional
        Told of the stage.

    Returns
    -------
    Noted of Remembered
        The surface as it was, without a note, where memory is off, the method is not the structured one, or
        no earlier reading can be used and no drying is borrowed.
    """
    most = inputs.settings.memory.visits
    days = visits_before(inputs.readings, assessed.visit)[-most:] if most else []
    if not isinstance(surface, StructuredSurface):
        return Noted(Remembered(surface))
    if not days:
        return by_borrowed_drying(inputs, assessed, surface) if most else Noted(Remembered(surface))
    tell = progress or Silent()
    tell.stage("Recalling earlier visits", len(days) + 1)
    found = []
    for visit in days:
        one = assessed_before(inputs, assessed, visit)
        found += [] if one is None else [one]
        tell.step()
    every = [*found, assessed]
    tables = [one.readings[one.readings["used"]] for one in every]
    visits = [one.visit for one in every]
    drying = lent_drying(surface.options.lent)
    series = _series(inputs, assessed.orchard, tables, visits, drying) if found else None
    both = None if series is None else remember(surface, series)
    tell.step()
    if both is None:
        return Noted(Remembered(surface, drying=drying))
    read = Counter(name for table in tables[:-1] for name in table["block"].unique())
    memory = RecalledVisits(tuple(visits[:-1]), dict(read), both.recalled, tuple(inputs.blocks["block"]))
    said = memory.notes()
    if series is not None and series.dryness is not None:
        said += _of_last_season(inputs)
    return Noted(Remembered(both, memory, tuple(found), drying), said)


def _of_last_season(inputs: Inputs) -> tuple[Note, ...]:
    """Say for which blocks the season before tells how they dry."""
    known = season_before(inputs)
    blocks = [name for name in inputs.blocks["block"] if name in known]
    return (Note.of("season_prior", blocks=blocks),) if blocks else ()


def assessed_before(inputs: Inputs, assessed: Assessed, visit: Visit) -> Assessed | None:
    """Check the readings of an earlier visit.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    assessed : Assessed
        The visit that is mapped.
    visit : tuple of date
        First and last day of the earlier one.

    Returns
    -------
    Assessed or None
        None where none can be used.
    """
    day = inputs.readings["time"].dt.tz_localize(None).dt.normalize()
    # readings are judged day by day: the rows of other visits would be looked at again for every one
    own = inputs.readings[day.between(*(pd.Timestamp(one) for one in visit))].reset_index(drop=True)
    try:
        return assess_visit(replace(inputs, readings=own), assessed.orchard, visit).value
    except StressmapError:
        return None


def by_borrowed_drying(inputs: Inputs, assessed: Assessed, surface: StructuredSurface) -> Noted[Remembered]:
    """Let the log take part in the map of a first visit, by the drying that other ranches lend.

    One visit alone cannot tell how fast its trees dry; with a slope of ranches that know theirs it need not.

    Parameters
    ----------
    inputs, assessed
        As for :func:`recall`.
    surface : StructuredSurface
        Fitted to the visit alone.

    Returns
    -------
    Noted of Remembered
        The surface as it was where no drying is lent, no log tells the dryness, or the readings left out are
        clearly missed by more with it.
    """
    drying = lent_drying(surface.options.lent)
    if drying is USUAL_DRYING:
        return Noted(Remembered(surface))
    table = assessed.readings[assessed.readings["used"]]
    series = _series(inputs, assessed.orchard, [table], [assessed.visit], drying)
    if series.dryness is None:
        return Noted(Remembered(surface, drying=drying))
    dried = one_visit(series, surface)
    value = surface.samples.value
    found = {"without": surface.leave_one_out(), "with": dried.leave_one_out()}
    gain = float(np.nansum(log_scores(value, *found["with"]) - log_scores(value, *found["without"])))
    figures = {f"{name}_bar": score(value, *one).rmse_bar for name, one in found.items()}
    if gain < -CLEARLY_WORSE:
        return Noted(Remembered(surface), (Note.of("drying_not_borrowed", **figures),))
    return Noted(Remembered(dried, drying=drying), (Note.of("drying_borrowed", **figures),))


def _series(
    inputs: Inputs,
    orchard: Orchard,
    tables: list[gpd.GeoDataFrame],
    visits: list[Visit],
    drying: DryingPriors,
) -> VisitSeries:
    """Take the usable readings of all visits as arrays, a tree with one code at all of them."""
    raster = inputs.covariate
    together = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=inputs.crs)
    samples = usable_samples(
        together, inputs.blocks, inputs.valves, covariate=None if raster is None else raster.at
    )
    number = np.repeat(np.arange(len(tables)), [len(table) for table in tables])
    day = np.array([(_ordinal(first) + _ordinal(last)) / 2 for first, last in visits])
    dryness = None
    water = ranch_water(inputs, orchard, visits[0][0], visits[-1][1], drying.measures)
    if water is not None:
        read_on = np.array([_ordinal(time.date()) for time in together["time"]])
        dryness = dryness_of_readings(water, samples.places.valve, read_on, day, drying.slopes)
    return VisitSeries.of(samples, number, day, dryness)


def dryness_of_readings(
    water: RanchWater, valve: Ints, read_on: Floats, visits: Floats, slopes: SlopePriors = USUAL_SLOPES
) -> Dryness:
    """Give how dry valve zones were at the readings, and at the visits.

    Parameters
    ----------
    water : RanchWater
        Weather and sets.
    valve : array of int, shape (n,)
        Valve zone of each reading, -1 for none: as dry as the others.
    read_on, visits : array
        Days of the readings, shape (n,), and of the visits, shape (V,); ordinals.
    slopes : SlopePriors
        What is believed of slopes with it.

    Returns
    -------
    Dryness
    """
    days, at = np.unique(read_on, return_inverse=True)
    found = water.dryness_on(days)
    found = np.column_stack([found, found.mean(axis=1)])
    return Dryness(found[at.reshape(-1), valve], water.dryness_on(visits), slopes, water.soil_zones())


def _ordinal(day: dt.date) -> float:
    return float(day.toordinal())
