"""What `check` says: every count and row, and a likely cause where the figures tell it."""

from pathlib import Path

import numpy as np
import pandas as pd
from helpers import invented_ranch as ranch
from helpers.told import english

from stressmap.core.row_counts import RowCounts, ToldRow
from stressmap.output.gis.mend_list import write_mend_list
from stressmap.output.text.note_words import rows_told
from stressmap.output.text.words import Words
from stressmap.quality.assessment_summary import Summary, judged, mend_table, summarise

BLOCKS = ranch.blocks()


def written(table: pd.DataFrame, language: str, folder: Path) -> pd.DataFrame:
    """The list to mend as its file has it."""
    write_mend_list(table, Words(language), folder / f"{language}.csv")
    return pd.read_csv(folder / f"{language}.csv")


def summary(table: pd.DataFrame, units: str = "metric", **reading: object) -> Summary:
    chosen = ranch.settings(**reading)
    chosen = chosen.model_copy(update={"ranch": chosen.ranch.model_copy(update={"units": units})})
    assessed = ranch.assess(table, BLOCKS, **reading)
    return summarise(assessed, BLOCKS, ranch.valves(BLOCKS), chosen)


def spoiled() -> pd.DataFrame:
    table = ranch.readings(BLOCKS, per_block=4)
    table["temp_c"] = np.linspace(30, 35, len(table))
    table.loc[1, "pressure_bar"] = np.nan
    table.loc[2, "pressure_bar"] *= -1
    table.loc[[5, 6], "bag_minutes"] = 2.0
    table.loc[15, "time"] -= pd.Timedelta(days=30)
    table["pressure_bar"] = table["pressure_bar"].where(table["block"].isna(), 12.0)
    return table


def test_everything_is_counted_and_named() -> None:
    found = summary(spoiled())
    assert found.counts == {"rows": 16, "other_visits": 1, "used": 12, "left_out": 3}
    lines = english(found.lines)
    assert lines[:6] == [
        "15 readings (1 more is of another visit): 12 used, 3 left out.",
        "Left out:",
        "1 no pressure (no_value): row 3 tree B1-T2",
        "2 bag on for too short (short_bag): row 7 tree B2-T2, row 8 tree B2-T3",
        "Mended or marked, and used:",
        "1 negative, taken as a potential (sign_read_as_potential): row 4 tree B1-T3",
    ]
    assert "temperature at the trees 30 to 35 °C; pressure " in lines[6]
    assert english(found.first) == [
        "2 of 15 bag on for too short (row 7 tree B2-T2, row 8 tree B2-T3): Correct the minutes "
        "if they are wrong; else measure the tree again.",
        "1 of 15 no pressure (row 3 tree B1-T2): Write the pressure.",
    ]


def test_of_many_blocks_without_a_reading_two_dozen_are_named() -> None:
    many = ranch.blocks(30)
    table = ranch.readings(many.iloc[:4])
    lines = summarise(ranch.assess(table, many), many, ranch.valves(many), ranch.settings()).lines
    (line,) = [one for one in english(lines) if "locks without a reading" in one]
    assert ": 26 of 30: B5, B6, " in line
    assert line.endswith(", B28 and 2 more.")
    few = summarise(ranch.assess(table, many), many.iloc[:28], ranch.valves(many), ranch.settings()).lines
    (line,) = [one for one in english(few) if "locks without a reading" in one]
    assert line.endswith(", B28.")


def test_the_table_to_mend_says_what_is_wrong_beside_the_flags(tmp_path: Path) -> None:
    table = mend_table(ranch.assess(spoiled(), BLOCKS))
    assert written(table, "en", tmp_path).columns.tolist() == [
        "row", "tree_id", "used", "flags", "wrong", "to_do", "time", "lon", "lat", "pressure_bar",
        "recheck_bar", "bag_minutes", "block", "valve", "file",
    ]  # fmt: skip


def test_only_longitudes_that_fit_with_a_minus_have_lost_it() -> None:
    table = ranch.readings(BLOCKS, per_block=4)
    lost = table.assign(lon=-table["lon"])
    assert "lost their minus sign" in " ".join(english(summary(lost).first))
    for east in (1.0, 30.0):
        away = table.assign(lon=table["lon"] + east)
        told = " ".join(english(summary(away).first))
        assert "16 of 16" in told
        assert "minus" not in told


def test_temperature_is_shown_in_the_units_people_read() -> None:
    assert "temperature at the trees 86 to 94 °F" in "".join(english(summary(spoiled(), units="us").lines))


def test_a_crew_with_a_gauge_in_psi_sees_psi_beside_bar() -> None:
    """1 psi is 6.894757 kPa, so that 1 bar is 14.5038 psi (NIST Special Publication 811, appendix B.8)."""
    table = ranch.readings(BLOCKS, per_block=4).assign(
        pressure_bar=np.linspace(9.0, 17.0, 16), recheck_bar=np.nan
    )
    shown = "pressure 9.0 to 17.0 bar, half of it over 13.0"
    psi = f"{9 * 14.5038:.0f} to {17 * 14.5038:.0f} psi, half of it over {13 * 14.5038:.0f}"
    assert any(f"{shown} ({psi})." in line for line in english(summary(table.assign(unit="psi")).lines))
    assert any(f"{shown}." in line for line in english(summary(table.assign(unit="bar")).lines))


