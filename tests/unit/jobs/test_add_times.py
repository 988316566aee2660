"""Valve times by the field form's own export, and by codes alone, into the record and out as a log."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers import small_ranch
from helpers.node_runs import run_node
from helpers.paths import REPOSITORY

from stressmap.core import settings
from stressmap.core.set_codes import set_codes
from stressmap.intake.record_inputs import record_logs
from stressmap.jobs.add import add
from stressmap.jobs.record_of_ranch import record_rows
from stressmap.output.staging.output_folder import slug

ZONE = "America/Los_Angeles"
OPENS = pd.Timestamp("2026-07-16 20:00", tz=ZONE)
HOUR = pd.Timedelta(hours=1)
CODE = set_codes([("N1", OPENS)])[0]


def milliseconds(moment: pd.Timestamp) -> int:
    return int(moment.timestamp() * 1000)


def entered(entry: str, code: str, start: pd.Timestamp, hours: float) -> list[dict[str, Any]]:
    """What a person at a phone enters of one set: opened, closed."""
    plan = (milliseconds(OPENS), milliseconds(OPENS + 9 * HOUR)) if code else (None, None)
    first = {
        "code": code,
        "valve": "N1",
        "block": "North Shed",
        "plannedStart": plan[0],
        "plannedEnd": plan[1],
    }
    return [
        {"kind": "set", "entry": entry, **first},
        {"kind": "opened", "entry": entry, "time": milliseconds(start)},
        {"kind": "closed", "entry": entry, "time": milliseconds(start + hours * HOUR)},
    ]


def exported(events: list[dict[str, Any]], target: Path) -> Path:
    done = run_node(
        "tests/js/entered_sets.mjs", json.dumps({"zone": ZONE, "events": events}), folder=REPOSITORY
    )
    assert done.returncode == 0, done.stderr
    target.write_text(done.stdout, encoding="utf-8")
    return target


def log_of(source: Path) -> list[list[str]]:
    record = record_rows(settings.load(source))
    assert record is not None
    (log,) = record_logs(record, ZoneInfo(ZONE))
    lines = log.filled().decode().splitlines()[1:]
    return [line.split(",") for line in lines if line]


def test_what_is_entered_in_the_form_is_what_the_log_has(tmp_path: Path) -> None:
    source = small_ranch.write(tmp_path / "ranch")
    late = OPENS + pd.Timedelta(minutes=7)
    sets = [
        ("e-1", CODE, late, 8.5),
        ("e-2", "", OPENS + 48 * HOUR, 3.0),
        ("e-3", "", OPENS + 96 * HOUR, 2.0),
    ]
    events = [event for one in sets for event in entered(*one)]
    details = {"note": '-2 risers; "both"\nwet', "trouble": ["leak", "clogged"]}
    events += [{"kind": "set_details", "entry": "e-1", **details}, {"kind": "withdraw", "entry": "e-3"}]
    (arrived,) = add(source, [exported(events, tmp_path / "sets.csv")]).files
    assert (arrived.added.count("new"), arrived.doubts, arrived.unusable) == (3, (), ())
    wanted = [(late, 8.5), (OPENS + 48 * HOUR, 3.0)]
    assert [[row[0], *map(pd.Timestamp, row[1:])] for row in log_of(source)] == [
        ["N1", start, start + hours * HOUR] for start, hours in wanted
    ]
    first = record_rows(settings.load(source)).valve_times[0]  # type: ignore[union-attr]
    assert (first["code"], first["trouble"]) == (CODE, "leak; clogged")
    assert "2 risers" in first["note"]


def test_codes_alone_come_back_once_the_timetable_is_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    source = small_ranch.write(tmp_path / "ranch")
    times = tmp_path / "times.csv"
    times.write_text(f"code,start,end,trouble\n{CODE},20:10,5:20,fuga\n", encoding="utf-8")
    unknown = add(source, [times]).files[0]
    assert (unknown.added.count("new"), unknown.unusable) == (0, (2,))
    assert "times_code_unknown" in {told.code for _, doubts in unknown.refused for told in doubts}
    folder = tmp_path / "outputs" / slug(settings.load(source).ranch.name) / "2026-07-14"
    folder.mkdir(parents=True)
    times_planned = f"{OPENS.isoformat()},{(OPENS + 9 * HOUR).isoformat()}"
    (folder / "timetable.csv").write_text(f"code,valve,block,start,end\n{CODE},N1,B,{times_planned}\n")
    known = add(source, [times]).files[0]
    assert (known.added.count("new"), known.unusable, known.doubts) == (1, (), ())
    assert log_of(source) == [["N1", "2026-07-16 20:10:00-07:00", "2026-07-17 05:20:00-07:00"]]
    assert add(source, [times]).files[0].earlier is not None
