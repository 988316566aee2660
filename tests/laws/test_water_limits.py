"""No plan and no timetable breaks a limit: 500 random ranches before an independent checker."""

import datetime as dt
from dataclasses import replace
from functools import cache

import pytest
from helpers.water_cases import Drawn, random_ranch
from helpers.water_checker import needless_splits, violations

from stressmap.core.errors import SettingsError

CASES = 500
BATCH = 50


@cache
def tables_or_none(seed: int) -> tuple[list[dict], list[dict]] | None:
    """Plan a ranch; not to be changed, since two tests look at the same ones."""
    try:
        return random_ranch(seed).tables()
    except SettingsError:
        return None


@pytest.mark.parametrize("batch", range(CASES // BATCH))
def test_no_limit_is_violated(batch: int) -> None:
    watered = impossible = 0
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        tables = tables_or_none(seed)
        if tables is None:
            impossible += 1
            continue
        assert violations(random_ranch(seed).limits, *tables) == [], seed
        watered += any(row["hours"] > 0 for row in tables[0])
    assert watered > BATCH / 2
    assert impossible < BATCH / 4


def test_no_valve_is_split_that_has_a_place_in_one_piece() -> None:
    split = 0
    for seed in range(80):
        tables = tables_or_none(seed)
        drawn = random_ranch(seed)
        if tables is None or drawn.limits.crew:
            continue
        split += any(row["sets"] > 1 for row in tables[0])
        assert needless_splits(drawn.limits, tables[1], step_minutes=15) == [], seed
    assert split > 10


def sound() -> tuple[Drawn, list[dict], list[dict]]:
    drawn = random_ranch(3)
    plan, sets = drawn.tables()
    assert violations(drawn.limits, plan, sets) == []
    assert sets
    return drawn, plan, sets


def test_the_checker_sees_a_set_moved_a_day() -> None:
    drawn, plan, sets = sound()
    late = dt.timedelta(days=drawn.limits.days)
    sets[0] = sets[0] | {"start": sets[0]["start"] + late, "end": sets[0]["end"] + late}
    assert any("closes after the plan ends" in line for line in violations(drawn.limits, plan, sets))


def test_the_checker_sees_a_set_that_is_longer_than_planned() -> None:
    drawn, plan, sets = sound()
    sets[0] = sets[0] | {"end": sets[0]["end"] + dt.timedelta(hours=1)}
    assert any("plan says" in line for line in violations(drawn.limits, plan, sets))


def test_the_checker_sees_a_pump_that_is_too_small() -> None:
    drawn, plan, sets = sound()
    limits = replace(drawn.limits, pumps=dict.fromkeys(drawn.limits.pumps, 1.0))
    assert any(line.startswith("pump ") for line in violations(limits, plan, sets))


def test_the_checker_sees_too_little_water_and_a_valve_out_of_service() -> None:
    drawn, plan, sets = sound()
    limits = replace(drawn.limits, volume_m3=1.0, out_of_service=(sets[0]["valve"],))
    found = violations(limits, plan, sets)
    assert any(line.startswith("water ") for line in found)
    assert any("out of service" in line for line in found)


def test_the_checker_sees_hours_and_crews_broken() -> None:
    drawn, plan, sets = sound()
    limits = replace(drawn.limits, hours=("03:00", "03:01"), crew=("03:00", "03:01"))
    found = violations(limits, plan, sets)
    assert any(" runs at " in line for line in found)
    assert any("without a crew" in line for line in found)
