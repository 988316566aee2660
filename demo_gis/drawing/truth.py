"""What is true on the ranch: every tree's stem water potential at every visit, and valve zones' means."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from drawing.drying import depletion_mm, drying_bar
from drawing.ground import Floats, soil_pattern, stream
from drawing.irrigation import log
from drawing.plans import TREE_SD_BAR, VALVE_SD_BAR, Block, Crop, Ranch, Visit
from drawing.weather import deficit_kpa

YOUNG_YEARS = 4
FLOOR_BAR = 0.25
"""How softly a tree comes to rest on the fully watered line [bar]."""


def target_bar(crop: Crop, day: dt.date) -> float:
    """Season target on a day: linear between its points, flat before and after, over the year's end."""
    points = [(dt.date(2000, *map(int, at.split("-"))), bar) for at, bar in crop.season_target]
    first = points[0][0]
    here = dt.date(2000, day.month, day.day)
    # Days count from half a year before the season begins, so that the year's end lies inside it.
    start = (first - dt.date(2000, 1, 1)).days - 120
    at = [((when - dt.date(2000, 1, 1)).days - start) % 366 for when, _ in points]
    now = ((here - dt.date(2000, 1, 1)).days - start) % 366
    return float(np.interp(now, at, [bar for _, bar in points]))


def baseline_bar(crop: Crop, vpd_kpa: Floats) -> Floats:
    """What a fully watered tree shows [bar]."""
    return crop.intercept_bar + crop.slope_bar_per_kpa * vpd_kpa


def visit_weather_kpa(visit: Visit, weather: pd.DataFrame) -> float:
    """Mean deficit between 13:00 and 15:00 over the days of a visit [kPa]."""
    minutes = [
        moment for day in visit.days for moment in pd.date_range(f"{day} 13:00", f"{day} 15:00", freq="10min")
    ]
    return float(deficit_kpa(weather, pd.DatetimeIndex(minutes)).mean())


@dataclass(frozen=True)
class Ground:
    """What lies under the trees: pattern and own difference of each, each valve's depletion by day [mm]."""

    pattern: Floats
    own: Floats
    zones: pd.DataFrame
    depletion: pd.DataFrame


def _usual_kpa(ranch: Ranch, visit: Visit, weather: pd.DataFrame) -> float:
    """Usual deficit at midday around a visit; the visit's own where no season is drawn [kPa]."""
    if not ranch.drying:
        return visit_weather_kpa(visit, weather)
    about = pd.date_range(*(visit.days[0] + dt.timedelta(days=days) for days in (-15, 15)), freq="D")
    return visit_weather_kpa(dataclasses.replace(visit, days=tuple(day.date() for day in about)), weather)


def valve_effects(ranch: Ranch, trees: pd.DataFrame, visit: Visit) -> dict[str, float]:
    """Step of each valve zone at a visit [bar]: small ones everywhere, and the faults that have begun."""
    names = list(dict.fromkeys(trees["valve"]))
    small = stream(ranch, 5).normal(0.0, VALVE_SD_BAR, len(names))
    steps = {name: visit.growth * float(step) for name, step in zip(names, small, strict=True)}
    for fault in ranch.faults:
        if fault.since <= visit.days[0]:
            steps[fault.valve] = visit.growth * fault.bar
    return steps


def tree_truth(
    ranch: Ranch, zones: pd.DataFrame, trees: pd.DataFrame, weather: pd.DataFrame
) -> list[pd.DataFrame]:
    """Give every tree's true figures, a table per visit, in the weather of the middle of that visit."""
    pattern = soil_pattern(ranch, trees)
    own = stream(ranch, 6).normal(0.0, TREE_SD_BAR, len(trees))
    ground = Ground(pattern, own, zones, depletion_mm(ranch, zones, log(ranch, zones), weather))
    return [_at_visit(ranch, trees, visit, weather, ground) for visit in ranch.visits]


