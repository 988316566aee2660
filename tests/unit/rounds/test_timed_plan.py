"""Plans in time keep every rule, reach what a constraint solver proves, and stay under the proven bound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.kept_order import kept_order
from helpers.round_cases import USUAL, drawn_task, orchard_task, small_task
from helpers.round_checker import violations
from helpers.round_optimum import proven_optimum

from stressmap.rounds.plan_bound import worth_bound
from stressmap.rounds.timed_plan import timed_plan
from stressmap.rounds.timed_task import TimedPlan, TimedTask


def test_random_rounds_break_no_rule() -> None:
    broken = {}
    for seed in range(40):
        task = drawn_task(seed)
        broken[seed] = violations(task, timed_plan(task, steps=3_000))
    assert {seed: found for seed, found in broken.items() if found} == {}


@pytest.mark.parametrize("seed", range(4))
def test_small_rounds_are_as_good_as_the_proven_optimum(seed: int) -> None:
    task = small_task(seed)
    assert timed_plan(task, steps=20_000).worth == proven_optimum(task)


def test_no_plan_is_over_the_bound() -> None:
    for seed in range(4):
        task = small_task(seed)
        assert worth_bound(task) >= proven_optimum(task) - 1e-6


def test_forty_trees_are_within_a_fifth_of_the_bound() -> None:
    task = orchard_task(0)
    plan = timed_plan(task, steps=150_000)
    assert violations(task, plan) == []
    assert plan.worth >= 0.8 * worth_bound(task)


def test_the_same_task_gives_the_same_plan() -> None:
    first, second = (timed_plan(orchard_task(1), steps=5_000) for _ in range(2))
    assert first.actions == second.actions


def test_a_second_crew_and_earlier_bags_help() -> None:
    task = orchard_task(2)
    alone = timed_plan(task, steps=50_000).worth
    assert timed_plan(replace(task, crews=2), steps=50_000).worth > 1.3 * alone
    late = replace(task, clockwork=USUAL._replace(earliest=0))
    assert timed_plan(late, steps=50_000).worth < alone


def test_an_order_kept_on_longer_ways_gives_trees_up() -> None:
    task = orchard_task(3)
    straight = replace(task, ways=task.ways // 2)
    plan = timed_plan(straight, steps=50_000)
    kept = kept_order(task, plan)
    assert violations(task, kept) == []
    assert 0 < kept.worth < plan.worth


def test_nothing_to_read_or_no_time_is_an_empty_plan() -> None:
    none = TimedTask(np.empty(0), np.empty((0, 0), np.int64), USUAL, crews=2)
    assert timed_plan(none).actions == ((), ())
    short = replace(small_task(0), clockwork=USUAL._replace(closes=100))
    assert timed_plan(short, steps=500).worth == 0.0


def test_the_checker_sees_broken_rules() -> None:
    task = orchard_task(4)
    plan = timed_plan(task, steps=5_000)
    tree = int(np.flatnonzero(plan.crew >= 0)[0])

    def spoiled(**changed: object) -> list[str]:
        return violations(task, replace(plan, **changed))

    late, early = plan.read_at.copy(), plan.bag_at.copy()
    late[tree], early[tree] = 7100, -1300
    assert any("within the window" in one for one in spoiled(read_at=late))
    assert any("too early" in one for one in spoiled(bag_at=early))
    assert "its worth is not that of its trees" in spoiled(worth=0.0)
    assert any("cannot be at" in one for one in violations(replace(task, ways=task.ways + 60), plan))
    assert isinstance(plan, TimedPlan)
