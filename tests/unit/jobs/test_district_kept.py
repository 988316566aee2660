"""Curves and plans of the shared water are worked out once: the next call takes those that still stand."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stressmap.core.errors import Problem
from stressmap.core.ranch_result import RanchResult
from stressmap.jobs.district_kept import KeepingWorkers
from stressmap.jobs.district_water import WaterTask, curve_of, plan_of
from stressmap.water.shared_volume import PlannedShare, RanchCurve

VISIT = (dt.date(2026, 7, 14), dt.date(2026, 7, 14))
CURVE = RanchCurve(
    "oak", "Oak", 12.5, 900.0, np.array([0.0, 450.0, 900.0]), np.array([0.0, 7.1, 9.3]),
    np.array([0.0, 0.4, 0.4]), gaps=((100.0, 140.0),),
)  # fmt: skip
NO_CURVE = RanchCurve("oak", "Oak", 12.5, float("nan"), why="few_trees")


class Crew:
    """Workers that give one answer, and count how often they are asked."""

    def __init__(self, answer: Any) -> None:
        self.answer, self.asked = answer, 0

    def cluster(self, pieces: int) -> Crew:
        assert pieces == 1
        return self

    def each(self, _work: Any, tasks: list[WaterTask]) -> Any:
        for task in tasks:
            self.asked += 1
            if isinstance(self.answer, PlannedShare):
                write(task.folder, "water", share=task.asked["available"])
            yield task, self.answer


def write(folder: Path | None, job: str, **told: object) -> None:
    assert folder is not None
    folder.mkdir(parents=True, exist_ok=True)
    page = {"job": job, "versions": {"stressmap": "0"}, "files": ["run.json"], "timings": {}} | told
    (folder / "run.json").write_text(json.dumps(page), encoding="utf-8")


@pytest.fixture
def task(tmp_path: Path) -> WaterTask:
    write(tmp_path / "oak", "run", fit=1)
    ranch = RanchResult("oak", tmp_path / "ranch.toml", "Oak", tmp_path / "oak", "mapped", VISIT)
    return WaterTask(ranch, tmp_path, {"available": None}, folder=tmp_path / "oak" / "water")


def called(
    work: Any, task: WaterTask, answer: Any, before: dict[str, Any]
) -> tuple[int, Any, dict[str, Any]]:
    """Give how often workers were asked, the result, and what is kept, as it comes back from a file."""
    crew = Crew(answer)
    keeping = KeepingWorkers(crew, before)  # type: ignore[arg-type]
    ((_, result),) = keeping(work, [task])
    return crew.asked, result, json.loads(json.dumps(keeping.now, allow_nan=False))


@pytest.mark.parametrize("curve", [CURVE, NO_CURVE])
def test_a_curve_stands_as_it_was_until_the_map_or_what_is_asked_changes(
    task: WaterTask, curve: RanchCurve
) -> None:
    asked, _, kept = called(curve_of, task, curve, {})
    assert asked == 1
    asked, again, kept_again = called(curve_of, task, None, kept)
    assert (asked, kept_again) == (0, kept)
    np.testing.assert_equal(vars(again), vars(curve))
    assert called(curve_of, replace(task, asked={"days": 3}), curve, kept)[0] == 1
    write(task.ranch.folder, "run", fit=1, timings={"read": 2.0})
    assert called(curve_of, task, curve, kept)[0] == 0
    write(task.ranch.folder, "run", fit=2)
    assert called(curve_of, task, curve, kept)[0] == 1


def test_a_plan_stands_only_while_it_lies_there_as_it_was_written(task: WaterTask) -> None:
    share = PlannedShare("oak", 440.0)
    hundred, other = replace(task, asked={"available": 100.0}), replace(task, asked={"available": 200.0})
    asked, _, kept = called(plan_of, hundred, share, {})
    assert asked == 1
    assert called(plan_of, hundred, None, kept) == (0, share, kept)
    assert called(plan_of, other, share, kept)[0] == 1, "another share is another plan"
    assert called(plan_of, hundred, share, kept)[0] == 1, "whose files took the place of the first"


def test_a_plan_that_lay_nowhere_does_not_stand(task: WaterTask) -> None:
    nowhere = replace(task, folder=None, asked={"available": 100.0})
    keeping = KeepingWorkers(Crew(NO_CURVE), {})  # type: ignore[arg-type]
    list(keeping(plan_of, [nowhere]))
    (key,) = keeping.now
    kept = {key: {"slug": "oak", "water_m3": 440.0, "record": None}}
    assert called(plan_of, nowhere, NO_CURVE, kept)[0] == 1


def test_what_went_wrong_is_not_kept(task: WaterTask) -> None:
    failed = replace(NO_CURVE, why="no_plan", problems=(Problem("f", "w", "r"),))
    for answer in (failed, "its worker was lost 4 times"):
        assert called(curve_of, task, answer, {}) == (1, answer, {})


def test_a_record_that_makes_no_sense_is_as_none(task: WaterTask) -> None:
    key = next(iter(called(curve_of, task, CURVE, {})[2]))
    for nonsense in ({"slug": "oak"}, [], "x", {"slug": 1, "name": 2, "gaps": 3}):
        assert called(curve_of, task, CURVE, {key: nonsense})[0] == 1
