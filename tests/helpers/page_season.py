"""A small season drawn by hand, for the page that shows it: three blocks, six valves, four visits."""

import datetime as dt

import numpy as np
import pandas as pd

from stressmap.core.notes import Note
from stressmap.season.not_relieved import Alarm
from stressmap.season.season import DayByDay, Season

VISITS = tuple((dt.date(2026, 6, 23) + dt.timedelta(days=7 * k),) * 2 for k in range(4))
TODAY = VISITS[-1][1]
LIMIT_EARLY = dt.date(2026, 7, 26)
BLOCKS = {"North": ("prune", "loam", "drip"), "Sand": ("prune", "sandy loam", "micro_sprinkler"),
          "Old": ("walnut", None, "flood")}  # fmt: skip
VALVES = {"N1": "North", "N2": "North", "S1": "Sand", "S2": "Sand", "O1": "Old", "<O2>": "Old"}
STRESS = {"N1": 0.4, "N2": 1.1, "S1": 3.0, "S2": 4.6, "O1": 1.5, "<O2>": 0.2}
LEFT = {"N1": (8.0, 3.0, None), "N2": (5.0, 2.0, 11.0), "S1": (2.0, 0.0, 6.0), "S2": (0.0, 0.0, 0.0),
        "O1": (None, 15.0, None), "<O2>": (None, None, None)}  # fmt: skip


def season(blocks: int = 0) -> Season:
    """Draw it; ``blocks`` more blocks of two valves each make it large."""
    valves = dict(VALVES) | {f"V{b}-{i}": f"Block {b}" for b in range(blocks) for i in (1, 2)}
    plants = dict(BLOCKS) | {f"Block {b}": ("prune", "loam", "drip") for b in range(blocks)}
    stress = {valve: STRESS.get(valve, 1.0) for valve in valves}
    due = _due(valves, plants, stress)
    listed = due[due["due"].notna()].rename(columns={"due": "day"})
    calendar = listed[["day", "pump", "valve", "block", "due_early", "due_late", "area_ha"]]
    return Season(
        today=TODAY,
        visits=VISITS,
        next_visit=TODAY + dt.timedelta(days=7),
        course=_course(valves, plants, stress),
        cycles=_cycles(valves),
        compared=_compared(),
        due=due,
        calendar=calendar.sort_values(["day", "pump", "valve"]).reset_index(drop=True),
        let_down=_let_down(),
        alarms=(
            Alarm("dries_on", (3,), 1, dt.date(2026, 6, 26), 3, 2.6, 1.4, 3.8, 7.5,
                  ("pressure", "filter", "emitters", "valve", "log")),
        ),
        blocks=_blocks(plants),
        trees=_trees(),
        days=_days(valves, stress),
        phases=pd.DataFrame(
            [{"valve": "S1", "block": "Sand", "seen_days": 6.0, "interval_days": 7.0, "move_days": 3.0}]
        ),
        notes=(
            Note.of("season_readings", used=34, total=36, left=2, visits=4),
            Note.of("season_limit_open", "warning", first="Sand", early=LIMIT_EARLY, blocks=["Sand"]),
        ),
    )  # fmt: skip


def _course(valves: dict, plants: dict, stress: dict) -> pd.DataFrame:
    rows = []
    for k, (first, _) in enumerate(VISITS):
        for valve, block in valves.items():
            target, here = -10.0 - 0.6 * k, stress[valve] - 0.2 * (3 - k)
            rows.append(
                {"visit": first, "valve": valve, "block": block, "crop": plants[block][0], "readings": k % 3,
                 "swp_bar": target - here, "baseline_bar": -8.0 - 0.3 * k, "target_bar": target,
                 "vpd_kpa": 3.1, "stress_bar": here, "stress_se_bar": 0.6, "low_bar": here - 1.0,
                 "high_bar": here + 1.0, "days_since_water": 2.0 + k, "mm_since": 38.1 if k else np.nan,
                 "eto_since_mm": 49.0 if k else np.nan, "over_target_bar_days": 3.0 * k, "visit_number": k}
            )  # fmt: skip
    return pd.DataFrame(rows)


