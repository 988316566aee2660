"""A station's record -> a row per moment: temperature, humidity, and whatever else it measured."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.arrays import Floats
from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import RowCounts, ToldRow
from stressmap.core.schemas import WEATHER, conform
from stressmap.core.sources import InputSource
from stressmap.core.units import MM_PER_INCH
from stressmap.intake.air_plausibility import Origin, celsius, mend_humidity, mend_temperature, split_degrees
from stressmap.intake.columns import Table, match, recogniser
from stressmap.intake.heading_recognition import Field, ended, names
from stressmap.intake.rain_counter import each_row
from stressmap.intake.station_clock import check_station_clock
from stressmap.intake.table_files import read_sheet
from stressmap.intake.times import Asked, Order, read_times
from stressmap.intake.timestamps import one_day, stamp_text
from stressmap.intake.unread_columns import columns_of

_AVERAGES = "avg mean average prom promedio media medio med"
"""What stations put behind the name of what they average."""
FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        "time": Field(
            names(
                "time datetime date_time date_and_time timestamp date_hour local_time time_local hora "
                "fecha_hora fecha_y_hora hora_local momento"
            )
        ),
        "day": Field(names("date day fecha dia")),
        "year": Field(names("yr ano anio")),
        "month": Field(names("mes")),
        "day_of_year": Field(names("doy yearday julian julian_day day_of_the_year dia_juliano dia_del_ano")),
        "clock": Field(names("hour clock hour_of_day hora_del_dia hr_pst hour_pst")),
        "temp_c": Field(
            names(
                "temp temperature air_temp air_temperature temp_air temperature_air tair t_air temp_avg "
                "avg_temp mean_temp temp_mean temp_out temperatura temp_aire t_aire temperatura_aire "
                "temperatura_del_aire temp_media temperatura_media t_media tmed tmedia "
                "outside_temp outside_temperature outdoor_temp outdoor_temperature ambient_temp "
                "ambient_temperature temp_exterior temperatura_exterior temp_ambiente temperatura_ambiente"
            ),
            units=("C", "F"),
            weak=(
                *names("airtc_avg airtc air_tc_avg air_tc airt_c_avg"),
                *ended(
                    "temp temperature temperatura t_aire temp_aire temp_del_aire temperatura_aire "
                    "temperatura_del_aire air_temp air_temperature temp_air tair airtemp",
                    _AVERAGES,
                ),
            ),
        ),
        "rh_pct": Field(
            names(
                "rh humidity rel_hum rel_humidity relative_humidity hum hr humedad humedad_relativa "
                "humedad_rel hum_rel hr_media humedad_media humedad_relativa_media avg_rel_hum rh_avg avg_rh "
                "outside_humidity outside_hum outdoor_humidity out_hum hum_out humedad_exterior "
                "humedad_ambiente h_r"
            ),
            units=("%",),
            weak=ended(
                "hr h_r rh hum humedad hum_rel humedad_rel humedad_relativa relative_humidity rel_hum "
                "humidity",
                _AVERAGES,
            ),
        ),
        "wind_m_s": Field(
            names(
                "wind wind_speed windspeed wind_spd avg_wind_speed ws u2 viento vel_viento vel_del_viento "
                "velocidad_viento velocidad_del_viento viento_medio velocidad_media_del_viento"
            ),
            units=("m/s", "km/h", "mph"),
        ),
        "solar_w_m2": Field(
            names(
                "solar solar_radiation solar_rad sol_rad radiation global_radiation rs srad ghi radiacion "
                "radiacion_solar radiacion_global rad rad_solar rad_global"
            ),
            units=("W/m2", "MJ/m2", "Ly", "Ly/day"),
        ),
        "eto_mm": Field(names("eto et0 et_o reference_et reference_evapotranspiration"), units=("mm", "in")),
        "rain_mm": Field(
            names(
                "rain rainfall precip precipitation ppt prcp rain_total precip_total lluvia precipitacion "
                "pp lluvia_total precipitacion_total"
            ),
            units=("mm", "in"),
        ),
    }
)
"""Our columns of a weather file and how stations spell them."""

_MOMENT = frozenset({"time", "day", "year", "month", "day_of_year", "clock"})

M_S_PER = {"m/s": 1.0, "km/h": 1.0 / 3.6, "mph": 0.44704}
"""Metres a second in one of each unit of wind (mile 1609.344 m, exact)."""

J_M2_PER = {"MJ/m2": 1e6, "Ly": 41_840.0}
"""Joules per square metre in one of each unit of a sum of energy; a langley is a calorie (4.184 J) per square
centimetre (Guide for the Use of the International System of Units, NIST Special Publication 811, 2008,
Appendix B.8; from memory)."""
NO_FIGURE = frozenset(("m", "err", "error", "fail", "fault", "falla", "fallo", "missing data", "sin dato"))
"""What stations write for a value that is missing, beside what anybody does."""

PLAUSIBLE = {
    "wind_m_s": (0.0, 60.0),
    "solar_w_m2": (-20.0, 1500.0),
    "eto_mm": (0.0, 2.0),
    "rain_mm": (0.0, 150.0),
}
"""What a station can have measured in an hour; a sensor may read a little under no sun."""
MOST_A_DAY = {"eto_mm": 20.0, "rain_mm": 600.0}
"""What can be measured in a day, of records with a row a day; a judgement."""
HOURS_OF_DAYS = 12.0
_UNIT = {"wind_m_s": "m/s", "solar_w_m2": "W/m2", "eto_mm": "mm an hour", "rain_mm": "mm an hour"}


def read_weather(
    given: Path | InputSource,
    *,
    zone: ZoneInfo,
    columns: Mapping[str, str] = MappingProxyType({}),
    order: Order | None = None,
) -> Noted[pd.DataFrame]:
    """Read a weather file.

    Fahrenheit under a Celsius heading and humidity as a fraction are mended, impossible values left out,
    repeated and unordered rows put right; each is said. Times without an offset are the ranch's.

    Parameters
    ----------
    given : Path or InputSource
        CSV or XLSX.
    zone : ZoneInfo
        The ranch's.
    columns : mapping of str to str
        ``[columns]`` of the settings: the file's heading -> ours.
    order : str, optional
        Order of day and month in its dates, where they leave it open.

    Returns
    -------
    Noted of DataFrame
        As :data:`stressmap.core.schemas.WEATHER`, times rising, each once.

    Raises
    ------
    DataError
        If it is no table, lacks time, temperature or humidity, a cell is no number, or its clock is plainly
        not the ranch's.
    """
    notes = NoteList()
    sheet = notes.keep(read_sheet(given, recogniser(FIELDS, columns)))
    table = match(sheet, FIELDS, columns, required=("temp_c", "rh_pct"))
    one_day(table)
    for name in set(table.columns) - _MOMENT:
        cells = table.columns[name]
        table.columns[name] = cells.mask(cells.str.lower().isin(NO_FIGURE), "")
    read = notes.keep(columns_of(sheet, table, FIELDS, columns))
    table.columns["rh_pct"] = table.columns["rh_pct"].str.replace(r"\s*%$", "", regex=True)
    times = notes.keep(_times(table, zone, order))
    origin = _origin(table)
    frame = pd.DataFrame({"time": times})
    frame["temp_c"] = notes.keep(mend_temperature(_celsius(table), origin))
    humidity = table.numbers("rh_pct", wanted="per cent as a number")
    frame["rh_pct"] = notes.keep(mend_humidity(humidity, origin))
    frame["wind_m_s"] = notes.keep(_plausible(table, "wind_m_s", _wind(table)))
    frame["eto_mm"] = notes.keep(_plausible(table, "eto_mm", _depth(table, "eto_mm"), times))
    rain = notes.keep(
        each_row(_depth(table, "rain_mm"), times, _origin(table), table.headings.get("rain_mm", ""))
    )
    frame["rain_mm"] = notes.keep(_plausible(table, "rain_mm", rain, times))
    frame["solar_w_m2"] = notes.keep(_plausible(table, "solar_w_m2", _solar(table, times)))
    frame["solar_w_m2"] = frame["solar_w_m2"].clip(lower=0.0)
    told = _left_out(frame)
    ordered = notes.keep(_in_order(frame, told, table.where))
    notes.count(RowCounts.of(table.where, "weather", sheet.rows, [*sheet.told, *told], columns=read))
    if table.has("temp_c"):
        check_station_clock(ordered, table.where, str(zone))
    return notes.beside(conform(ordered.reset_index(drop=True), WEATHER, table.where))


def _times(table: Table, zone: ZoneInfo, order: Order | None) -> Noted[pd.Series]:
    if not any(table.has(name) for name in ("time", "day")):
        there = ", ".join(table.headings.values())
        what = (
            f"no column is recognised as time (usual headings: time, datetime, date and hour); it has {there}"
        )
        raise DataError(Problem(table.where, what, 'Name it under [columns], "your heading" = "time"'))
    text, heading = stamp_text(table, "time", "day", "clock")
    return read_times(text, Asked(table.where, heading, zone, order, record=True))


def _origin(table: Table) -> Origin:
    headings = table.headings
    return Origin(table.where, table.index.to_numpy(np.int64), headings["temp_c"], headings["rh_pct"])


def _celsius(table: Table) -> Floats:
    table.columns["temp_c"], stated = split_degrees(table.columns["temp_c"])
    return celsius(table.numbers("temp_c", wanted="degrees as a number"), stated, table.unit("temp_c"))


def _wind(table: Table) -> pd.Series:
    return table.numbers("wind_m_s", wanted="the wind as a number") * M_S_PER[table.unit("wind_m_s") or "m/s"]


def _depth(table: Table, name: str) -> pd.Series:
    factor = MM_PER_INCH if table.unit(name) == "in" else 1.0
    return table.numbers(name, wanted="millimetres as a number") * factor


def _solar(table: Table, times: pd.Series) -> pd.Series:
    """Return the mean radiation [W/m2]; a sum of energy is spread over the step of the record."""
    solar = table.numbers("solar_w_m2", wanted="the radiation as a number")
    unit = table.unit("solar_w_m2") or "W/m2"
    if unit == "Ly/day":
        return solar * (J_M2_PER["Ly"] / 86_400.0)
    if unit not in J_M2_PER:
        return solar
    return solar * J_M2_PER[unit] / _step_s(times)


def _step_s(times: pd.Series) -> float:
    """Give the usual step of a record [s], an hour where it cannot be told."""
    step = times.dropna().sort_values().diff().dt.total_seconds()
    return float(step[step > 0].median()) if (step > 0).any() else 3600.0


def _plausible(
    table: Table, name: str, values: pd.Series, times: pd.Series | None = None
) -> Noted[pd.Series]:
    """Leave out what cannot be; sums are held to what is possible in the record's step."""
    (low, high), unit = PLAUSIBLE[name], _UNIT[name]
    if times is not None and _step_s(times) > HOURS_OF_DAYS * 3600.0:
        high, unit = MOST_A_DAY[name], "mm a day"
    wrong: NDArray[np.bool_] = ((values < low) | (values > high)).to_numpy()
    if not wrong.any():
        return Noted(values)
    cells = _origin(table).cells(table.headings.get(name, name), wrong)
    note = Note.of("weather_impossible", "caution", low=low, high=high, unit=unit, **cells)
    return Noted(values.mask(wrong), (note,))


