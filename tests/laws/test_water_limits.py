"""No plan and no timetable breaks a limit: 500 random ranches before an independent checker."""

import pytest
from water_cases import random_ranch
from water_checker import violations

from stressmap.errors import SettingsError

CASES = 500
BATCH = 50


@pytest.mark.parametrize("batch", range(CASES // BATCH))
def test_no_limit_is_violated(batch: int) -> None:
    watered = impossible = 0
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        drawn = random_ranch(seed)
        try:
            plan, sets = drawn.tables()
        except SettingsError as error:
            assert len(error.problems) == 1
            impossible += 1
            continue
        assert violations(drawn.limits, plan, sets) == [], seed
        watered += any(row["hours"] > 0 for row in plan)
    assert watered > BATCH / 2
    assert impossible < BATCH / 4
