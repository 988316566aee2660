"""Change one thing in the code and see whether a test falls: mutation testing of the five rooms that compute.

Run by hand, never in CI (an hour and more)::

    pip install cosmic-ray
    python tests/benchmarks/mutants.py --rooms agronomy quality --most 60 --out mutants.json
    python tests/benchmarks/mutants.py --again mutants.json --out survivors.json

cosmic-ray lists the mutants and makes each of them; this script draws a seeded sample of its list, writes
each mutant into a copy of the working tree, never in place, and runs the tests that cover the mutated module.
What all of them import is imported once, and each mutant runs in a fork of that.

The sample is drawn by place: first a place in the code and a kind of change (a number, an operator of
arithmetic, a comparison, ...), each with the same chance, then one of its changes. Annotations are left out
before: no module evaluates them (``from __future__ import annotations``), so a change there is none.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import contextlib
import importlib
import json
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from itertools import zip_longest
from pathlib import Path

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

HERE = Path(__file__).parents[2]
ROOMS = ("agronomy", "quality", "zoning", "water", "geostat")
CPU_SECONDS, WALL_SECONDS = 60, 400
WITHOUT_COMPILER = {
    "stressmap/geostat/kernels.py": (
        "tests/published/test_textbook_ok7.py",
        "tests/laws/test_kriging_laws.py",
        "-k",
        "printed or weights or pykrige or nugget or transferred",
    )
}
"""Compiled loops: run as plain Python, on tests small enough for that, for compiling takes half a minute."""
TESTS = {
    "agronomy": [
        "tests/unit/agronomy",
        "tests/published/test_fao56.py",
        "tests/published/test_baseline_grid.py",
        "tests/published/test_walnut_varieties.py",
        "tests/published/test_common_practice.py",
        "tests/laws/test_agronomy_laws.py",
        "tests/laws/test_same_trees_other_weather.py",
        "tests/unit/water/test_requirement.py",
        "tests/laws/test_values_are_frozen.py",
    ],
    "quality": [
        "tests/unit/quality",
        "tests/laws/test_values_are_frozen.py",
        "tests/laws/test_planted_faults.py",
        "tests/laws/test_same_trees_other_weather.py",
    ],
    "zoning": ["tests/unit/zoning", "tests/laws/test_values_are_frozen.py"],
    "water": [
        "tests/unit/water",
        "tests/laws/test_values_are_frozen.py",
        "tests/published/test_water_hand_calculations.py",
        "tests/laws/test_water_brute_force.py",
        "tests/laws/test_allowance_laws.py",
        "tests/laws/test_water_limits.py::test_no_limit_is_violated[0]",
    ],
    "geostat": [
        "tests/laws/test_values_are_frozen.py",
        "tests/published/test_textbook_ok7.py",
        "tests/unit/geostat/test_fit.py",
        "tests/unit/geostat/test_cross_validation.py",
        "tests/unit/geostat/test_hierarchical.py",
        "tests/unit/geostat/test_search_neighbourhood.py",
        "tests/unit/geostat/test_zone_covariance.py",
        "tests/unit/geostat/test_repeat_leaves.py",
        "tests/laws/test_kriging_laws.py",
        "tests/unit/geostat/test_ordinary_kriging.py",
    ],
}
"""The tests of each room, quick and telling ones first; a module's own come before them."""
SLOW = {
    "water": [
        "tests/laws/test_water_timetable_best.py",
        "tests/laws/test_water_laws.py",
        "tests/laws/test_water_limits.py::test_no_limit_is_violated[1]",
    ],
    "geostat": ["tests/unit/geostat/test_structured.py", "tests/published/test_meuse.py"],
}
"""More, for survivors alone (``--again FILE --slow``): each takes ten seconds and more."""
FIRST = (
    "gstools", "numba", "pandas", "geopandas", "pykrige.ok", "pyogrio", "pyproj", "pytest", "rasterio",
    "scipy.optimize", "scipy.spatial", "scipy.stats", "shapely", "highspy",
)  # fmt: skip
"""Imported once, before the forks."""


Span = tuple[tuple[int, int], tuple[int, int]]


