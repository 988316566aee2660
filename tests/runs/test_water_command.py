"""The water plan as a user meets it: the command, its files, and the main job with [water]."""

import csv
import datetime as dt
import json
from pathlib import Path

import pandas as pd
import pytest
from helpers import small_ranch
from helpers.water_checker import Limits, violations
from helpers.watered_ranch import MORE_COLUMNS, WATER

PLAN_HEADER = (
    "valve,block,crop,pump,status,limited_by,area_ha,stress_bar,stress_se_bar,stress_for_need_bar,stage,need_mm,"
    "need_low_mm,need_high_mm,need_by_trees_mm,need_by_book_mm,inspect,hours,mm,net_mm,m3,flow_m3_h,sets,need_covered,stress_dry_bar,stress_after_bar,"
    "chosen_share,short_mm,etc_since_mm,etc_until_mm,given_mm,let_down_bar,mm_per_bar,divided_by,assumed,sure"
)
TIMETABLE_HEADER = "set,pump,valve,block,start,end,hours,flow_m3_h,m3,mm,pulse_on_min,pulse_off_min,code"


@pytest.fixture
def ranch(tmp_path: Path) -> Path:
    source = small_ranch.write(tmp_path / "ranch", small_ranch.SETTINGS + WATER)
    small_ranch.valves().merge(MORE_COLUMNS).to_file(source.parent / "valves.gpkg", driver="GPKG")
    return source


def tables(folder: Path) -> tuple[list[dict], list[dict]]:
    plan = pd.read_csv(folder / "water_plan.csv").to_dict("records")
    sets = pd.read_csv(folder / "timetable.csv")
    for name in ("start", "end"):
        sets[name] = [pd.Timestamp(text) for text in sets[name]]
    return plan, sets.to_dict("records")


def limits(volume: float, days: int) -> Limits:
    areas = {"N1": 6.0, "N2": 6.0, "S1": 6.0, "S2": 6.0}
    rates = dict(zip(MORE_COLUMNS["valve"], MORE_COLUMNS["rate_mm_h"], strict=True))
    return Limits(
        zone="America/Los_Angeles", first=dt.date(2026, 7, 16), days=days, volume_m3=volume,
        hours=("20:00", "06:00"), pumps={"": 90.0}, pump_of=dict.fromkeys(areas, ""),
        min_hours=dict(zip(MORE_COLUMNS["valve"], MORE_COLUMNS["min_hours"], strict=True)),
        max_hours=dict(zip(MORE_COLUMNS["valve"], MORE_COLUMNS["max_hours"], strict=True)),
        flow={v: areas[v] * rates[v] * 10 for v in areas}, out_of_service=("N2",), rest_hours=4.0,
    )  # fmt: skip


def test_the_files_of_a_plan_keep_every_limit(stressmap, ranch, tmp_path):
    out = tmp_path / "plan"
    answer = stressmap("water", ranch, "--out", out)
    assert (answer.code, answer.err) == (0, "")
    assert sorted(p.name for p in out.iterdir()) == [
        "run.json", "timetable.csv", "valve_times.xlsx", "water_plan.csv", "water_plan.txt",
    ]  # fmt: skip
    assert json.loads((out / "run.json").read_text(encoding="utf-8"))["job"] == "water"
    assert (out / "water_plan.csv").read_text().splitlines()[0] == PLAN_HEADER
    assert (out / "timetable.csv").read_text().splitlines()[0] == TIMETABLE_HEADER
    plan, sets = tables(out)
    assert violations(limits(2500.0, 4), plan, sets) == []
    by_valve = {row["valve"]: row for row in plan}
    assert by_valve["N2"]["status"] == "out of service"
    assert by_valve["S2"]["hours"] > 0
    assert by_valve["S2"]["limited_by"] == "rules", "one valve is dry, and it gets what one period may bring"


def test_what_is_asked_on_the_command_line_goes_before_the_settings(stressmap, ranch, tmp_path):
    for words, volume, days in (
        (("--available", "1 ML"), 1000.0, 4),
        (("--available", "1.5 acre-ft", "--days", "2"), 1850.3, 2),
    ):
        out = tmp_path / f"plan {days}"
        assert stressmap("water", ranch, *words, "--out", out, "--quiet").out == ""
        plan, sets = tables(out)
        assert violations(limits(volume, days), plan, sets) == []
        short = [row for row in plan if row["hours"] > 0 and row["need_covered"] < 1]
        assert short, "one valve needs more than the days may bring"
        assert {row["limited_by"] for row in short} == {"rules"}


def test_it_prints_comparison_assumptions_and_cautions(stressmap, ranch):
    said = " ".join(stressmap("water", ranch).out.split())
    for text in (
        "Water plan, Thu Jul 16, 2026 to Mon Jul 20, 2026; the water must last until Mon Jul 20, 2026",
        "of 2.03 acre-ft used",
        "equal share", "driest first", "nothing",
        "Over 100 draws of what the stress could also be",
        "No soil known: loam was taken",
        "Depths on the field are the need divided by uniformity, one of the two and never both.",
        "Water rights, curtailment orders and local codes go before anything written here.",
        "A licensed adviser decides on amounts",
        "harms trees, this crop and the buds of next year's",
        "What stays dry, and what that risks",
    ):  # fmt: skip
        assert text in said


