"""The best timed plan of a small task, proven by a constraint solver (OR-Tools' CP-SAT)."""

from __future__ import annotations

from ortools.sat.python import cp_model


def proven_optimum(task) -> float:
    """Give the worth of the best plan; worth must be whole."""
    earliest, closes, bag_s, read_s, least, most = task.clockwork
    model, n = cp_model.CpModel(), len(task)
    lasts = [bag_s if node % 2 == 0 else read_s for node in range(2 * n)]
    at = [
        model.new_int_var(earliest if node % 2 == 0 else 0, closes - lasts[node], "") for node in range(2 * n)
    ]
    takes = [[model.new_bool_var("") for _ in range(n)] for _ in range(task.crews)]
    for tree in range(n):
        model.add_at_most_one(crew[tree] for crew in takes)
    for crew in takes:
        arcs = [(0, 0, model.new_bool_var(""))]
        for one in range(2 * n):
            arcs += [(0, one + 1, model.new_bool_var("")), (one + 1, 0, model.new_bool_var(""))]
            arcs.append((one + 1, one + 1, crew[one // 2].negated()))
            for then in set(range(2 * n)) - {one}:
                goes = model.new_bool_var("")
                way = int(task.ways[one // 2, then // 2])
                model.add(at[then] >= at[one] + lasts[one] + way).only_enforce_if(goes)
                arcs.append((one + 1, then + 1, goes))
        model.add_circuit(arcs)
        for tree in range(n):
            apart = at[2 * tree + 1] - at[2 * tree] - bag_s
            model.add(apart >= least).only_enforce_if(crew[tree])
            model.add(apart <= most).only_enforce_if(crew[tree])
    model.add(sum(taken for crew in takes for taken in crew) <= task.trees)
    model.maximize(sum(int(task.worth[t]) * crew[t] for crew in takes for t in range(n)))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    if solver.solve(model) != cp_model.OPTIMAL:
        msg = "the optimum was not proven"
        raise AssertionError(msg)
    return float(solver.objective_value)
