"""Water shared by ranches: curves from files, plans as ``stressmap water`` makes them, who has no part."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from helpers import small_ranch
from helpers.watered_ranch import MORE_COLUMNS

from stressmap.core.district_settings import DistrictWater
from stressmap.core.errors import OutputError, Problem
from stressmap.core.progress import Silent
from stressmap.core.ranch_result import RanchResult
from stressmap.jobs.district import AtWork, shared_water
from stressmap.jobs.district_turn import CallTurn
from stressmap.jobs.district_water import (
    WaterTask,
    asked_of,
    curve_of,
    plan_of,
    share_water,
    start_of,
)
from stressmap.jobs.handed_down import HandedDown
from stressmap.jobs.plan_ground import plan_ground, prepared_plan
from stressmap.jobs.shared_fits import shared_fits
from stressmap.jobs.water import plan_water
from stressmap.output.staging import output_folder
from stressmap.water.milp import solve_milp, solve_relaxed
from stressmap.water.shared_volume import SharedVolume

DAY = dt.date(2026, 7, 14)
WATER = '[water]\npump = "90 m3/h"\navailable = "7 m3"\nreserve = "3 m3"\ndraws = 0\ntime_limit_s = 10\n'
SHARED = DistrictWater.model_validate({"available": "8000 m3", "days": 5, "floor": 0.1})


def mapped(
    folder: Path, slug: str, *, water: str = WATER, trees: int = 24, drier_bar: float = 0.0
) -> RanchResult:
    """Write a small ranch of a district, as if it had been mapped."""
    source = small_ranch.write(folder / slug, small_ranch.SETTINGS + water)
    rows = small_ranch.readings().head(trees)
    rows["pressure_bar"] += drier_bar
    rows.to_csv(source.parent / "readings.csv", index=False)
    small_ranch.valves().merge(MORE_COLUMNS).to_file(source.parent / "valves.gpkg", driver="GPKG")
    return RanchResult(slug, source, slug.title(), folder / "out" / slug, "mapped", (DAY, DAY))


def task_of(ranch: RanchResult) -> WaterTask:
    return WaterTask(ranch, Path.cwd(), folder=None if ranch.folder is None else ranch.folder / "water")


@pytest.fixture(scope="module")
def ranches(tmp_path_factory: pytest.TempPathFactory) -> list[RanchResult]:
    folder = tmp_path_factory.mktemp("district")
    return [
        mapped(folder, "dry", drier_bar=3.0),
        mapped(folder, "wet"),
        mapped(folder, "new", trees=3),
        mapped(folder, "wrong", water=WATER + 'out_of_service = ["N9"]\n'),
        RanchResult("lost", folder / "lost.toml", "Lost", None, "failed", None, (Problem("a", "b", "c"),)),
    ]


@pytest.fixture(scope="module")
def shared(ranches: list[RanchResult]) -> SharedVolume:
    """Share the water as one call of ``district`` does: plans go on from what the curves worked out."""
    with shared_fits() as fits:
        made = share_water(SHARED, ranches, lambda one: replace(task_of(one), handed=HandedDown(fits=fits)))
        assert len(list(fits.folder.iterdir())) == 3 * 3, "fit, season and valves of those with amounts"
    return made


def test_all_of_the_volume_is_shared_and_the_drier_ranch_gets_more(shared: SharedVolume) -> None:
    table = shared.table.set_index("slug")
    assert table["share_m3"].sum() + shared.left_m3 == pytest.approx(8000.0)
    assert table.loc["dry", "share_m3"] > table.loc["wet", "share_m3"] > 0.0
    assert (shared.start, shared.days) == (dt.date(2026, 7, 15), 5)
    assert table["area_ha"].tolist() == pytest.approx([24.0] * 4 + [0.0], rel=0.01)
    relieved = table[["benefit", "equal_benefit", "need_benefit"]].sum()
    assert shared.left_m3 < 0.1 * 8000.0
    assert relieved["benefit"] >= relieved[["equal_benefit", "need_benefit"]].max() - 1e-9


def test_who_has_no_curve_gets_the_depth_of_all_or_nothing(shared: SharedVolume) -> None:
    table = shared.table.set_index("slug")
    assert table.loc[["new", "wrong", "lost"], "why"].tolist() == ["few_trees", "no_plan", "failed"]
    assert table.loc[["new", "wrong", "lost"], "share_m3"].tolist() == pytest.approx(
        [2000.0, 2000.0, 0.0], rel=0.01
    )
    assert table.loc[["new", "wrong", "lost"], "planned_m3"].isna().all()
    assert [problem.what for problem in shared.problems] == ["there is no valve 'N9'"]


def test_each_plan_is_that_of_the_command_with_its_share(
    ranches: list[RanchResult], shared: SharedVolume, tmp_path: Path
) -> None:
    asked = {**asked_of(SHARED, ranches), "available": shared.share_of("dry")}
    plan_water(ranches[0].source, asked=asked, out=tmp_path)
    assert ranches[0].folder is not None
    made = ranches[0].folder / "water"
    assert sorted(p.name for p in made.iterdir()) == sorted(p.name for p in tmp_path.iterdir())
    assert all((made / p.name).read_bytes() == p.read_bytes() for p in tmp_path.iterdir())
    plan = pd.read_csv(made / "water_plan.csv")
    used = shared.table.set_index("slug").loc["dry", "planned_m3"]
    assert plan["m3"].sum() == pytest.approx(used, rel=0.01)
    assert 0.5 * shared.share_of("dry") < used <= shared.share_of("dry") * (1 + 1e-9)
    assert not (ranches[2].folder or tmp_path).exists()


def test_a_plan_of_an_earlier_call_goes_where_a_ranch_gets_none_now(
    ranches: list[RanchResult], tmp_path: Path
) -> None:
    old, mine = old_plan(tmp_path / "new"), "notes.txt"
    (old / mine).write_text("x", encoding="utf-8")
    few_trees = replace(ranches[2], folder=tmp_path / "new")
    shared = share_water(SHARED, [few_trees], task_of)
    assert shared.table["why"].tolist() == ["few_trees"]
    assert names_in(old) == [mine, "run.json"]
    assert json.loads((old / "run.json").read_text(encoding="utf-8"))["files"] == ["run.json"]


def old_plan(folder: Path) -> Path:
    """Leave a plan that an earlier call has made."""
    place = folder / "water"
    place.mkdir(parents=True)
    page = {"job": "water", "versions": {"stressmap": "0"}, "files": ["run.json", "water_plan.csv"]}
    (place / "run.json").write_text(json.dumps(page), encoding="utf-8")
    (place / "water_plan.csv").write_text("x", encoding="utf-8")
    return place


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_plan_that_could_not_be_made_anew_leaves_none_beside_the_new_map(
    ranches: list[RanchResult], tmp_path: Path
) -> None:
    one = replace(ranches[1], folder=tmp_path / "wet")
    old, curve = old_plan(tmp_path / "wet"), curve_of(replace(task_of(one), asked=asked_of(SHARED, [one])))

    def everywhere(work: Any, tasks: Sequence[WaterTask]) -> Any:
        return ((task, curve if work is curve_of else "its worker was lost 4 times") for task in tasks)

    shared = share_water(SHARED, [one], task_of, everywhere)
    assert [problem.what for problem in shared.problems] == ["its worker was lost 4 times"]
    assert names_in(old) == ["run.json"]


def test_a_plan_that_cannot_be_taken_away_is_told_and_stays(
    ranches: list[RanchResult], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = old_plan(tmp_path / "new")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(output_folder, "workshop", refuse)
    shared = share_water(SHARED, [replace(ranches[2], folder=tmp_path / "new")], task_of)
    assert [problem.what for problem in shared.problems] == [
        "the output cannot be written (Permission denied)"
    ]
    assert names_in(old) == ["run.json", "water_plan.csv"]


@pytest.mark.parametrize("known", [True, False], ids=["of the district", "of someone"])
@pytest.mark.parametrize("water", [SHARED, None], ids=["shared", "no more shared"])
def test_plans_of_ranches_that_fail_or_share_no_more_are_withdrawn(
    ranches: list[RanchResult], tmp_path: Path, water: DistrictWater | None, *, known: bool
) -> None:
    """In a district that shares nothing now only where it did before: another plan there is the user's."""
    lost, other = ranches[-1], replace(ranches[0], folder=tmp_path / "dry")
    failed_one, mapped_one = old_plan(tmp_path / lost.slug), old_plan(tmp_path / "dry")
    kept = {"water_kept": {"x": {}}} if known else {}
    page = {"job": "district", "versions": {"stressmap": "0"}, "files": ["run.json"]} | kept
    (tmp_path / "run.json").write_text(json.dumps(page), encoding="utf-8")
    district = SimpleNamespace(water=water, handed_down=dict)
    with CallTurn(tmp_path) as turn:
        at_work = AtWork(tmp_path, None, turn)  # type: ignore[arg-type]
        results = [lost] if water else [lost, other]
        assert shared_water(district, results, at_work, Silent()) is None  # type: ignore[arg-type]
    gone = water is not None or known
    assert names_in(failed_one) == (["run.json"] if gone else ["run.json", "water_plan.csv"])
    assert names_in(mapped_one) == (["run.json"] if known and not water else ["run.json", "water_plan.csv"])


