"""The weather of a visit where there is none to speak of."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stressmap.agronomy.visit_weather import shift_error_bar, usual_weather

DAY = np.array(["2026-07-14"], dtype="datetime64[D]")


def test_without_a_reading_that_was_carried_nothing_is_added_to_the_error() -> None:
    assert shift_error_bar(np.empty(0)) == 0.0


def test_without_a_weather_file_and_with_an_empty_one_nothing_is_usual() -> None:
    empty = pd.DataFrame({"time": pd.DatetimeIndex([], tz="UTC"), "temp_c": [], "rh_pct": []})
    for weather in (None, empty):
        assert np.isnan(usual_weather(weather, "UTC").on(DAY)).tolist() == [True]
