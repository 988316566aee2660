"""Evapotranspiration day by day: which method a day gets, what is said, and how the methods agree."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from helpers.told import english

from stressmap.agronomy import crops, daily_et, radiation

ZONE = ZoneInfo("America/Los_Angeles")
SITE = daily_et.Site(39.0, -122.0, 20.0)


def clear_days(days: int = 2, every_h: int = 1) -> pd.DataFrame:
    """Clear July days drawn from FAO-56 radiation and a daily wave of temperature."""
    count = 24 * days // every_h
    time = pd.date_range("2026-07-14", periods=count, freq=f"{every_h}h", tz=ZONE).as_unit("us")
    wave = np.cos(2.0 * np.pi * (time.hour + time.minute / 60.0 - 16.0) / 24.0)
    above = radiation.extraterrestrial_hourly_mj(time, SITE.latitude_deg, SITE.longitude_deg)
    return pd.DataFrame(
        {
            "time": time,
            "temp_c": 25.0 + 10.0 * wave,
            "rh_pct": 45.0 - 25.0 * wave,
            "wind_m_s": 2.0,
            "solar_w_m2": 0.75 * above / 0.0036,
            "eto_mm": np.nan,
        }
    )


def run(weather: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    found = daily_et.reference_et(weather, SITE, ZONE)
    return found.value, english(found)


def test_whole_hours_are_worked_out_by_the_hour() -> None:
    table, said = run(clear_days())
    assert table["method"].tolist() == ["hourly", "hourly"]
    assert table["eto_mm"].between(6.0, 9.0).all()  # a clear July day inland; common practice, no source
    assert said == ["Reference evapotranspiration: 2 days by Penman-Monteith by the hour."]


def test_hours_and_extremes_agree() -> None:
    """Two ways to one quantity on a smooth clear day; the tolerance is a judgement."""
    hourly, _ = run(clear_days())
    daily, said = run(clear_days(every_h=3))
    assert daily["method"].tolist() == ["daily", "daily"]
    assert daily["eto_mm"].to_numpy() == pytest.approx(hourly["eto_mm"].to_numpy(), rel=0.08)
    assert said == ["Reference evapotranspiration: 2 days by Penman-Monteith from the day's extremes."]


@pytest.mark.parametrize("missing", ["rh_pct", "solar_w_m2"])
def test_without_humidity_or_sun_temperature_has_to_do(missing: str) -> None:
    table, said = run(clear_days().assign(**{missing: np.nan}))
    assert table["method"].tolist() == ["temperature", "temperature"]
    assert table["eto_mm"].between(5.0, 9.0).all()
    assert said == [
        "Reference evapotranspiration: 2 days from temperature alone, for want of humidity or sun."
    ]


def test_without_wind_the_usual_wind_is_taken_and_said() -> None:
    table, said = run(clear_days().assign(wind_m_s=np.nan))
    assert table["eto_mm"].tolist() == pytest.approx(run(clear_days())[0]["eto_mm"].tolist())
    assert said[1] == "The weather file has no wind: 4.5 mph was taken for the reference evapotranspiration."


def test_the_station_itself_goes_first() -> None:
    table, said = run(clear_days().assign(eto_mm=0.3))
    assert table["method"].tolist() == ["station", "station"]
    assert table["eto_mm"].tolist() == pytest.approx([7.2, 7.2])
    assert said == ["Reference evapotranspiration: 2 days summed from the station's own."]


def test_hours_of_measuring_alone_give_no_day_and_say_so() -> None:
    weather = clear_days()
    table, said = run(weather[weather["time"].dt.hour.between(12, 16)])
    assert table["eto_mm"].isna().all()
    assert said == ["Reference evapotranspiration: 2 days not known, for the record does not cover the day."]


def test_one_missing_hour_is_bridged() -> None:
    weather = clear_days().drop(index=[13])
    assert run(weather)[0]["eto_mm"].to_numpy() == pytest.approx(run(clear_days())[0]["eto_mm"], rel=0.01)


@pytest.mark.parametrize(("left_out", "method"), [(2, "hourly"), (3, "daily")])
def test_a_day_with_more_than_two_hours_unknown_is_not_worked_out_by_the_hour(
    left_out: int, method: str
) -> None:
    """The record begins late: midnight to 1 o'clock and 1 to 2 may be unknown, one more may not."""
    table, _ = run(clear_days(2).iloc[left_out:])
    assert table["method"].tolist() == [method, "hourly"]


@pytest.mark.parametrize(("every_h", "method"), [(3, "daily"), (4, "none")])
def test_records_further_apart_than_three_and_a_half_hours_know_no_extremes(
    every_h: int, method: str
) -> None:
    table, _ = run(clear_days(every_h=every_h))
    assert table["method"].tolist() == [method] * 2


@pytest.mark.parametrize(("hours", "method"), [(22, "station"), (21, "hourly")])
def test_the_stations_own_sum_may_lack_two_hours(hours: int, method: str) -> None:
    own = np.where(np.arange(24) < hours, 0.25, np.nan)
    table, _ = run(clear_days(1).assign(eto_mm=own))
    assert table["method"].tolist() == [method]
    if method == "station":
        assert table["eto_mm"].tolist() == pytest.approx([6.0]), "a quarter of a millimetre an hour, all day"


def test_days_of_a_clock_change_are_days() -> None:
    time = pd.date_range("2026-03-07", periods=71, freq="h", tz=ZONE).as_unit("us")
    table, _ = run(clear_days(3).iloc[:71].assign(time=time))
    assert table.index.astype(str).tolist() == ["2026-03-07", "2026-03-08", "2026-03-09"]
    assert table["method"].tolist() == ["hourly"] * 3


def test_crop_use_is_the_coefficient_of_the_day() -> None:
    table, _ = run(clear_days())
    use = daily_et.crop_et(table, crops.load_profiles({}, "ranch.toml")["prune"]).value
    assert use.tolist() == pytest.approx(
        (0.9 * table["eto_mm"]).tolist()
    )  # FAO-56 table 12, stone fruit, mid


def test_a_crop_without_a_coefficient_is_said() -> None:
    cherry = crops.load_profiles({"cherry": {}}, "ranch.toml")["cherry"]
    table, _ = run(clear_days())
    use = daily_et.crop_et(table, cherry)
    assert use.value.tolist() == table["eto_mm"].tolist()
    assert english(use) == ["The crop cherry has no crop coefficient: 1 was taken for its water use."]