def test_a_call_that_a_newer_one_followed_takes_no_plan_away(
    ranches: list[RanchResult], tmp_path: Path
) -> None:
    """Its ranches fail for that very reason, and the plans there are those of the newer call."""
    lost, one = ranches[-1], replace(ranches[2], folder=tmp_path / "new")
    plans = [old_plan(tmp_path / lost.slug), old_plan(tmp_path / "new")]
    district = SimpleNamespace(water=SHARED, handed_down=dict)
    with CallTurn(tmp_path) as older, CallTurn(tmp_path):
        at_work = AtWork(tmp_path, None, older)  # type: ignore[arg-type]
        with pytest.raises(OutputError, match="another call of district has begun in this folder"):
            shared_water(district, [lost], at_work, Silent())  # type: ignore[arg-type]
        handed = HandedDown(call=older.of)
        shared = share_water(SHARED, [one], lambda ranch: replace(task_of(ranch), handed=handed))
    assert "another call of district has begun" in shared.problems[0].what
    assert [names_in(plan) for plan in plans] == [["run.json", "water_plan.csv"]] * 2


def test_old_readings_carry_no_amounts(ranches: list[RanchResult]) -> None:
    task = replace(task_of(ranches[1]), asked={"start": dt.date(2026, 8, 2)})
    assert curve_of(task).why == "stale"


