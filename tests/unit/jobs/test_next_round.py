"""The map shows a round that was planned from its visit, and nothing of any other."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from pathlib import Path

import pytest
from helpers import drawn_round, small_ranch
from helpers.drawn_content import small

from stressmap.core import settings
from stressmap.jobs.next_round import next_round
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.staging.output_folder import round_folder
from stressmap.output.view.round_content import round_table
from stressmap.output.web.map_data import map_data

VISIT = (dt.date(2026, 7, 14), dt.date(2026, 7, 14))


def planned(top: Path, visit: tuple[dt.date, dt.date], day: dt.date = drawn_round.DAY) -> Path:
    content = drawn_round.content(drawn_round.drawn(6, 1))
    folder = top / round_folder("Two Sheds", day)
    folder.mkdir(parents=True)
    write_csv(round_table(content), folder / "round.csv")
    page = {"job": "round", "visit": [one.isoformat() for one in visit]}
    (folder / "run.json").write_text(json.dumps(page), encoding="utf-8")
    return folder


def test_the_round_of_the_visit_is_shown_in_place_of_the_places_to_look_again(tmp_path: Path) -> None:
    chosen = settings.load(small_ranch.write(tmp_path / "ranch"))
    folder = planned(tmp_path / "ranch", VISIT)
    found = next_round(chosen, VISIT)
    assert found is not None
    data = map_data(dataclasses.replace(small(), next_round=found))
    content = drawn_round.content(drawn_round.drawn(6, 1))
    assert [spot["tree"] for spot in data["again"]] == [stop.tree_id for stop in content.planned.stops]
    first = content.planned.stops[0]
    assert data["again"][0]["at"] == pytest.approx(content.degrees[1][::-1], abs=1e-6)
    assert data["again"][0]["bag"] == f"{first.bag_at:%H:%M}"
    assert data["round"] == {"en": "Jul 21", "es": "21 jul"}
    (folder / "round.csv").write_text("no round at all\n", encoding="utf-8")
    assert next_round(chosen, VISIT) is None


def test_a_round_of_another_visit_or_of_the_past_is_not(tmp_path: Path) -> None:
    chosen = settings.load(small_ranch.write(tmp_path / "ranch"))
    assert next_round(chosen, VISIT) is None
    planned(tmp_path / "ranch", (dt.date(2026, 7, 7), dt.date(2026, 7, 7)))
    planned(tmp_path / "ranch", VISIT, dt.date(2026, 7, 14))
    assert next_round(chosen, VISIT) is None
    data = map_data(small())
    assert data["round"] is None
