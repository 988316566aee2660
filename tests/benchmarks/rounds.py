"""Timed plans beside their proven bounds, OR-Tools routing and planning on straight lines.

Run by hand: ``python tests/benchmarks/rounds.py [checks] [routing] [straight] [crews] [--nodes 200]``;
prints tables of docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from ortools.constraint_solver import pywrapcp, routing_enums_pb2

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.kept_order import kept_order
from helpers.round_cases import drawn_task, orchard_task
from helpers.round_checker import violations

from stressmap.rounds.plan_bound import worth_bound
from stressmap.rounds.timed_plan import timed_plan

CASES = 10
SECONDS = 10


def routing(task, seconds: int) -> float:
    """Give the worth that OR-Tools routing reaches in a while: bags are pickups, reads deliveries."""
    n, (earliest, closes, bag, read, least, most) = len(task), task.clockwork
    manager = pywrapcp.RoutingIndexManager(2 * n + 1, task.crews, 0)
    model = pywrapcp.RoutingModel(manager)

    def passed(one: int, other: int) -> int:
        a, b = manager.IndexToNode(one), manager.IndexToNode(other)
        lasts = 0 if a == 0 else bag if a <= n else read
        return int(lasts + (0 if 0 in (a, b) else task.ways[(a - 1) % n, (b - 1) % n]))

    call = model.RegisterTransitCallback(passed)
    model.SetArcCostEvaluatorOfAllVehicles(call)
    model.AddDimension(call, closes - earliest, closes - earliest, False, "time")  # noqa: FBT003
    clock, solver = model.GetDimensionOrDie("time"), model.solver()
    for tree in range(n):
        first, second = manager.NodeToIndex(tree + 1), manager.NodeToIndex(tree + 1 + n)
        model.AddPickupAndDelivery(first, second)
        solver.Add(model.VehicleVar(first) == model.VehicleVar(second))
        solver.Add(clock.CumulVar(second) >= clock.CumulVar(first) + bag + least)
        solver.Add(clock.CumulVar(second) <= clock.CumulVar(first) + bag + most)
        clock.CumulVar(second).SetRange(-earliest, closes - earliest - read)
        worth = int(10_000 * task.worth[tree])
        model.AddDisjunction([first], worth)
        model.AddDisjunction([second], 0)
        solver.Add(model.ActiveVar(first) == model.ActiveVar(second))
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.time_limit.seconds = 30 * seconds
    began = time.process_time()
    model.AddSearchMonitor(solver.CustomLimit(lambda: time.process_time() - began > seconds))
    found = model.SolveWithParameters(search)
    if found is None:
        return 0.0
    bags = [manager.NodeToIndex(tree + 1) for tree in range(n)]
    taken = [tree for tree, bag_at in enumerate(bags) if found.Value(model.NextVar(bag_at)) != bag_at]
    return float(task.worth[taken].sum())


def timed(task) -> tuple[float, int, float]:
    """Give worth, trees and processor seconds of our plan."""
    began = time.process_time()
    plan = timed_plan(task)
    spent = time.process_time() - began
    assert violations(task, plan) == []
    return plan.worth, int((plan.crew >= 0).sum()), spent


def beside_routing(nodes: int, cases: list[int]) -> None:
    """Print our plans, their bounds and what OR-Tools routing reaches."""
    print("| case | ours | trees | CPU, s | proven bound | of it | OR-Tools routing, 10 s |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for seed in cases:
        task = orchard_task(seed)
        worth, trees, spent = timed(task)
        bound = worth_bound(task, nodes=nodes)
        other = routing(task, SECONDS)
        share = f"{worth / bound:.3f} | {other:.0f} |"
        print(f"| {seed} | {worth:.0f} | {trees} | {spent:.1f} | {bound:.0f} | {share}", flush=True)


def crews() -> None:
    """Print plans of two and three crews beside the linear bound and OR-Tools routing."""
    print(
        "| crews | candidates | case | ours | trees | CPU, s | of the proven bound | OR-Tools routing, 10 s |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for count in (2, 3):
        for seed in range(3):
            task = orchard_task(seed, 40 * count, count)
            worth, trees, spent = timed(task)
            share, other = worth / worth_bound(task), routing(task, SECONDS)
            told = f"{worth:.0f} | {trees} | {spent:.1f} | {share:.3f} | {other:.0f}"
            print(f"| {count} | {40 * count} | {seed} | {told} |", flush=True)


def straight() -> None:
    """Plan on straight lines, walk the plan's order on the real ways, and compare."""
    print("| case | planned along rows | planned on straight lines, promised | walked |")
    print("| --- | --- | --- | --- |")
    for seed in range(CASES):
        task = orchard_task(seed)
        along = timed_plan(task).worth
        plan = timed_plan(orchard_task(seed, straight=True))
        kept = kept_order(task, plan)
        assert violations(task, kept) == []
        print(f"| {seed} | {along:.0f} | {plan.worth:.0f} | {kept.worth:.0f} |", flush=True)


def checks() -> None:
    """Hold 500 random rounds against the checker."""
    broken = {}
    for seed in range(500):
        task = drawn_task(seed)
        broken[seed] = violations(task, timed_plan(task, steps=5_000))
    print({seed: found for seed, found in broken.items() if found} or "500 random rounds: no violation")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", default=["checks", "routing", "straight", "crews"])
    parser.add_argument("--nodes", type=int, default=0)
    parser.add_argument("--cases", type=int, nargs="*", default=list(range(CASES)))
    asked = parser.parse_args()
    parts = {
        "routing": lambda: beside_routing(asked.nodes, asked.cases),
        "straight": straight,
        "checks": checks,
        "crews": crews,
    }
    timed_plan(orchard_task(99), steps=10)
    for part in asked.parts:
        parts[part]()


if __name__ == "__main__":
    main()