def test_a_plan_that_cannot_be_written_is_told(ranches: list[RanchResult], tmp_path: Path) -> None:
    (tmp_path / "water_plan.csv").write_text("mine", encoding="utf-8")
    task = replace(task_of(ranches[1]), folder=tmp_path, asked={"available": 500.0})
    planned = plan_of(task)
    assert np.isnan(planned.water_m3)
    assert "not written by an earlier run" in planned.problems[0].what
    assert (tmp_path / "water_plan.csv").read_text(encoding="utf-8") == "mine"


def test_plans_begin_after_the_newest_visit_or_as_set(ranches: list[RanchResult]) -> None:
    later = replace(ranches[0], visit=(DAY, dt.date(2026, 7, 16)))
    assert start_of(SHARED, [*ranches, later]) == dt.date(2026, 7, 17)
    own = SHARED.model_copy(update={"start": dt.date(2026, 7, 20)})
    assert start_of(own, ranches) == dt.date(2026, 7, 20)
    assert start_of(SHARED, ranches[-1:]) is None


def test_whole_sets_never_relieve_more_than_relaxed_ones(ranches: list[RanchResult]) -> None:
    asked = {**asked_of(SHARED, ranches)}
    case = prepared_plan(plan_ground(ranches[0].source, asked, Silent()), Silent()).case
    most = solve_relaxed(case.problem)
    for part in (0.0, 0.2, 0.5, 0.8, 1.0):
        problem = replace(case.problem, volume_m3=part * most.water_m3)
        loose, whole = solve_relaxed(problem), solve_milp(problem, time_limit_s=10.0)
        assert loose.water_m3 <= problem.volume_m3 * (1 + 1e-6)
        assert loose.past_limit >= whole.past_limit * (1 - 1e-5)
        if loose.past_limit == pytest.approx(whole.past_limit, rel=1e-5, abs=1e-9):
            assert loose.benefit >= whole.benefit * (1 - 1e-5)