def annotations_in(module: Path) -> list[Span]:
    """Return where annotations of arguments, results and names begin and end: nobody evaluates them."""
    found: list[Span] = []
    for node in ast.walk(ast.parse(module.read_text())):
        for name in ("annotation", "returns"):
            one = getattr(node, name, None)
            if isinstance(one, ast.expr):
                found.append(((one.lineno, one.col_offset), (one.end_lineno or 0, one.end_col_offset or 0)))
    return found


def kind_of(operator: str) -> str:
    return operator.rsplit("/", maxsplit=1)[-1].split("_", maxsplit=1)[0]


def every_mutant(part: str) -> list[dict]:
    """List what cosmic-ray would change in a room or a module, without annotations."""
    found = []
    room, _, module_name = part.partition("/")
    for module in sorted(Path("stressmap", room).glob(f"{module_name or '*'}.py")):
        source, annotations = module.read_text(), annotations_in(module)
        lines, nodes = source.splitlines(), list(ast_nodes(get_ast(source)))
        for name in cosmic_ray.plugins.operator_names():
            operator_class = cosmic_ray.plugins.get_operator(name)
            if operator_class.arguments():
                continue
            places = (start for node in nodes for start, _ in operator_class().mutation_positions(node))
            for occurrence, (row, column) in enumerate(places):
                if not any(begin <= (row, column) < end for begin, end in annotations):
                    mutant = {"module": str(module), "operator": name, "occurrence": occurrence}
                    found.append(mutant | {"row": row, "column": column, "line": lines[row - 1].strip()})
    return found


def sample(part: str, most: int, seed: int) -> list[dict]:
    """Draw places and kinds of change in a room or a module (``room/module``), then one change each."""
    by_place: dict[tuple, list[dict]] = {}
    for mutant in every_mutant(part):
        place = (mutant["module"], mutant["row"], mutant["column"], kind_of(mutant["operator"]))
        by_place.setdefault(place, []).append(mutant)
    draw = random.Random(f"{seed} {part}")
    drawn = draw.sample(sorted(by_place), min(most, len(by_place)))
    return [draw.choice(by_place[place]) for place in drawn]


def found_again(mutant: dict) -> dict | None:
    """Look a mutant of an earlier run up in the code as it is now, by its line and its change."""
    module = Path(mutant["module"])
    if not module.exists():
        return None
    lines = [line.strip() for line in module.read_text().splitlines()]
    same = [i + 1 for i, line in enumerate(lines) if line == mutant["line"]]
    if not same:
        return None
    row = min(same, key=lambda r: abs(r - mutant["row"]))
    return mutant | {"row": row, "occurrence": None}


def mutated(mutant: dict, source: str) -> str:
    """Make the change; where only the row is known, the operator's place in it that gives it."""
    operator = cosmic_ray.plugins.get_operator(mutant["operator"])()
    if mutant["occurrence"] is not None:
        return mutate_code(source, operator, mutant["occurrence"])
    places = [start for node in ast_nodes(get_ast(source)) for start, _ in operator.mutation_positions(node)]
    row = mutant["row"]
    for occurrence in (i for i, (at, _) in enumerate(places) if at == row):
        code = mutate_code(source, operator, occurrence)
        if code is not None and code.splitlines()[row - 1].strip() == mutant["new"]:
            return code
    message = f"no such change in {mutant['module']}, row {row}"
    raise LookupError(message)