def test_the_curve_goes_from_nothing_to_enough(stressmap, ranch, tmp_path):
    out = tmp_path / "plan"
    answer = stressmap("water", ranch, "--curve", "--out", out)
    assert "one more acre-ft buys less than" in " ".join(answer.out.split())
    rows = list(csv.DictReader((out / "water_curve.csv").read_text().splitlines()))
    assert len(rows) == 21
    shares = [float(row["share"]) for row in rows]
    assert shares[0] == 0.0
    assert shares == sorted(shares)
    assert {row["buys_little"] for row in rows} == {"true", "false"}
    assert (out / "water_curve.png").read_bytes().startswith(b"\x89PNG")


def test_the_same_plan_gives_the_same_bytes(stressmap, ranch, tmp_path):
    outs = [tmp_path / "one", tmp_path / "two"]
    for out in outs:
        assert stressmap("water", ranch, "--curve", "--out", out, "--quiet").code == 0
    for name in sorted(p.name for p in outs[0].iterdir()):
        assert (outs[0] / name).read_bytes() == (outs[1] / name).read_bytes(), name


def test_the_main_job_writes_the_plan_too(stressmap, ranch, tmp_path):
    out, alone = tmp_path / "all", tmp_path / "alone"
    assert stressmap("run", ranch, "--out", out, "--quiet").code == 0
    assert stressmap("water", ranch, "--out", alone, "--quiet").code == 0
    for name in ("water_plan.csv", "timetable.csv", "valve_times.xlsx", "water_plan.txt"):
        assert (out / name).read_bytes() == (alone / name).read_bytes(), name
    ranked, planned = (
        pd.read_csv(out / f"{name}.csv").set_index("valve") for name in ("valves", "water_plan")
    )
    assert planned["stress_bar"].to_dict() == ranked["stress_bar"].to_dict()
    report = (out / "report.html").read_text(encoding="utf-8")
    for text in (
        "The same water, shared in other ways",
        "driest first",
        "What stays dry, and what that risks",
    ):
        assert text in report


def test_the_text_is_in_both_languages(stressmap, ranch, tmp_path):
    stressmap("water", ranch, "--out", tmp_path / "plan", "--quiet")
    text = (tmp_path / "plan" / "water_plan.txt").read_text(encoding="utf-8")
    assert "Water rights, curtailment orders and local codes" in text
    assert "Los derechos de agua, las restricciones y los reglamentos locales" in text


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("--available", "80000"),
            "error: command line: Invalid value for --available: '80000' is not a number with a unit; write "
            "it with m3, ML, acre-ft, acre-in, as 1200.5 m3. See stressmap --help.",
        ),
        (
            ("--available", "0 m3"),
            "error: command line: Invalid value for --available: '0 m3' is no water; write a volume over "
            "zero. See stressmap --help.",
        ),
    ],
)
def test_a_wrong_amount(stressmap, ranch, words, message):
    answer = stressmap("water", ranch, *words)
    assert (answer.code, answer.errors) == (2, [message])


def test_an_impossible_demand_is_one_line_and_writes_nothing(stressmap, ranch, tmp_path):
    ranch.write_text(ranch.read_text().replace('pump = "90 m3/h"', 'pump = "5 m3/h"'))
    answer = stressmap("water", ranch, "--out", tmp_path / "plan")
    assert answer.code == 2
    assert answer.errors == [
        f"error: {ranch}, column water.pump: no pump is strong enough for any valve: the smallest needs "
        "60.0 m3/h, the strongest pump gives 5.0 m3/h. Correct the flow of the pump or of the valves."
    ]
    assert not (tmp_path / "plan").exists()


def test_too_little_water_for_any_set_says_so(stressmap, ranch):
    answer = stressmap("water", ranch, "--available", "20 m3")
    assert answer.code == 0
    said = " ".join(answer.out.split())
    assert (
        "No valve gets water: the amount is less than the smallest set of any valve that needs water." in said
    )


def test_no_plan_is_made_far_from_its_readings(stressmap, ranch, tmp_path):
    """A plan of August from readings of July would be followed: the map is made, the plan is not."""
    text = ranch.read_text(encoding="utf-8").replace("from = 2026-07-16", "from = 2026-08-20")
    ranch.write_text(text, encoding="utf-8")
    assert stressmap("run", ranch, "--out", tmp_path / "out").code == 0
    assert (tmp_path / "out" / "map.html").exists()
    assert not (tmp_path / "out" / "water_plan.csv").exists()
    said = json.loads((tmp_path / "out" / "run.json").read_text())["warnings"]
    assert any(line.startswith("No water plan was made: it would begin on 2026-08-20") for line in said)
    answer = stressmap("water", ranch)
    assert answer.code == 2
    (line,) = answer.errors
    assert line.startswith(
        f"error: {ranch}, column water.from: the plan begins on 2026-08-20, but its readings are of"
    )
