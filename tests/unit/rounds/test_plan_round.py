"""Whole rounds on a small ranch: every rule kept, every want met or told, every stop real."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from helpers.round_ranch import NOISE, STANDING, ground, task

from stressmap.rounds import plan_round as planning
from stressmap.rounds.candidates import rows_of_blocks, trees_of_block
from stressmap.rounds.plan_round import plan_round
from stressmap.rounds.round import CAUTIONS, WHY, CrewRules, Round, RoundTask, SeasonWants
from stressmap.rounds.worth import SPREAD_SHARE, valued
from stressmap.zoning.value_of_information import expected_gain


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick = planning.timed_plan
    monkeypatch.setattr(planning, "timed_plan", lambda timed, steps: quick(timed, steps=min(steps, 8_000)))


@cache
def usual() -> Round:
    return plan_round(task())


def minutes(one: dt.datetime, other: dt.datetime) -> float:
    return (other - one).total_seconds() / 60


def hold_rules(found: Round, asked: RoundTask) -> None:
    rules, hours = asked.rules, asked.hours
    for stop in found.stops:
        leaves = 2 if {"second_leaf", "both_chambers"} & set(stop.why) else 1
        bagged = minutes(stop.bag_at, stop.read_at) - leaves * rules.bag_seconds / 60
        assert rules.least_bagged_minutes <= bagged <= rules.most_bagged_minutes
        assert hours.earliest <= stop.bag_at
        assert hours.opens <= stop.read_at
        assert minutes(stop.read_at, hours.closes) >= leaves * rules.read_seconds / 60
        assert set(stop.why) <= {*WHY, *CAUTIONS}
        assert stop.expected_low_bar < stop.expected_bar < stop.expected_high_bar
    for crew in range(1, rules.crews + 1):
        mine = [stop for stop in found.stops if stop.crew == crew]
        clock = sorted([(s.bag_at, s) for s in mine] + [(s.read_at, s) for s in mine], key=lambda one: one[0])
        for (begins, one), (then, other) in pairwise(clock):
            apart = np.hypot(one.x - other.x, one.y - other.y)
            assert minutes(begins, then) * 60 >= rules.bag_seconds + apart / max(
                rules.walk_m_s, rules.drive_m_s
            )
    assert [stop.number for stop in found.stops] == list(range(1, len(found.stops) + 1))
    assert len({stop.tree_id for stop in found.stops}) == len(found.stops)


def test_a_round_keeps_every_rule() -> None:
    hold_rules(usual(), task())
    assert len(usual().stops) >= 8
    assert usual().value <= usual().bound
    assert usual().notes == ()


def test_standing_and_new_trees_both_have_their_part() -> None:
    known = sum(stop.known for stop in usual().stops)
    assert 2 <= known <= len(usual().stops) - 2


def test_new_trees_stand_in_a_row_by_number_and_away_from_edges() -> None:
    for stop in usual().stops:
        if not stop.known:
            west = 600_000.0 + 300 * "ABC".index(stop.block)
            assert stop.row is not None
            assert stop.x - west == pytest.approx(6 * (stop.row - 0.5))
            assert stop.y - 4_000_000.0 == pytest.approx(5 * ((stop.tree_number or 0) - 0.5))
            assert 18 - 6 <= stop.x - west <= 280 - 12
            assert stop.tree_id == f"{stop.block} R{stop.row} T{stop.tree_number}"


def test_what_is_expected_is_the_map_at_that_hour_with_tree_and_reading_error() -> None:
    stop = usual().stops[0]
    hour = minutes(task().hours.opens, stop.read_at) / 120
    assert stop.expected_bar == pytest.approx(2.0 + 10.0 + hour)
    sd = np.sqrt(0.7 + 0.8 + NOISE)
    assert stop.expected_high_bar - stop.expected_bar == pytest.approx(1.645 * sd)


def test_trees_of_a_valve_that_runs_at_an_edge_or_read_today_are_left_out() -> None:
    wants = SeasonWants(running=frozenset({"A1"}), read_today=frozenset({"C-1"}))
    found = plan_round(task(wants=wants))
    assert "A1" not in {stop.valve for stop in found.stops}
    assert not {"B-edge", "C-1"} & {stop.tree_id for stop in found.stops}


def test_a_tree_asked_for_is_read_and_its_caution_told() -> None:
    wants = SeasonWants(asked=frozenset({"B-edge", "Z-9"}))
    found = plan_round(task(wants=wants))
    stop = next(stop for stop in found.stops if stop.tree_id == "B-edge")
    assert stop.why[0] == "asked_for"
    assert stop.why[-1] == "near_edge"
    assert [note.code for note in found.notes] == ["round_trees_unknown"]


def test_valves_due_and_blocks_never_read_are_visited() -> None:
    wants = SeasonWants(due_days={"C2": 2.0}, never_read=frozenset({"C"}))
    found = plan_round(task(wants=wants, standing=STANDING[:5]))
    why = {(stop.valve, code) for stop in found.stops for code in stop.why}
    assert ("C2", "valve_due") in why
    assert {valve for valve, code in why if code == "block_never_read"} & {"C1", "C2"}


def test_two_chambers_meet_at_three_trees_and_every_fifth_gives_a_second_leaf() -> None:
    asked = task(wants=SeasonWants(chambers=2), rules=CrewRules(crews=2))
    found = plan_round(asked)
    hold_rules(found, asked)
    codes = [code for stop in found.stops for code in stop.why]
    assert codes.count("both_chambers") == 3
    assert 1 <= codes.count("second_leaf") <= len(found.stops) // 2
    assert found.crews == 2


def test_a_late_start_is_planned_anew() -> None:
    hours = task().hours
    now = hours.opens + dt.timedelta(minutes=50)
    asked = task(hours=replace(hours, earliest=now))
    found = plan_round(asked)
    hold_rules(found, asked)
    assert 0 < len(found.stops) < len(usual().stops)


def test_no_time_is_an_empty_round_that_says_so() -> None:
    hours = task().hours
    found = plan_round(task(hours=replace(hours, earliest=hours.closes - dt.timedelta(minutes=5))))
    assert (found.stops, found.ways, found.value) == ((), (), 0.0)
    assert [note.code for note in found.notes] == ["round_empty"]


def test_without_rows_a_place_is_told_and_the_guess_said() -> None:
    found = plan_round(task(ground=ground(rows=False), standing=()))
    assert {stop.row for stop in found.stops} == {None}
    assert "round_rows_guessed" in {note.code for note in found.notes}


def test_the_ways_lead_from_stop_to_stop() -> None:
    found = usual()
    places = {(stop.x, stop.y) for stop in found.stops}
    assert {way.line[0] for way in found.ways} | {way.line[-1] for way in found.ways} <= places
    assert len(found.ways) >= len(found.stops)


def test_the_worth_of_the_first_tree_is_that_of_the_decision_and_the_spread() -> None:
    asked = task(standing=())
    rows = rows_of_blocks(asked, [0])
    trees = trees_of_block(asked, 0, rows[0][1])
    first, *others = valued(asked, [trees], 5)
    zone = np.append(trees.cells.valve, np.full(1, 2))
    joint = asked.surface.zone_covariance(trees.cells.followed_by(trees.places.take([first.place])), zone, 3)
    moved = joint.shift_sd(2)[:2]
    before = np.sqrt(np.diag(joint.covariance)[:2])
    # the cost of a wrong decision is the unit normal linear loss; its slope by a difference of variances
    nearly = np.sqrt(before**2 - 1e-6)
    loss = expected_gain([-0.5, 0.5], before) - expected_gain([-0.5, 0.5], nearly)
    told = moved**2 * (loss / 1e-6 * before + SPREAD_SHARE)  # the ranch's usual standard error is one bar
    assert first.worth == pytest.approx(3.4 * told.sum(), rel=1e-4)
    assert all(one.worth <= first.worth + 1e-9 for one in others if "second_leaf" not in one.why)