def _due(valves: dict, plants: dict, stress: dict) -> pd.DataFrame:
    rows = []
    for zone, (valve, block) in enumerate(valves.items()):
        left, low, high = LEFT.get(valve, (9.0, 4.0, None))
        due, early, late = (
            None if days is None else TODAY + dt.timedelta(days=int(days)) for days in (left, low, high)
        )
        rows.append(
            {"valve": valve, "block": block, "crop": plants[block][0], "pump": "Pump 1", "area_ha": 2.0,
             "zone": zone, "allowed_bar": 4.0, "known": True, "stress_bar": stress[valve],
             "stress_low_bar": stress[valve] - 1.0, "stress_high_bar": stress[valve] + 1.0,
             "drying_bar_per_day": 0.3, "drying_low": 0.2, "drying_high": 0.4, "days_left": left,
             "days_left_low": low, "days_left_high": high, "due": due, "due_early": early, "due_late": late,
             "interval_days": 7.0, "interval_advised_days": None if left is None else left + 5,
             "interval_low_days": None if low is None else low + 5,
             "interval_high_days": None if high is None else high + 5, "days_since_water": 5.0,
             "peak_bar": 3.0, "peak_low_bar": 2.0, "peak_high_bar": 4.2,
             "days_left_hot": None if left is None else max(0.0, left - 1.5), "before_next_visit": "no"}
        )  # fmt: skip
    made = pd.DataFrame(rows)
    numbers = [name for name in made.columns if "days" in name or name.endswith("_bar")]
    made[numbers] = made[numbers].astype(float)
    return made.sort_values("days_left", kind="stable", na_position="last").reset_index(drop=True)


def _cycles(valves: dict) -> pd.DataFrame:
    rows = []
    for zone, (valve, block) in enumerate(valves.items()):
        for k in range(3):
            start = pd.Timestamp("2026-06-20 20:00", tz="America/Los_Angeles") + pd.Timedelta(days=8 * k)
            rows.append(
                {"valve": valve, "block": block, "start": start, "end": start + pd.Timedelta(hours=40),
                 "mm": 48.0, "before_bar": 2.4, "after_bar": 0.9, "relief_bar": 1.5, "relief_low_bar": 0.4,
                 "relief_high_bar": 2.6, "recovered": 0.62, "seen": ("both", "before", "neither")[k],
                 "zone": zone, "hours": 40.0, "sets": 1, "drying_days": 5.0, "drying_bar_per_day": 0.3,
                 "drying_bar_per_mm": 0.05, "manner": "like_flood" if block == "North" else ""}
            )  # fmt: skip
    return pd.DataFrame(rows)


def _compared() -> pd.DataFrame:
    kinds = (("soil", "sandy loam"), ("soil", "loam"), ("system", "drip"), ("crop", "prune"))
    return pd.DataFrame(
        [
            {"by": by, "kind": kind, "cycles": 6 + k, "seen": k, "relief_bar": 1.5 + 0.1 * k,
             "relief_low_bar": 0.4,
             "relief_high_bar": 2.6, "recovered": 0.62, "drying_bar_per_day": 0.31,
             "drying_bar_per_mm": 0.05}
            for k, (by, kind) in enumerate(kinds)
        ]
    )  # fmt: skip


def _let_down() -> pd.DataFrame:
    one = {"crop": "prune", "gauge_bar_per_week": 1.3, "gauge_low": 0.9, "gauge_high": 1.7,
           "weather_bar_per_week": 0.5, "target_bar_per_week": 0.6, "limit_day": dt.date(2026, 8, 2),
           "limit_early": dt.date(2026, 7, 26), "limit_late": None,
           "harvest": dt.date(2026, 8, 25), "at_harvest_bar": 9.1,
           "at_harvest_low_bar": 6.0, "at_harvest_high_bar": 12.2,
           "allowance_at_harvest_bar": 7.5}  # fmt: skip
    return pd.DataFrame(
        [one | {"block": "Sand", "standing": "ahead"}, one | {"block": None, "standing": "on_course"}]
    )


def _blocks(plants: dict) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {"block": block, "crop": crop, "soil": soil, "system": system, "area_ha": 4.0, "visits": 4,
             "readings": 9, "cycles": 6, "cycles_seen": 1 if block == "Old" else 2, "water_mm": 288.0,
             "over_target_bar_days": 21.4, "alarms": int(block == "Sand"), "drying_bar_per_mm": 0.05,
             "mm_per_bar": 18.0, "mm_per_bar_low": 12.0, "mm_per_bar_high": 27.0, "relief_bar": 1.5,
             "recovered": 0.62, "prior_used": False}
            for block, (crop, soil, system) in plants.items()
        ]
    )  # fmt: skip


def _trees() -> pd.DataFrame:
    rows = [
        {"visit_number": k, "day": float(VISITS[k][0].toordinal()), "tree": tree, "tree_id": f"T-{tree}",
         "block": "Sand", "valve": "S1", "crop": "prune", "swp_bar": -11.0 - 0.4 * k - tree,
         "stress_bar": 1.0, "read_again": tree == 0}
        for tree in (0, 1)
        for k in (range(4) if tree == 0 else [2])
    ]  # fmt: skip
    return pd.DataFrame(rows)


def _days(valves: dict, stress: dict) -> DayByDay:
    first, count = VISITS[0][0], (TODAY - VISITS[0][0]).days
    saw = (np.arange(count + 22) % 8)[:, None] * 0.25 - 1.0
    mean = np.array([stress[valve] for valve in valves])[None, :] + saw
    return DayByDay(first, count, tuple(valves), mean, np.full_like(mean, 0.6), mean[count:] + 0.2)
