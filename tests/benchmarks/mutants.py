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
from pathlib import Path

import cosmic_ray.plugins
from cosmic_ray.commands import init
from cosmic_ray.mutating import mutate_code
from cosmic_ray.work_db import WorkDB, use_db

HERE = Path(__file__).parents[2]
ROOMS = ("agronomy", "quality", "zoning", "water", "geostat")
CPU_SECONDS, WALL_SECONDS = 60, 400
COMPILED = ("kernels.py", "pair_distances.py", "covariance.py")
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
        "tests/laws/test_water_limits.py::test_no_limit_is_violated[1]",
        "tests/laws/test_water_timetable_best.py",
        "tests/laws/test_water_laws.py",
    ],
    "geostat": [
        "tests/published/test_textbook_ok7.py",
        "tests/laws/test_values_are_frozen.py",
        "tests/laws/test_kriging_laws.py",
        "tests/unit/geostat",
        "tests/published/test_meuse.py",
    ],
}
"""The tests of each room, quick and telling ones first; a module's own examples come before them."""
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


def every_mutant(room: str) -> list[dict]:
    """List what cosmic-ray would change in a room, without annotations."""
    modules = sorted(Path("stressmap", room).glob("*.py"))
    annotations = {str(m): annotations_in(m) for m in modules}
    with use_db(":memory:", WorkDB.Mode.create) as work:
        init(modules, work, {})
        specs = [item.mutations[0] for item in work.work_items]
    found = []
    for spec in specs:
        module, start = str(spec.module_path), tuple(spec.start_pos)
        if not any(begin <= start < end for begin, end in annotations[module]):
            line = Path(module).read_text().splitlines()[start[0] - 1]
            found.append(
                {
                    "module": module,
                    "operator": spec.operator_name,
                    "occurrence": spec.occurrence,
                    "row": start[0],
                    "column": start[1],
                    "function": spec.definition_name,
                    "line": line.strip(),
                }
            )
    return found


def sample(room: str, most: int, seed: int) -> list[dict]:
    """Draw places and kinds of change, then one change each."""
    by_place: dict[tuple, list[dict]] = {}
    for mutant in every_mutant(room):
        place = (mutant["module"], mutant["row"], mutant["column"], kind_of(mutant["operator"]))
        by_place.setdefault(place, []).append(mutant)
    draw = random.Random(f"{seed} {room}")
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
    """Make the change; where only the row is known, try the operator's occurrences until it falls there."""
    operator = cosmic_ray.plugins.get_operator(mutant["operator"])()
    if mutant["occurrence"] is not None:
        return mutate_code(source, operator, mutant["occurrence"])
    before = source.splitlines()
    for occurrence in range(10_000):
        code = mutate_code(source, operator, occurrence)
        if code is None:
            break
        after = code.splitlines()
        if after[mutant["row"] - 1] != before[mutant["row"] - 1] and (
            mutant.get("new") is None or after[mutant["row"] - 1].strip() == mutant["new"]
        ):
            return code
    message = f"no such change in {mutant['module']}, row {mutant['row']}"
    raise LookupError(message)