def copied_tree(scratch: Path) -> Path:
    """Copy what the repository holds to a scratch folder and compile it."""
    command = ["git", "ls-files", "-co", "--exclude-standard"]
    names = subprocess.run(command, capture_output=True, text=True, check=True)
    tree = scratch / "tree"
    for name in names.stdout.splitlines():
        if (HERE / name).is_file():
            (tree / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(HERE / name, tree / name)
    for kept in HERE.glob("stressmap/*/__pycache__/*.nb[ic]"):  # compiled loops hold while their source does
        (tree / kept.relative_to(HERE)).parent.mkdir(exist_ok=True)
        shutil.copy2(kept, tree / kept.relative_to(HERE))
    compileall.compile_dir(tree / "stressmap", quiet=2)
    return tree


def tests_of(module: str, tree: Path, instead: list[str]) -> list[str]:
    """Choose the tests of a module: those of its name, its own examples, the room's (or others)."""
    if module in WITHOUT_COMPILER:
        return list(WITHOUT_COMPILER[module])
    room = module.split("/")[1]
    own = (tree / "tests" / "unit" / room).glob(f"test_{Path(module).stem}*.py")
    named = [*sorted(str(p.relative_to(tree)) for p in own), module, *(instead or TESTS[room])]
    return [t for t in named if (tree / t.split("::")[0]).exists()]


def in_the_child(tree: Path, tests: list[str], said: Path, *, compiler: bool) -> int:
    """Run tests from the copy and return the exit code."""
    import numba
    import pytest

    os.setsid()
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS + 5))
    with said.open("w") as out:
        os.dup2(out.fileno(), 1)
        os.dup2(out.fileno(), 2)
    numba.config.DISABLE_JIT = not compiler
    os.environ.update(PYTHONPATH=str(tree), PYTHONDONTWRITEBYTECODE="1")
    sys.dont_write_bytecode = True
    elsewhere = {HERE, HERE / "tests" / "benchmarks"}
    sys.path[:] = [str(tree), *(p for p in sys.path if Path(p).resolve() not in elsewhere)]
    os.chdir(tree)
    options = ["-x", "-q", "-p", "no:cacheprovider", "--tb=line", "--hypothesis-seed=0"]
    code = int(pytest.main([*options, *tests]))
    sys.stdout.flush()
    return code


def run_tests(tree: Path, tests: list[str], seconds: int, *, compiler: bool = True) -> str:
    """Run tests in a fork: ``passed``, ``failed`` (with the first that fell) or ``timed out``."""
    said = tree.parent / "said.txt"
    child = os.fork()
    if child == 0:
        code = 99
        try:
            code = in_the_child(tree, tests, said, compiler=compiler)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    deadline = time.monotonic() + seconds
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            break
        if time.monotonic() > deadline:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return "timed out"
        time.sleep(0.05)
    if os.WIFSIGNALED(status):
        return "timed out" if os.WTERMSIG(status) in {signal.SIGXCPU, signal.SIGKILL} else "failed: crashed"
    if os.WEXITSTATUS(status) == 0:
        return "passed"
    fell = re.findall(r"^(?:FAILED|ERROR) (\S+)", said.read_text(), flags=re.MULTILINE)
    return "failed: " + (fell[0] if fell else said.read_text()[-200:])


def try_mutant(mutant: dict, tree: Path, tests: list[str], seconds: int) -> dict:
    """Write one mutant into the copy, run its tests, and put the module back as it was, to the nanosecond."""
    module, row = tree / mutant["module"], mutant["row"] - 1
    source, was = module.read_text(), module.stat()
    code = mutated(mutant, source)
    new = code.splitlines()[row].strip()
    began = time.monotonic()
    try:
        module.write_text(code)
        for compiled in (module.parent / "__pycache__").glob(f"{module.stem}.*.pyc"):
            compiled.unlink()
        compiler = mutant["module"] not in WITHOUT_COMPILER
        result = run_tests(tree, tests_of(mutant["module"], tree, tests), seconds, compiler=compiler)
    finally:
        module.write_text(source)
        os.utime(module, ns=(was.st_atime_ns, was.st_mtime_ns))
    return mutant | {"new": new, "result": result, "seconds": round(time.monotonic() - began, 1)}


