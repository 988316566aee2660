"""The curve of benefit against water: every plan on it is searched no longer than the settings allow."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers import small_ranch
from helpers.watered_ranch import MORE_COLUMNS, WATER

from stressmap.jobs.water import plan_water
from stressmap.water import value_of_water
from stressmap.water.allocation_problem import AllocationProblem, Solution


def test_every_plan_of_the_curve_keeps_the_time_limit_of_the_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    limits: list[Any] = []

    def stub(problem: AllocationProblem, **options: Any) -> Solution:
        limits.append(options.get("time_limit_s"))
        return Solution(np.zeros(len(problem), dtype=np.int64), 0.0, 0.0)

    monkeypatch.setattr(value_of_water, "solve_milp", stub)
    source = small_ranch.write(tmp_path, small_ranch.SETTINGS + WATER + "time_limit_s = 7.5\n")
    small_ranch.valves().merge(MORE_COLUMNS).to_file(tmp_path / "valves.gpkg", driver="GPKG")
    assert plan_water(source, with_curve=True).curve is not None
    assert limits == [7.5] * (1 + value_of_water.POINTS)