def copied_tree(scratch: Path) -> Path:
    """Copy what the repository holds to a scratch folder and compile it."""
    command = ["git", "ls-files", "-co", "--exclude-standard"]
    names = subprocess.run(command, capture_output=True, text=True, check=True)
    tree = scratch / "tree"
    for name in names.stdout.splitlines():
        if (HERE / name).is_file():
            (tree / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(HERE / name, tree / name)
    compileall.compile_dir(tree / "stressmap", quiet=2)
    return tree


def tests_of(room: str, module: str, tree: Path) -> list[str]:
    """Choose the tests of a module: its own examples, tests that bear its name, the room's."""
    stem = Path(module).stem
    own = sorted(str(p.relative_to(tree)) for p in (tree / "tests" / "unit" / room).glob(f"test_{stem}*.py"))
    return [module, *own, *(t for t in TESTS[room] if (tree / t.split("::")[0]).exists())]


def in_the_child(tree: Path, tests: list[str], cache: Path, said: Path) -> int:
    """Run tests from the copy and return the exit code."""
    import numba
    import pytest

    os.setsid()
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    with said.open("w") as out:
        os.dup2(out.fileno(), 1)
        os.dup2(out.fileno(), 2)
    numba.config.CACHE_DIR = str(cache)
    os.environ.update(NUMBA_CACHE_DIR=str(cache), PYTHONPATH=str(tree), PYTHONDONTWRITEBYTECODE="1")
    sys.dont_write_bytecode = True
    elsewhere = {HERE, HERE / "tests" / "benchmarks"}
    sys.path[:] = [str(tree), *(p for p in sys.path if Path(p).resolve() not in elsewhere)]
    os.chdir(tree)
    options = ["-x", "-q", "-p", "no:cacheprovider", "--tb=line", "--hypothesis-seed=0"]
    code = int(pytest.main([*options, *tests]))
    sys.stdout.flush()
    return code


def run_tests(tree: Path, tests: list[str], cache: Path) -> str:
    """Run tests in a fork: ``passed``, ``failed`` (with the first that fell) or ``timed out``."""
    said = tree.parent / "said.txt"
    child = os.fork()
    if child == 0:
        code = 99
        try:
            code = in_the_child(tree, tests, cache, said)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    deadline = time.monotonic() + WALL_SECONDS
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


def try_mutant(mutant: dict, tree: Path, cache: Path) -> dict:
    """Write one mutant into the copy, run its tests, and put the module back."""
    module, room = tree / mutant["module"], mutant["module"].split("/")[1]
    source = module.read_text()
    code = mutated(mutant, source)
    row = mutant["row"] - 1
    new = code.splitlines()[row].strip() if len(code.splitlines()) > row else ""
    fresh = module.name in COMPILED
    own_cache = Path(tempfile.mkdtemp(dir=tree.parent)) if fresh else cache
    began = time.monotonic()
    try:
        module.write_text(code)
        for compiled in (module.parent / "__pycache__").glob(f"{module.stem}.*.pyc"):
            compiled.unlink()
        result = run_tests(tree, tests_of(room, mutant["module"], tree), own_cache)
    finally:
        module.write_text(source)
        if fresh:
            shutil.rmtree(own_cache)
    return mutant | {"new": new, "result": result, "seconds": round(time.monotonic() - began, 1)}


def read(arguments: argparse.Namespace) -> list[dict]:
    if arguments.again is None:
        return [m for room in arguments.rooms for m in sample(room, arguments.most, arguments.seed)]
    earlier = json.loads(arguments.again.read_text())
    kept = [m for m in earlier if arguments.all or m["result"] == "passed"]
    kept = [m for m in kept if m["module"].split("/")[1] in arguments.rooms]
    return [found for m in kept if (found := found_again(m))]


def report(results: list[dict]) -> None:
    for room in ROOMS:
        count = Counter(r["result"].split(":")[0] for r in results if r["module"].split("/")[1] == room)
        if total := sum(count.values()):
            killed = count["failed"] + count["timed out"]
            print(f"{room}: {dict(count)}; killed {killed} of {total} = {killed / total:.1%}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=ROOMS)
    parser.add_argument("--most", type=int, default=70, help="mutants a room")
    parser.add_argument("--seed", type=int, default=20260714)
    parser.add_argument("--again", type=Path, help="results whose survivors are tried again")
    parser.add_argument("--all", action="store_true", help="with --again: the killed ones as well")
    parser.add_argument("--out", type=Path, required=True)
    arguments = parser.parse_args()
    os.chdir(HERE)
    mutants, results = read(arguments), []
    for name in FIRST:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    with tempfile.TemporaryDirectory() as scratch:
        tree, cache = copied_tree(Path(scratch)), Path(scratch) / "numba"
        for room in sorted({m["module"].split("/")[1] for m in mutants}):
            sound = run_tests(tree, TESTS[room], cache)
            print(f"{room}, unchanged: {sound}", flush=True)
            if sound != "passed":
                sys.exit("The tests must pass before anything is changed.")
        for i, mutant in enumerate(mutants):
            try:
                results.append(try_mutant(mutant, tree, cache))
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