def test_the_weather_file_tells_the_temperature_where_nobody_measured_it() -> None:
    table = ranch.readings(BLOCKS)
    hours = pd.date_range("2026-07-14", periods=24, freq="h", tz=ranch.ZONE)
    weather = pd.DataFrame({"time": hours, "temp_c": np.arange(24.0) + 10})
    assessed = ranch.assess(table, BLOCKS)
    metric = ranch.settings()
    metric = metric.model_copy(update={"ranch": metric.ranch.model_copy(update={"units": "metric"})})
    lines = summarise(assessed, BLOCKS, ranch.valves(BLOCKS), metric, weather=weather).lines
    assert "temperature of the weather file 23 to 25 °C; " in english(lines)[1]


def test_blocks_and_valves_without_a_reading_are_named() -> None:
    found = summary(ranch.readings(BLOCKS, per_block=1))
    assert english(found.lines)[-1] == "Valve zones without a reading: 4 of 8: B1E, B2E, B3E, B4E."
    found = summary(ranch.readings(BLOCKS, per_block=2).iloc[:6])
    assert "Blocks without a reading: 1 of 4: B4." in english(found.lines)
    assert english(found.first) == ["1 of 4 blocks has no reading: measure at least one tree in it."]


def test_a_clock_on_another_zone_is_suspected() -> None:
    table = ranch.readings(BLOCKS)
    table["time"] += pd.Timedelta(hours=7)
    assert english(summary(table).first) == [
        "20 of 20 read outside the hours: 7 h earlier they would be inside; was the clock on another time "
        "zone than America/Los_Angeles? Correct the times, or write them with their offset.",
    ]


def test_a_lost_minus_sign_is_suspected() -> None:
    table = ranch.readings(BLOCKS)
    table["lon"] *= -1
    assert english(summary(table).first) == [
        "20 of 20 off every block: the longitudes have lost their minus sign (west is negative).",
    ]


def test_a_column_in_another_unit_is_suspected() -> None:
    table = ranch.readings(BLOCKS).assign(recheck_bar=np.nan)
    table["pressure_bar"] /= 10
    assert english(summary(table).first)[0] == (
        "20 of 20 probably in another unit: say the right [reading] unit (it is bar), or correct the heading."
    )


def test_the_table_to_mend_has_the_doubtful_rows_of_the_visit(tmp_path: Path) -> None:
    table = mend_table(ranch.assess(spoiled(), BLOCKS))
    assert table["row"].tolist() == [3, 4, 7, 8]
    assert table["used"].tolist() == [False, True, False, False]
    listed = written(table, "en", tmp_path)
    assert listed.loc[0, ["wrong", "to_do"]].tolist() == ["no pressure", "Write the pressure"]
    listed = written(table, "es", tmp_path)
    assert listed.loc[0, ["wrong", "to_do"]].tolist() == ["sin presión", "Anote la presión"]


def test_rows_left_out_of_the_log_stand_below_the_readings_to_mend(tmp_path: Path) -> None:
    left_out = (ToldRow.of(8, "log_valve_unknown", valve="V99"), ToldRow.of(9, "log_no_valve"))
    log = RowCounts("log.csv", "irrigation", 12, 10, left_out)
    for readings in (spoiled(), spoiled().iloc[:0]):
        table = mend_table(ranch.assess(spoiled(), BLOCKS)).iloc[: len(readings)].assign(file="readings.csv")
        write_mend_list(table, Words("en"), tmp_path / "mend.csv", [log])
        found = pd.read_csv(tmp_path / "mend.csv", keep_default_na=False)
        assert found["file"].tolist() == ["readings.csv"] * len(table) + ["log.csv", "log.csv"]
        last = found[["row", "used", "flags", "wrong", "to_do", "valve"]].tail(2).to_numpy().tolist()
        mend = "Write the valve as the valves file has it, or add it there"
        assert last == [
            [8, False, "log_valve_unknown", "no valve is called 'V99'", mend, "V99"],
            [9, False, "log_no_valve", "no valve is named", "Write which valve ran", ""],
        ]


def test_readings_are_counted_by_file_each_left_out_by_its_first_cause() -> None:
    table = spoiled().assign(file=["a.csv"] * 8 + ["b.csv"] * 8)
    rows = dict(tuple(table.groupby("file")["row"]))
    counts = [RowCounts.of(file, "readings", rows[file]) for file in rows]
    weather = RowCounts.of("w.csv", "weather", range(2, 9), [ToldRow.of(4, "no_time")])
    found = {}
    for keep in ((), ("short_bag", "no_value")):
        assessed = ranch.assess(table, BLOCKS, keep=keep)
        first, second, other = judged([*counts, weather], assessed, ranch.settings(keep=keep).reading)
        assert other is weather
        assert first.rows + second.rows == len(table)
        found[keep] = [[(one.row, one.code) for one in file.left_out] for file in (first, second)]
    assert found == {
        (): [[(3, "no_value"), (7, "short_bag"), (8, "short_bag")], [(17, "outside_visit")]],
        # a reading without a value cannot be brought back in
        ("short_bag", "no_value"): [[(3, "no_value")], [(17, "outside_visit")]],
    }


def test_rows_of_other_visits_are_counted_apart() -> None:
    told = (ToldRow(17, "outside_visit"), ToldRow(3, "no_value"))
    lines = {
        lang: rows_told(RowCounts.of("a.csv", "readings", range(2, 18), told), Words(lang))
        for lang in ("en", "es")
    }
    assert lines["en"][0] == "a.csv: 16 rows, 14 used, 1 left out, 1 of other visits."
    assert lines["en"][1:] == ("row 3: no pressure.", "row 17: of another visit.")
    assert lines["es"][0] == "a.csv: 16 filas, 14 usadas, 1 dejada fuera, 1 de otras visitas."
