"""Rain of single hours stays as it is; a gauge that counts on is told by never falling but to nought."""

import numpy as np
import pandas as pd
import pytest

from stressmap.intake.air_plausibility import Origin
from stressmap.intake.rain_counter import each_row


def read(*rain: float, backwards: bool = False) -> tuple[list[float], list[str]]:
    times = pd.Series(pd.date_range("2026-02-03", periods=len(rain), freq="h"))
    column = pd.Series(rain, dtype=float)
    if backwards:
        times, column = times[::-1].reset_index(drop=True), column[::-1].reset_index(drop=True)
    found = each_row(column, times, Origin("a.csv", np.arange(2, len(rain) + 2)), "Rain")
    value = found.value[::-1] if backwards else found.value
    return value.tolist(), [note.code for note in found.notes]


@pytest.mark.parametrize(
    "rain",
    [
        [0.0] * 30,
        [0, 0, 0.2, 0.4, 1.2, 3.0, 3.0, 0.2, 0, 0, 0, 0, 0, 0],
        [0.2] * 11,
        [0.2, 0.3, 0.2] * 10,
    ],
)
def test_rain_of_single_hours_is_left_alone(rain: list[float]) -> None:
    assert read(*rain) == (rain, [])


@pytest.mark.parametrize("backwards", [False, True])
def test_a_count_set_back_at_midnight_is_taken_apart(*, backwards: bool) -> None:
    counted = [0.0, 1.0, 3.0, *[3.0] * 10, 0.0, 0.5, 0.5]
    value, said = read(*counted, backwards=backwards)
    assert np.isnan(value[0])
    assert value[1:] == [1.0, 2.0, *[0.0] * 10, 0.0, 0.5, 0.0]
    assert said == ["rain_counted_on"]