EQUIVALENT = {
    (
        "zoning/priority_zones",
        "range( 0, count + 1)",
    ): "area 0 has no links, and an area without is passed over",
    ("zoning/priority_zones", "np.where(labels != 0,"): "labels are never negative",
    ("zoning/priority_zones", "int(parts.max()) + 2"): "a last entry that nobody reads",
    ("zoning/mapping", "local[cells.valve], - 2)"): "every negative zone is no zone",
    ("quality/reading_error", "names[ 0:]"): "a count of the reference against itself that nobody reads",
    ("quality/assessment_summary", "(~item[1],"): "-n and ~n sort alike",
    ("quality/locate_readings", '-sited["outside"]'): "pandas turns a mask round either way",
    ("quality/checks", "(case.minute < first) ^ (case.minute > last)"): "a window ends after it begins",
    ("geostat/pair_distances", "xy[ -1, k]"): "steps of a lattice may be counted from any of its cells",
    (
        "geostat/mixed_model_kriging",
        "CELLS_PER_SORT = 1000001",
    ): "how many cells are sorted at once changes no figure",
    (
        "geostat/leave_one_out",
        "alpha.shape[ 0]",
    ): "the same for every set of parameters, and weights are shares",
    ("agronomy/remarks", "( -1.0, np.inf)"): "a deficit is never negative",
    ("agronomy/indices", "parts[ 0:]"): "a day's hours told twice leave that day's mean",
    ("agronomy/daily_et", "at[ 1].day_of_year"): "all moments of a day are of that day",
    ("agronomy/crops", "known, n= 2,"): "the first of two is the first of one",
    ("agronomy/orchard", "reset_index(drop=False)"): "a column more, by which nobody groups",
    ("agronomy/orchard", "own, strict=False)), key"): "two columns of one table are of one length",
    ("agronomy/target", "range(years.min() - 2,"): "a season a year earlier holds none of the days",
}
"""Mutants that change nothing, each judged by hand: module and part of the changed line, and why."""


def equivalent(mutant: dict) -> bool:
    module = mutant["module"].removeprefix("stressmap/").removesuffix(".py")
    return any(module == there and part in mutant.get("new", "") for there, part in EQUIVALENT)


def read(arguments: argparse.Namespace) -> list[dict]:
    """Draw a sample, rooms in turn, or take up an earlier run's survivors."""
    if arguments.again is None:
        parts = arguments.modules or arguments.rooms
        drawn = [sample(part, arguments.most, arguments.seed) for part in parts]
        return [m for turn in zip_longest(*drawn) for m in turn if m]
    earlier = json.loads(arguments.again.read_text())
    kept = [m for m in earlier if m["result"] == "passed" and m["module"].split("/")[1] in arguments.rooms]
    return [found for m in kept if not equivalent(m) and (found := found_again(m))]


def report(results: list[dict]) -> None:
    for room in ROOMS:
        mine = [r for r in results if r["module"].split("/")[1] == room]
        equal = [r for r in mine if r["result"] == "passed" and equivalent(r)]
        count = Counter(r["result"].split(":")[0] for r in mine)
        if total := len(mine) - len(equal):
            killed = count["failed"] + count["timed out"]
            print(
                f"{room}: {dict(count)}, {len(equal)} equivalent; {killed} of {total}: {killed / total:.1%}"
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=ROOMS)
    parser.add_argument(
        "--modules", nargs="+", default=[], help="draw in each of these (ROOM/NAME), not in rooms"
    )
    parser.add_argument("--most", type=int, default=70, help="mutants a room (or module)")
    parser.add_argument("--seed", type=int, default=20260714)
    parser.add_argument("--again", type=Path, help="results whose survivors are tried again")
    parser.add_argument("--tests", nargs="+", default=[], help="run these instead of those of the table")
    parser.add_argument("--slow", action="store_true", help="run the slow tests of the table instead")
    parser.add_argument("--seconds", type=int, default=WALL_SECONDS, help="by the clock, a mutant")
    parser.add_argument("--sound", action="store_true", help="run each room's tests unchanged first")
    parser.add_argument("--out", type=Path, required=True)
    arguments = parser.parse_args()
    os.chdir(HERE)
    mutants, results = read(arguments), []
    for name in FIRST:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    with tempfile.TemporaryDirectory() as scratch:
        tree = copied_tree(Path(scratch))
        for room in arguments.rooms if arguments.sound else ():
            print(f"{room}, unchanged: {run_tests(tree, TESTS[room], arguments.seconds)}", flush=True)
        for i, mutant in enumerate(mutants):
            try:
                room = mutant["module"].split("/")[1]
                tests = SLOW.get(room, []) if arguments.slow else arguments.tests
                results.append(try_mutant(mutant, tree, tests, arguments.seconds))
            except LookupError as error:
                print(error, flush=True)
                continue
            one = results[-1]
            where = f"{one['module']}:{one['row']}"
            print(f"{i + 1}/{len(mutants)} {one['seconds']} s {one['result'][:70]} {where}", flush=True)
            print(f"      {one['line']}\n      {one['new']}", flush=True)
            arguments.out.write_text(json.dumps(results, indent=1))
    report(results)


if __name__ == "__main__":
    main()
