"""No plan breaks the manners of watering: random ranches with all of them, before an independent checker.

A hundred are looked at here; ``tests/benchmarks/manners.py`` looks at as many as asked (docs/benchmarks.md).
"""

import datetime as dt
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import pytest
from helpers.manners_cases import DrawnRanch, drawn_ranch
from helpers.manners_checker import bad_manners, idle_heads, needless_dear_sets
from helpers.manners_facts import Ranch, Valve
from helpers.water_checker import violations

from stressmap.core.errors import SettingsError

CASES, BATCH = 100, 20


@pytest.mark.parametrize("batch", range(CASES // BATCH))
def test_no_plan_breaks_the_manners(batch: int) -> None:
    watered = impossible = 0
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        drawn = drawn_ranch(seed)
        try:
            plan, sets = drawn.tables()
        except SettingsError:
            impossible += 1
            continue
        assert bad_manners(drawn.facts, plan, sets) == [], seed
        assert violations(drawn.limits(), plan, sets) == [], seed
        watered += bool(sets)
    assert watered > BATCH / 2
    assert impossible < 0.2 * BATCH


FIRST = dt.date(2026, 7, 16)
SOUND = Ranch(
    zone="UTC", first=FIRST, next_turn=dt.date(2026, 7, 23),
    visit=(dt.date(2026, 7, 14), dt.date(2026, 7, 15)),
    valves=(
        Valve("D1", "drip", "prune", "drip", 1.0, 4.0, pump="P", trees=3),
        Valve("D2", "drip", "prune", "drip", 1.0, 4.0, pump="P"),
        Valve("W3", "nuts", "walnut", "micro_sprinkler", 1.5, 4.0, pump="P"),
        Valve("F4", "checks", "prune", "flood", 10.0, 2.0, pump="P", gate=1.0),
        Valve("F5", "checks", "prune", "flood", 10.0, 2.0, pump="P", gate=2.0),
    ),
    water={
        "days": 7, "pumps": {"P": 400.0}, "available": 9000.0, "sources": {"P": 8000.0},
        "travel_minutes": 14.0,
    },
)  # fmt: skip
"""A crew turns two valves in half an hour. The crops use 7 mm a day: 49 mm of the week on every row."""
SETS = (
    ("D1", 0, 14),
    ("D1", 48, 14),
    ("D2", 2, 14),
    ("W3", 4, 16),
    ("W3", 80, 16),
    ("F4", 6, 8),
    ("F5", 30, 8),
)
Sets = tuple[tuple[str, float, float], ...]


def judged(ranch: Ranch, sets: Sets, **rows: str) -> list[str]:
    """Sets as valve, hour of the plan and hours; ``inspect`` of valves by their name."""
    return bad_manners(ranch, plan_of(ranch, **rows), sets_of(ranch, sets))


def plan_of(ranch: Ranch, **rows: str) -> list[dict]:
    return [
        {"valve": one.name, "etc_until_mm": 49.0, "inspect": rows.get(one.name, "")} for one in ranch.valves
    ]


def sets_of(ranch: Ranch, sets: Sets) -> list[dict]:
    begin, hour = pd.Timestamp(FIRST, tz=ranch.zone), pd.Timedelta(hours=1)
    return [
        {"valve": name, "start": begin + start * hour, "end": begin + (start + length) * hour}
        for name, start, length in sets
    ]


def changed(valve: str, **own: Any) -> Ranch:
    return replace(
        SOUND, valves=tuple(replace(one, **own) if one.name == valve else one for one in SOUND.valves)
    )


def with_water(**own: Any) -> Ranch:
    return replace(SOUND, water={**SOUND.water, **own})


def test_the_checker_finds_nothing_in_a_sound_plan() -> None:
    assert judged(SOUND, SETS) == []


@pytest.mark.parametrize(
    ("sets", "told"),
    [
        ((("D1", 0, 17),), "at most 16 h"),  # longer than usual for drip
        ((("W3", 0, 25),), "at most 24 h"),
        ((("F4", 6, 10),), "100.0 mm; at most 9.8"),  # over the root zone of loam
        ((("D1", 0, 7),), "a token set of 7 h"),
        ((("F4", 6, 6),), "a token set of 6 h"),
        ((("D1", 0, 14), ("D1", 37, 14)), "opens at"),  # rests 23 h
        ((("W3", 0, 14), ("W3", 71, 14)), "less than 3 days"),
        ((("W3", 0, 14), ("W3", 72, 14), ("W3", 144, 14)), "over 2 sets in seven days"),
        ((("W3", 0, 20), ("W3", 44, 20)), "h of water in the 72 h"),
        ((("D1", 0, 16), ("D1", 48, 9)), "unequal sets"),
        ((("F4", 6.5, 8),), "no full hours"),
        ((("F4", 30, 8), ("F5", 6, 8)), "F4 is opened at"),  # after the gate further down
        (tuple(("D1", 40 * k, 16) for k in range(5)), "80 h in all, at most 77.37"),  # 1.5 x 49 / 0.95
        (tuple(("D2", 40 * k, 14) for k in range(5)), "70 h in all, at most 67.05"),  # 1.3 x 49 / 0.95
        ((("D1", 0, 14), ("D2", 0, 14), ("W3", 0.25, 16)), "3 valves are turned"),
    ],
)  # fmt: skip
def test_the_checker_sees_bad_sets(sets: Sets, told: str) -> None:
    assert any(told in line for line in judged(SOUND, sets)), judged(SOUND, sets)


@pytest.mark.parametrize(
    ("ranch", "told"),
    [
        (changed("D1", soil="clay loam"), "to rest 2 days"),
        (changed("D1", soil="very coarse sand"), "at most 8.8"),  # 48 mm/m x 0.5 x 0.35 / 0.95
        (changed("D1", block_trees=2), "too few trees"),
        (changed("D1", rate_mm_h=2.0, soil="clay"), "does not take the rate"),
        (changed("D1", harvest="07-21"), "cut off before harvest"),
        (changed("D1", planted=2026.0), "at most 7.1"),  # first year: 0.22 of 0.90
        (changed("D1", planted=2023.0, rate_mm_h=1.6), "for young trees; at most 10.75"),  # 49 / 0.95 / 3
        (changed("D1", stress_bar=6.0), "is not on the list to look at"),
        (changed("W3", max_hours=12.0), "at most 12 h"),
        (changed("W3", min_hours=18.0), "a token set"),
        (with_water(sources={"P": 3000.0}), "source P"),
        (with_water(reserve=2500.0), "less 2500"),
        (with_water(source_days={"P": [FIRST]}), "its source gives no water"),
        (with_water(pump_least={"P": 300.0}), "at least 300"),
        (with_water(pump_starts=1, source_days={}), "starts 2 times"),
        (with_water(crew_valves=1), "2 valves are turned"),
        (with_water(rest_hours=100.0), "to rest 4 days"),
        (with_water(walnut_wet_hours=12.0), "at most 12 h"),
        (with_water(most_set_mm={"flood": 70.0}), "at most 7 h"),
    ],
)
def test_the_checker_sees_what_a_ranch_does_not_allow(ranch: Ranch, told: str) -> None:
    sets = {
        "starts 2 times": (("D1", 0, 8), ("F4", 12, 8)),
        "2 valves are turned": (("D1", 0, 8), ("D2", 0.25, 8)),
    }
    found = judged(ranch, sets.get(told, SETS))
    assert any(told in line for line in found), found


def test_the_checker_holds_a_dry_valve_until_it_was_looked_at() -> None:
    sets = tuple(("D1", 40 * k, 14) for k in range(4))
    dry = changed("D1", stress_bar=6.0)
    assert any("held until it is looked at" in line for line in judged(dry, sets, D1="drier_than_block"))
    looked = changed("D1", stress_bar=6.0, checked=dt.date(2026, 7, 14))
    assert judged(looked, sets) == []
    assert any("though it was" in line for line in judged(looked, sets, D1="drier_than_block"))


def test_the_checker_sees_two_weeks_of_water_in_one() -> None:
    """Two weeks of 3.5 mm a day: 1.5 x 7 x 3.5 / 0.95 = 38.7 h in any seven days, twice that in all."""
    long = replace(with_water(days=14), next_turn=dt.date(2026, 7, 30))
    bunched = judged(long, tuple(("D1", 60 * k, 14) for k in range(5)))
    assert any("42 h in the seven days from" in line and "at most 38.68" in line for line in bunched), bunched
    assert judged(long, tuple(("D1", 80 * k, 12) for k in range(4))) == []


@pytest.mark.parametrize("seed", [305, 307, 322, 325])
def test_nothing_that_runs_in_dear_hours_could_have_waited(seed: int) -> None:
    """Ranches whose pumps are short of time: sets in dear hours, tried at all other hours."""
    drawn = short_of_time(seed)
    plan, sets = drawn.tables()
    limits = drawn.limits()
    assert bad_manners(drawn.facts, plan, sets) == []
    assert violations(limits, plan, sets) == []
    fits = partial(violations, limits)
    assert needless_dear_sets(drawn.facts, plan, sets, fits) == []


@pytest.mark.parametrize("seed", range(400, 416))
def test_a_head_of_water_goes_on_from_check_to_check(seed: int) -> None:
    """It stands only in hours in which no check can be opened and closed: crew, pump, gates and source."""
    drawn = flooded(seed)
    plan, sets = drawn.tables()
    limits = drawn.limits()
    assert bad_manners(drawn.facts, plan, sets) == []
    assert violations(limits, plan, sets) == []
    assert idle_heads(drawn.facts, plan, sets, partial(violations, limits)) == []


def flooded(seed: int) -> DrawnRanch:
    """A drawn ranch of prune on loam with all valves flooded, at 9 to 15 mm/h and dry."""
    drawn, rng = drawn_ranch(seed), np.random.default_rng([60, seed])
    valves = tuple(
        replace(
            one, system="flood", rate_mm_h=round(float(rng.uniform(9, 15)), 2), soil=None, crop="prune",
            stress_bar=round(float(rng.uniform(2, 4)), 2), wetted_share=None, harvest=None, min_hours=0.0,
            max_hours=float("inf"), source=None, block=f"F{k % 2}", trees=3, block_trees=6, planted=None,
        )
        for k, one in enumerate(drawn.facts.valves)
    )  # fmt: skip
    pumps = {name: round(float(rng.uniform(1.1, 2.5)) * max(v.flow_m3_h for v in valves), 1)
             for name in drawn.facts.water["pumps"]}  # fmt: skip
    # Steps of half an hour, so that no full hour at which the checker looks lies between two of them.
    kept = ("days", "crew_hours", "travel_minutes", "dear_hours", "pump_starts")
    water = {key: drawn.facts.water[key] for key in kept if key in drawn.facts.water} | {"pumps": pumps}
    settings = water | {"pumps": {name: f"{flow} m3/h" for name, flow in pumps.items()}}
    return DrawnRanch(replace(drawn.facts, valves=valves, water=water), settings, drawn.target_bar)


def test_the_checker_sees_a_head_that_stands_for_nothing() -> None:
    """F4 is done at 14:00, F5 is opened on the next morning; with a crew only then there is no other way."""
    told = sets_of(SOUND, (("F4", 6, 8), ("F5", 30, 8)))
    (found,) = idle_heads(SOUND, plan_of(SOUND), told, lambda _, __: [])
    assert "could be at 2026-07-16 14:00" in found
    assert idle_heads(SOUND, plan_of(SOUND), told, lambda _, __: ["nobody is there"]) == []


def short_of_time(seed: int) -> DrawnRanch:
    """A drawn ranch with pumps that run one or two valves at once, so that dear hours cannot be left out."""
    drawn = drawn_ranch(seed)
    most = {one.pump: 0.0 for one in drawn.facts.valves}
    for one in drawn.facts.valves:
        most[one.pump] = max(most[one.pump], one.flow_m3_h)
    pumps = {name: round(1.2 * most.get(name, 50.0), 1) for name in drawn.facts.water["pumps"]}
    kept = ("days", "step_hours", "crew_hours", "travel_minutes")
    own = {"pumps": pumps, "hours": ("06:00", "22:00"), "dear_hours": ("16:00", "21:00")}
    water = {key: drawn.facts.water[key] for key in kept if key in drawn.facts.water} | own
    settings = water | {"pumps": {name: f"{flow} m3/h" for name, flow in pumps.items()}}
    return DrawnRanch(replace(drawn.facts, water=water), settings, drawn.target_bar)


def test_the_checker_sees_what_could_have_waited() -> None:
    """From 10:00 a set of 14 h runs in dear hours; from 22:00 it would not, if water may run then."""
    told = sets_of(SOUND, (("D1", 10, 14),))
    assert len(needless_dear_sets(SOUND, plan_of(SOUND), told, lambda _, __: [])) == 1
    by_day = with_water(hours=("06:00", "20:00"))
    assert needless_dear_sets(by_day, plan_of(by_day), told, lambda _, __: []) == []


def hours_from_first(*spans: tuple[float, float]) -> tuple[tuple[dt.datetime, dt.datetime], ...]:
    begin = dt.datetime.combine(FIRST, dt.time(0), dt.UTC)
    return tuple((begin + dt.timedelta(hours=a), begin + dt.timedelta(hours=b)) for a, b in spans)


@pytest.mark.parametrize(
    ("valve", "logged", "told"),
    [
        ("D1", (-10.0, -2.0), "to rest 1 day"),
        ("D1", (20.0, 30.0), "to rest 1 day"),  # within the plan, between two sets
        ("W3", (-60.0, -48.0), "less than 3 days"),
        ("W3", (-75.0, -61.0), "over 2 sets in seven days"),
        ("W3", (-40.0, -31.0), "h of water in the 72 h"),
        ("F4", (-150.0, -142.0), "over 1 sets in seven days"),
    ],
)
def test_the_checker_counts_the_sets_of_the_log(valve: str, logged: tuple[float, float], told: str) -> None:
    found = judged(replace(SOUND, logged={valve: hours_from_first(logged)}), SETS)
    assert any(told in line for line in found), found


def test_the_checker_joins_rows_of_the_log_and_leaves_the_log_alone() -> None:
    """Two rows without a pause are one set of a week, and sets of the log alone are nobody's plan."""
    cut_by_meter = {"W3": hours_from_first((-90.0, -80.0), (-80.0, -76.0))}
    assert judged(replace(SOUND, logged=cut_by_meter), SETS[:3]) == []
    own_affair = {"D1": hours_from_first((-60.0, -50.0), (-49.0, -30.0))}
    assert judged(replace(SOUND, logged=own_affair), SETS) == []
