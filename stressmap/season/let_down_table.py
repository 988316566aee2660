"""The let-down of every block and crop: paces, standing, and where they lead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.season.let_down import WINDOW_DAYS, Pace, leads_to, line_of, pace_of, standing

COLUMNS = (
    "block", "crop", "visits", "readings", "gauge_bar_per_week", "gauge_low", "gauge_high",
    "weather_bar_per_week", "target_bar_per_week", "trees_bar_per_week", "standing", "below_line_bar",
    "below_line_se_bar", "limit_bar", "limit_day", "limit_early", "limit_late", "harvest", "at_harvest_bar",
    "at_harvest_low_bar", "at_harvest_high_bar", "allowance_at_harvest_bar",
)  # fmt: skip
"""``gauge`` is the trees' tension in each visit's middle weather, ``weather`` the fully watered line,
``target`` what is planned, ``trees`` the gauge less the weather; a week, positive is drier. What follows
``standing`` is below the fully watered line."""
EMPTY_IS_NONE = ("block", "limit_day", "limit_early", "limit_late", "harvest")


@dataclass(frozen=True)
class Plans:
    """What is planned for one block.

    Parameters
    ----------
    line, target : array of float, shape (V,)
        Baseline and target at the visits [bar].
    below : tuple of float
        How far its trees are below the line at the last visit, and the standard error [bar].
    limit_bar : float
        How far below the line its crop is harmed.
    harvest : date or None
        The next.
    allowed_then : float
        Its allowance on that day [bar].
    area_ha : float
        Its area.
    """

    line: Floats
    target: Floats
    below: tuple[float, float]
    limit_bar: float
    harvest: dt.date | None
    allowed_then: float
    area_ha: float


def let_down_table(
    trees: pd.DataFrame, day: Floats, plans: Mapping[str, Plans], crops: Mapping[str, str], today: dt.date
) -> pd.DataFrame:
    """Put the let-down together.

    Parameters
    ----------
    trees : DataFrame, n rows
        ``visit_number``, ``tree``, ``block``, ``swp_bar`` (in the visit's middle weather),
        ``days_since_water``.
    day : array of float, shape (V,)
        Of the visits.
    plans : mapping of str to Plans
        By block.
    crops : mapping of str to str
        Crop of each block.
    today : date
        Of the last visit.

    Returns
    -------
    DataFrame
        :data:`COLUMNS`: a row per block, then one per crop of several blocks (``block`` None).
    """
    recent = trees[day[trees["visit_number"].to_numpy(np.int64)] >= day[-1] - WINDOW_DAYS]
    by_block = dict(list(recent.groupby("block")))
    paces, rows = {}, []
    for block, plan in plans.items():
        own = by_block.get(block, recent.iloc[:0])
        paces[block] = _pace(own, day)
        counts = {"visits": own["visit_number"].nunique(), "readings": len(own)}
        rows.append(
            {"block": block, "crop": crops[block], **counts, **_row(own, paces[block], plan, day, today)}
        )
    for crop in dict.fromkeys(crops.values()):
        names = [block for block in plans if crops[block] == crop]
        if len(names) > 1:
            rows.append({"block": None, "crop": crop, **_of_crop(names, paces, plans, rows)})
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    kept = table[[*EMPTY_IS_NONE]].astype(object)
    return table.assign(**{name: kept[name].where(kept[name].notna(), None) for name in EMPTY_IS_NONE})


def _pace(own: pd.DataFrame, day: Floats) -> Pace:
    since = own["days_since_water"].to_numpy(np.float64)
    when = day[own["visit_number"].to_numpy(np.int64)]
    tension = -own["swp_bar"].to_numpy(np.float64)
    known = np.isfinite(tension)
    tree = own["tree"].to_numpy(np.int64)
    return pace_of(when[known], tension[known], tree[known], since[known])


def _known_pace(own: pd.DataFrame, pace: Pace, day: Floats, bar: Floats) -> float:
    """Give how a line that is known moved a week, by what each reading counts for the pace of the gauge.

    So a hot day that drives both does not set them apart. Without a pace by all late visits.
    """
    if not len(pace.weights):
        late = day >= day[-1] - WINDOW_DAYS
        return line_of(day[late], bar[late])
    visit = own["visit_number"].to_numpy(np.int64)[np.isfinite(own["swp_bar"].to_numpy(np.float64))]
    return float(pace.weights @ bar[visit])


def _row(own: pd.DataFrame, pace: Pace, plan: Plans, day: Floats, today: dt.date) -> dict[str, Any]:
    weather, target = (_known_pace(own, pace, day, -bar) for bar in (plan.line, plan.target))
    grows = Pace(pace.per_week - np.nan_to_num(weather), pace.se, pace.wide)
    on = leads_to(plan.below, grows, today, plan.limit_bar, plan.harvest)
    return {
        "gauge_bar_per_week": pace.per_week,
        "gauge_low": pace.low,
        "gauge_high": pace.high,
        "weather_bar_per_week": weather,
        "target_bar_per_week": target,
        "trees_bar_per_week": pace.per_week - weather,
        "standing": standing(pace, target),
        "below_line_bar": plan.below[0],
        "below_line_se_bar": plan.below[1],
        "limit_bar": plan.limit_bar,
        "limit_day": on.limit_day,
        "limit_early": on.limit_early,
        "limit_late": on.limit_late,
        "harvest": plan.harvest,
        "at_harvest_bar": on.at_harvest,
        "at_harvest_low_bar": on.at_harvest_low,
        "at_harvest_high_bar": on.at_harvest_high,
        "allowance_at_harvest_bar": plan.allowed_then,
    }


def _of_crop(
    names: list[str], paces: Mapping[str, Pace], plans: Mapping[str, Plans], rows: list[dict[str, Any]]
) -> dict[str, Any]:
    """Give the pace of a crop: the mean of its blocks by area, with the spread between them in its error."""
    own = [row for row in rows if row["block"] in names]
    known = [name for name in names if np.isfinite(paces[name].per_week)]
    found: dict[str, Any] = {"visits": max(row["visits"] for row in own)}
    found["readings"] = sum(row["readings"] for row in own)
    area = np.array([plans[name].area_ha for name in known])
    told = {row["block"]: row for row in own}

    def mean(column: str) -> float:
        return float(np.average([told[name][column] for name in known], weights=area)) if known else np.nan

    per_week = np.array([paces[name].per_week for name in known])
    share = area / area.sum() if known else area
    shared = share @ np.array([paces[name].shared_se for name in known])
    alone = np.array([paces[name].se ** 2 - paces[name].shared_se ** 2 for name in known])
    se = float(np.sqrt(share**2 @ alone + shared**2)) if known else np.nan
    if len(known) > 1:
        se = max(se, float(per_week.std(ddof=1) * np.sqrt(share @ share)))
    wide = float(np.mean([paces[name].wide for name in known])) if known else 0.0
    pace = Pace(mean("gauge_bar_per_week"), se, wide)
    target = mean("target_bar_per_week")
    return found | {
        "gauge_bar_per_week": pace.per_week,
        "gauge_low": pace.low,
        "gauge_high": pace.high,
        "weather_bar_per_week": mean("weather_bar_per_week"),
        "target_bar_per_week": target,
        "trees_bar_per_week": mean("trees_bar_per_week"),
        "standing": standing(pace, target),
        "below_line_bar": mean("below_line_bar"),
    }