def _left_out(frame: pd.DataFrame) -> list[ToldRow]:
    """Tell the rows that say nothing: no moment, no value, or a moment that an earlier row has."""
    untimed = frame["time"].isna()
    bare = ~untimed & frame.drop(columns="time").isna().all(axis="columns")
    twice = frame["time"].mask(untimed | bare).dropna().duplicated(keep="first")
    return [
        *(ToldRow.of(row, "no_time") for row in frame.index[untimed]),
        *(ToldRow.of(row, "no_air") for row in frame.index[bare]),
        *(ToldRow.of(row, "time_repeated") for row in twice.index[twice]),
    ]


def _in_order(frame: pd.DataFrame, told: list[ToldRow], where: str) -> Noted[pd.DataFrame]:
    notes = NoteList()
    if frame["time"].isna().all():
        raise DataError(Problem(where, "no row has a time", "Write times as 2026-07-14 13:00"))
    known = frame.drop(index=[one.row for one in told])
    if known.empty:
        what = "no row has a value that can be used"
        raise DataError(Problem(where, what, "Export the record again, with its temperature and humidity"))
    lost = Counter(one.code for one in told)
    if lost["no_time"]:
        notes.say("weather_without_time", "caution", file=where, count=lost["no_time"])
    if lost["no_air"]:
        notes.say("weather_without_values", "caution", file=where, count=lost["no_air"])
    if lost["time_repeated"]:
        notes.say("weather_repeats", "caution", file=where, count=lost["time_repeated"])
    if not known["time"].is_monotonic_increasing:
        notes.say("weather_unordered", file=where)
    return notes.beside(known.sort_values("time", kind="stable"))
