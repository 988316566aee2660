"""What is advised for a valve zone, in words."""

from __future__ import annotations

import math

from stressmap.output.view.advice import advice

OVERDUE = {
    "known": True, "stress_low_bar": 4.2, "stress_high_bar": 6.9, "allowed_bar": 4.0, "days_left": 0.0,
    "days_left_high": 0.0, "interval_days": 11.0, "interval_low_days": 13.0, "interval_high_days": 22.0,
    "peak_low_bar": math.nan, "days_since_water": 24.2,
}  # fmt: skip


def test_a_valve_that_is_due_tells_its_last_water_and_no_turn() -> None:
    now = "stress is 4.2 to 6.9 bar, 4 is allowed."
    assert advice(OVERDUE, "en") == f"Last water 24 days ago. Overdue: {now} Water now."
    doubtful = OVERDUE | {"days_left_high": 2.0, "days_since_water": math.nan}
    assert advice(doubtful, "en") == f"Due now, though not surely: {now}"


def test_a_valve_that_was_watered_and_not_relieved_is_looked_at_first() -> None:
    assert advice(OVERDUE, "en", alarmed=True).startswith("Look at the valve first: watered, not relieved. ")
    assert advice(OVERDUE, "es", alarmed=True).startswith(
        "Revise primero la válvula: se regó y no hubo alivio. Último riego hace 24 días. "
    )
