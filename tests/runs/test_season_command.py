"""``stressmap season`` as a user meets it: its files, what it says with less than everything, its errors."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers import small_ranch
from helpers.command import Command

from stressmap.core.progress import Silent
from stressmap.core.schemas import columns_of
from stressmap.core.season_schemas import COURSE, CYCLES, DUE, SEASON_BLOCKS
from stressmap.jobs.assess_visit import assess_readings, load_inputs
from stressmap.jobs.map_visit import fit
from stressmap.jobs.recall_visits import recall
from stressmap.jobs.season_so_far import season_of

FILES = {"season.html", "season.csv", "cycles.csv", "due.csv", "season_blocks.csv", "run.json"}


def seasons_ranch(folder: Path, visits: int) -> Path:
    """A small ranch read every week, watered the day before; the sets of S2 do not arrive."""
    source = small_ranch.write(folder)
    first = small_ranch.readings()
    tables, sets = [], []
    rng = np.random.default_rng(8)
    for week in range(visits):
        day = pd.Timestamp("2026-06-16") + pd.Timedelta(days=7 * week)
        clock = pd.to_datetime(first["time"]) - pd.Timestamp("2026-07-14")
        dry = first["pressure_bar"] > 15.5
        pressure = 12.5 + 5.0 * dry + 0.8 * week * dry + rng.normal(0, 0.4, len(first))
        tables.append(
            first.assign(time=(day + clock).dt.strftime("%Y-%m-%d %H:%M"), pressure_bar=pressure.round(1))
        )
        sets += [
            (valve, (day - pd.Timedelta(hours=26)).isoformat(), 10) for valve in ("N1", "N2", "S1", "S2")
        ]
    pd.concat(tables).to_csv(folder / "readings.csv", index=False)
    pd.DataFrame(sets, columns=["valve", "start", "hours"]).to_csv(folder / "irrigation.csv", index=False)
    hours = pd.date_range("2026-05-15", "2026-07-25", freq="h")
    warm = 26.0 + 9.0 * np.sin((hours.hour - 9) * np.pi / 12)
    sun = np.maximum(0.0, 950.0 * np.sin((hours.hour - 6) * np.pi / 13))
    pd.DataFrame(
        {"time": hours.strftime("%Y-%m-%d %H:%M"), "temp_c": warm.round(1),
         "rh_pct": (95 - 2 * warm).round(0), "wind_m_s": 2.0, "solar_w_m2": sun.round(0)}
    ).to_csv(folder / "weather.csv", index=False)  # fmt: skip
    return source


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    return Command(monkeypatch, capsys)


def test_five_visits_give_every_file_with_the_columns_of_the_page(tmp_path: Path, command: Command) -> None:
    source, out = seasons_ranch(tmp_path / "ranch", 5), tmp_path / "out"
    answer = command("season", source, "--out", out)
    assert answer.code == 0, answer.err
    assert {path.name for path in out.iterdir()} == FILES
    for name, schema in (
        ("season", COURSE),
        ("cycles", CYCLES),
        ("due", DUE),
        ("season_blocks", SEASON_BLOCKS),
    ):
        assert pd.read_csv(out / f"{name}.csv", nrows=0).columns.tolist() == list(columns_of(schema))
    course, due = pd.read_csv(out / "season.csv"), pd.read_csv(out / "due.csv")
    assert len(course) == 5 * 4
    assert due["valve"].iloc[0] == "S2"
    assert due["days_left"].iloc[0] == 0.0
    known = due["days_left"].notna() & due["days_left_high"].notna()
    assert (due["days_left_low"] <= due["days_left"])[known].all()
    page = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert (page["job"], len(page["visits"]), set(page["files"])) == ("season", 5, FILES)
    assert any(note["code"] == "season_dry_after_water" for note in page["notes"])
    assert "Watered, not relieved: S2" in " ".join(answer.out.split())
    again = command("season", source, "--out", tmp_path / "again", "--quiet")
    assert again.out == ""
    for name in FILES:
        assert (tmp_path / "again" / name).read_bytes() == (out / name).read_bytes(), name


@pytest.mark.parametrize("visits", [1, 2])
@pytest.mark.parametrize("lacks", ["irrigation", "weather", ""])
def test_what_is_said_with_less_is_true_and_useful(
    tmp_path: Path, command: Command, visits: int, lacks: str
) -> None:
    source, out = seasons_ranch(tmp_path / "ranch", visits), tmp_path / "out"
    if lacks:
        lines = source.read_text(encoding="utf-8").splitlines()
        source.write_text("\n".join(line for line in lines if not line.startswith(lacks)), encoding="utf-8")
    answer = command("season", source, "--out", out)
    assert answer.code == 0, answer.err
    codes = {note["code"] for note in json.loads((out / "run.json").read_text(encoding="utf-8"))["notes"]}
    assert ("season_one_visit" in codes) == (visits == 1)
    assert ("season_without_log" in codes) == (lacks == "irrigation")
    assert ("season_log_or_weather_short" in codes) == (lacks == "weather")
    due = pd.read_csv(out / "due.csv")
    assert due["stress_bar"].notna().all()
    assert (due["drying_bar_per_day"] > 0).all()
    assert due["advice_en"].notna().all()
    assert due["interval_days"].notna().any() == (visits > 1 and lacks != "irrigation")
    # without water stress rises: who is not past what is allowed comes to it, or not within three weeks
    assert (due["days_left"].isna() | (due["days_left"] >= 0)).all()


def test_last_seasons_file_is_a_prior_and_is_said(tmp_path: Path, command: Command) -> None:
    source, out = seasons_ranch(tmp_path / "ranch", 2), tmp_path / "out"
    table = pd.DataFrame(
        {
            "block": ["North Shed", "Elsewhere"],
            "mm_per_bar": 12.0,
            "mm_per_bar_low": 9.0,
            "mm_per_bar_high": 16.0,
        }
    )
    table.to_csv(tmp_path / "ranch" / "season_blocks.csv", index=False)
    text = source.read_text(encoding="utf-8")
    source.write_text(text.replace("[files]", '[files]\nlast_season = "season_blocks.csv"'), encoding="utf-8")
    assert command("season", source, "--out", out).code == 0
    blocks = pd.read_csv(out / "season_blocks.csv").set_index("block")
    assert blocks["prior_used"].to_dict() == {"North Shed": True, "South Shed": False}
    assert blocks.loc["North Shed", "mm_per_bar_high"] < blocks.loc["South Shed", "mm_per_bar_high"]
    notes = {
        note["code"]: note for note in json.loads((out / "run.json").read_text(encoding="utf-8"))["notes"]
    }
    assert notes["season_prior"]["values"]["blocks"] == ["North Shed"]


def test_a_wrong_key_and_a_file_that_is_not_there_are_one_line_each(tmp_path: Path, command: Command) -> None:
    source = small_ranch.write(tmp_path / "ranch")
    text = source.read_text(encoding="utf-8")
    source.write_text(f"{text}\n[season]\nallowed = 4\n", encoding="utf-8")
    answer = command("season", source, "--out", tmp_path / "out")
    assert (answer.code, len(answer.errors)) == (2, 1)
    assert "Did you mean 'allowed_bar'?" in answer.errors[0]
    source.write_text(text.replace("[files]", '[files]\nlast_season = "none.csv"'), encoding="utf-8")
    answer = command("season", source, "--out", tmp_path / "out")
    assert (answer.code, len(answer.errors)) == (3, 1)
    assert not (tmp_path / "out").exists()


def test_a_season_takes_no_runs_place_and_no_input_is_written_over(tmp_path: Path, command: Command) -> None:
    source = small_ranch.write(tmp_path / "ranch")
    (tmp_path / "out").mkdir()
    page = {"job": "run", "files": ["run.json"], "versions": {"stressmap": "0"}}
    (tmp_path / "out" / "run.json").write_text(json.dumps(page), encoding="utf-8")
    answer = command("season", source, "--out", tmp_path / "out")
    assert (answer.code, len(answer.errors)) == (4, 1)
    assert "it holds the result of a run" in answer.errors[0]
    pd.DataFrame(
        {"block": ["North Shed"], "mm_per_bar": 9.0, "mm_per_bar_low": 8.0, "mm_per_bar_high": 10.0}
    ).to_csv(tmp_path / "ranch" / "season_blocks.csv", index=False)
    text = source.read_text(encoding="utf-8")
    source.write_text(text.replace("[files]", '[files]\nlast_season = "season_blocks.csv"'), encoding="utf-8")
    answer = command("season", source, "--out", tmp_path / "ranch")
    assert (answer.code, len(answer.errors)) == (4, 1)
    assert "season_blocks.csv lies in it and would be written over" in answer.errors[0]


def test_a_map_and_a_season_of_the_same_files_say_the_same_of_what_is_due(tmp_path: Path) -> None:
    # more visits than a map remembers: both go on from one fit of the last three
    source = seasons_ranch(tmp_path / "ranch", 5)
    source.write_text(source.read_text(encoding="utf-8") + "\n[memory]\nvisits = 2\n", encoding="utf-8")
    inputs, orchard = load_inputs(source, Silent()).value
    fitted = fit(inputs, assess_readings(inputs, orchard, None).value, 1, Silent())
    recalled = recall(inputs, fitted.assessed, fitted.surface).value
    whole, of_map = (
        season_of(inputs, fitted.assessed, shared=recalled, whole=whole) for whole in (True, False)
    )
    assert len(recalled.earlier) == 2
    assert len(whole.visits) == 5
    assert whole.due["due"].notna().any()
    pd.testing.assert_frame_equal(of_map.due, whole.due)
    assert of_map.learnt == whole.learnt
    assert of_map.alarms == whole.alarms


def test_a_forecast_of_a_hot_week_moves_what_is_due_by_its_evapotranspiration(tmp_path: Path) -> None:
    source = seasons_ranch(tmp_path / "ranch", 2)
    days = pd.date_range("2026-06-24", periods=21, freq="D")
    hot = pd.DataFrame(
        {"time": days.strftime("%Y-%m-%d 12:00"), "temp_c": 35.0, "rh_pct": 20.0,
         "eto_mm": np.where(np.arange(21) < 7, 12.0, 5.0)}
    )  # fmt: skip
    hot.to_csv(tmp_path / "hot.csv", index=False)
    hot.assign(eto_mm=5.0).to_csv(tmp_path / "mild.csv", index=False)
    read, orchard = load_inputs(source, Silent()).value
    # without a log nothing but the evapotranspiration moves a course
    assert read.weather is not None
    past = read.weather[read.weather["time"].dt.date < days[0].date()]
    inputs = replace(read, irrigation=None, weather=past)
    assessed = assess_readings(inputs, orchard, None).value
    recalled = recall(inputs, assessed, fit(inputs, assessed, 1, Silent()).surface).value
    found = {}
    for name in ("hot", "mild"):
        files = read.settings.files.model_copy(update={"forecast": tmp_path / f"{name}.csv"})
        settings = read.settings.model_copy(update={"files": files})
        found[name] = season_of(replace(inputs, settings=settings), assessed, shared=recalled)
    today = found["hot"].days.today
    rise = {name: one.days.mean[today:] - one.days.mean[today] for name, one in found.items()}
    # six of the seven days from today on take 7 mm more: a day of them brings what a mm does, seven times
    more = np.diff(rise["hot"] - rise["mild"], axis=0)
    drying = {name: one.due.set_index("valve")["drying_bar_per_day"] for name, one in found.items()}
    per_mm = (drying["hot"] - drying["mild"]).loc[list(found["hot"].days.valves)].to_numpy() / 6.0
    assert more[1:8] == pytest.approx(np.tile(7.0 * per_mm, (7, 1)))
    assert more[8:] == pytest.approx(0.0, abs=1e-9)
    left = {name: one.due.set_index("valve")["days_left"].sort_index() for name, one in found.items()}
    open_valves = (left["mild"] > 1.0) & (left["mild"] < 20.0)
    assert open_valves.any()
    assert (left["hot"] < left["mild"])[open_valves].all()