def _at_visit(
    ranch: Ranch, trees: pd.DataFrame, visit: Visit, weather: pd.DataFrame, ground: Ground
) -> pd.DataFrame:
    blocks = {block.name: block for block in ranch.blocks}
    crop = trees["block"].map(lambda name: blocks[name].crop)
    vpd = visit_weather_kpa(visit, weather)
    targets = {block.name: _block_target(ranch, block, visit) for block in ranch.blocks}
    target = trees["block"].map(targets).to_numpy()
    baseline = crop.map(lambda name: float(baseline_bar(ranch.crops[name], np.float64(vpd)))).to_numpy()
    effect = trees["block"].map(lambda name: blocks[name].effect_bar).to_numpy()
    step = trees["valve"].map(valve_effects(ranch, trees, visit)).to_numpy()
    dry = trees["valve"].map(drying_bar(ranch, ground.zones, ground.depletion, visit)).to_numpy()
    stress = visit.mean_bar + visit.growth * (effect + ground.pattern) + step + ground.own + dry
    # The target is for usual weather; on a hot day trees stand as far below their line as on a cool one.
    shift = crop.map(lambda name: ranch.crops[name].slope_bar_per_kpa).to_numpy() * (
        _usual_kpa(ranch, visit, weather) - vpd
    )
    # No tree is wetter than a fully watered one: it rests softly on that line.
    dryness = FLOOR_BAR * np.logaddexp(0.0, (baseline + shift - target + stress) / FLOOR_BAR)
    table = trees.assign(crop=crop, target_bar=target, baseline_bar=baseline)
    table["depletion_mm"] = trees["valve"].map(
        ground.depletion.loc[[pd.Timestamp(day) for day in visit.days]].mean()
    )
    return table.assign(
        drying_bar=dry, swp_bar=baseline - dryness, below_target_bar=target - baseline + dryness
    )


def _block_target(ranch: Ranch, block: Block, visit: Visit) -> float:
    """Season target of a block over the days of a visit; young trees are not let down as far."""
    crop = ranch.crops[block.crop]
    target = float(np.mean([target_bar(crop, day) for day in visit.days]))
    young = visit.days[0].year - block.planted < YOUNG_YEARS
    return max(target, crop.young_bar) if young else target


def valve_truth(ranch: Ranch, zones: pd.DataFrame, by_visit: list[pd.DataFrame]) -> pd.DataFrame:
    """Average the trees of each valve zone at each visit, and name what ails it."""
    area = zones.set_index("valve")["shape"].map(lambda shape: round(shape.area / 1e4, 3))
    ailing = {fault.valve: fault for fault in ranch.faults}
    tables = []
    for visit, trees in zip(ranch.visits, by_visit, strict=True):
        means = trees.groupby("valve", sort=False).agg(
            block=("block", "first"),
            crop=("crop", "first"),
            trees=("tree_id", "size"),
            swp_bar=("swp_bar", "mean"),
            target_bar=("target_bar", "mean"),
            baseline_bar=("baseline_bar", "mean"),
            below_target_bar=("below_target_bar", "mean"),
            depletion_mm=("depletion_mm", "mean"),
            drying_bar=("drying_bar", "mean"),
        )
        means = means.sort_index().reset_index()
        begun = [name in ailing and ailing[name].since <= visit.days[0] for name in means["valve"]]
        means["cause"] = [
            ailing[name].cause if on else "" for name, on in zip(means["valve"], begun, strict=True)
        ]
        means.insert(0, "visit", visit.days[0].isoformat())
        means.insert(4, "area_ha", means["valve"].map(area))
        tables.append(means if ranch.drying else means.drop(columns=["depletion_mm", "drying_bar"]))
    return pd.concat(tables, ignore_index=True).round(3)


def fault_truth(ranch: Ranch, zones: pd.DataFrame) -> pd.DataFrame:
    """List what ails which valve since when, and blocks that are irrigated or dried in a way of their own."""
    block_of = zones.set_index("valve")["block"]
    rows = [
        {"block": block_of[fault.valve], "valve": fault.valve, "since": fault.since.isoformat(),
         "cause": fault.cause, "arrives": fault.arrives, "step_bar": fault.bar}
        for fault in ranch.faults
    ]  # fmt: skip
    for block in ranch.blocks:
        start = ranch.climate.start
        if block.rhythm:
            rows.append({"block": block.name, "valve": "", "since": start.isoformat(), "cause": block.rhythm})
        if block.thirst > 1:
            since = start + dt.timedelta(days=block.thirst_after_days)
            rows.append(
                {"block": block.name, "valve": "", "since": since.isoformat(), "cause": "let down too fast"}
            )
    return pd.DataFrame(rows, columns=["block", "valve", "since", "cause", "arrives", "step_bar"])
