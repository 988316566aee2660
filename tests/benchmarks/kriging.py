"""How fast the compiled kriging is beside what else a user would take: the same readings, mean and variance.

Run by hand, on a quiet machine: ``python tests/benchmarks/kriging.py [--repeats 5] [--only blocks,ranch]``.
Every ratio is of medians measured in the same run; PyKrige and GSTools are asked in chunks (whole, they take
several gigabytes) and get the BLAS threads with which they are faster here. Set-up is part of every time.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.linalg import solve_triangular
from scipy.spatial.distance import cdist
from threadpoolctl import threadpool_limits

from stressmap.core.parallel import each
from stressmap.geostat.covariance import EXPONENTIAL, MATERN32, SPHERICAL, Correlation, Parameters
from stressmap.geostat.kriging import KrigingSystem, krige_with_known_parameters
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Places, Samples

SILL, NUGGET, RANGE_M = 1.5, 0.5, 300.0
KNOWN = Parameters(block=0, valve=0, pattern=SILL, tree=0, error=NUGGET, range_m=RANGE_M)
CHUNK = 10_000
NEAREST = 20
SAMPLE = 25
"""Slow peers are given one cell in so many, and their times multiplied: they take each cell by itself."""
OURS_CHUNK = 16_384
JOBS = 2
Job = tuple[np.ndarray, np.ndarray, np.ndarray]  # readings (n, 2), values (n,), cells (m, 2)


def places(xy: np.ndarray) -> Places:
    none = np.zeros(len(xy), dtype=np.int64)
    return Places(xy, none, none, none)


def lattice(corner: tuple[float, float], width_m: float, cells: int) -> np.ndarray:
    side = round(cells**0.5)
    step = (np.arange(side) + 0.5) * width_m / side
    return np.stack(np.meshgrid(corner[0] + step, corner[1] + step), axis=-1).reshape(-1, 2)


def block_job(block: int, *, readings: int = 20, cells: int = 40_000) -> Job:
    """One block of 400 m by 400 m of a ranch laid out in rows of 25."""
    rng = np.random.default_rng(block)
    corner = (400.0 * (block % 25), 400.0 * (block // 25))
    xy = rng.uniform(0, 400, (readings, 2)) + corner
    return xy, rng.normal(0, 1.4, readings), lattice(corner, 400.0, cells)


def ranch_job(readings: int, cells: int) -> Job:
    """A whole ranch of 2 km by 2 km in one system."""
    rng = np.random.default_rng(readings)
    return (
        rng.uniform(0, 2000, (readings, 2)),
        rng.normal(0, 1.4, readings),
        lattice((0.0, 0.0), 2000.0, cells),
    )


def ours(job: Job, correlation: Correlation, *, jobs: int = JOBS) -> np.ndarray:
    xy, value, cells = job
    samples = Samples(places(xy), value, np.arange(len(value)))
    with threadpool_limits(1):
        system = krige_with_known_parameters(samples, KNOWN, correlation)
    kind, out = places(xy[:1]), np.empty((2, len(cells)))

    def work(start: int) -> None:
        part = slice(start, start + OURS_CHUNK)
        system.predict_points(cells[part], np.zeros(len(cells[part])), kind, out[:, part])

    each(work, range(0, len(cells), OURS_CHUNK), jobs=jobs)
    return out


def ours_blocks(count: int, *, readings: int = 20, cells: int = 40_000) -> np.ndarray:
    out = np.empty((2, count * cells))

    def make(block: int) -> KrigingSystem:
        xy, value, _ = block_job(block, readings=readings, cells=1)
        return krige_with_known_parameters(Samples(places(xy), value, np.arange(readings)), KNOWN, SPHERICAL)

    systems = each(make, range(count), jobs=1)

    def work(block: int) -> None:
        xy, _, at = block_job(block, readings=readings, cells=cells)
        systems[block].predict_points(
            at, np.zeros(cells), places(xy[:1]), out[:, block * cells : (block + 1) * cells]
        )

    each(work, range(count), jobs=JOBS)
    return out


def by_pykrige(job: Job, correlation: Correlation) -> np.ndarray:
    from pykrige.ok import OrdinaryKriging

    xy, value, cells = job
    model, scale = ("spherical", 1.0) if correlation is SPHERICAL else ("exponential", 3.0)
    known = {"psill": SILL, "range": RANGE_M * scale, "nugget": NUGGET}
    kriger = OrdinaryKriging(
        *xy.T, value, variogram_model=model, variogram_parameters=known, exact_values=False
    )
    out = np.empty((2, len(cells)))
    for start in range(0, len(cells), CHUNK):
        part = slice(start, start + CHUNK)
        out[:, part] = kriger.execute("points", *cells[part].T, backend="vectorized")
    out[1] -= NUGGET
    return out


def by_gstools(job: Job, correlation: Correlation) -> np.ndarray:
    import gstools

    xy, value, cells = job
    make = gstools.Spherical if correlation is SPHERICAL else gstools.Exponential
    model = make(dim=2, var=SILL, len_scale=RANGE_M, nugget=NUGGET)
    kriger = gstools.krige.Ordinary(model, xy.T, value, exact=False, cond_err="nugget")
    out = np.empty((2, len(cells)))
    for start in range(0, len(cells), CHUNK):
        part = slice(start, start + CHUNK)
        out[:, part] = kriger(cells[part].T, return_var=True)
    out[1] -= NUGGET
    return out


def by_numpy(job: Job, correlation: Correlation) -> np.ndarray:
    """Ten lines that a user would write: ordinary kriging by one Cholesky factor and triangular solves."""
    xy, value, cells = job
    factor = np.linalg.cholesky(SILL * correlation(cdist(xy, xy), RANGE_M) + NUGGET * np.eye(len(xy)))
    ones, z = (solve_triangular(factor, v, lower=True) for v in (np.ones(len(xy)), value))
    level = ones @ z / (ones @ ones)
    out = np.empty((2, len(cells)))
    for start in range(0, len(cells), CHUNK):
        part = slice(start, start + CHUNK)
        r = SILL * correlation(cdist(xy, cells[part]), RANGE_M)
        half = solve_triangular(factor, r, lower=True, check_finite=False, overwrite_b=True)
        out[0, part] = level + (z - level * ones) @ half
        out[1, part] = SILL - (half**2).sum(axis=0) + (1 - ones @ half) ** 2 / (ones @ ones)
    return out


def by_scikit_learn(job: Job, correlation: Correlation) -> np.ndarray:
    """A Gaussian process with known parameters; its level is known too, 0, so its answer is not ours."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    xy, value, cells = job
    smooth = {EXPONENTIAL.name: 0.5, MATERN32.name: 1.5}[correlation.name]
    kernel = ConstantKernel(SILL) * Matern(RANGE_M, nu=smooth)
    model = GaussianProcessRegressor(kernel, alpha=NUGGET, optimizer=None).fit(xy, value)
    out = np.empty((2, len(cells)))
    for start in range(0, len(cells), CHUNK):
        part = slice(start, start + CHUNK)
        out[0, part], out[1, part] = model.predict(cells[part], return_std=True)
    return out


def by_moving_window(job: Job, correlation: Correlation, nearest: int = NEAREST) -> np.ndarray:
    """PyKrige's compiled loop, each cell from its nearest readings alone; the nugget filtered as ours."""
    from pykrige.ok import OrdinaryKriging

    xy, value, cells = job
    known = {"psill": SILL, "range": RANGE_M * 3.0, "nugget": NUGGET}
    model: dict[str, object] = {"variogram_model": "exponential", "variogram_parameters": known}
    if (
        correlation is not EXPONENTIAL
    ):  # PyKrige has no Matern; its compiled loop takes no function of one's own
        model = {"variogram_model": "spherical", "variogram_parameters": known | {"range": RANGE_M}}
    kriger = OrdinaryKriging(*xy.T, value, exact_values=False, **model)
    mean, variance = kriger.execute("points", *cells.T, backend="C", n_closest_points=nearest)
    return np.stack([mean, variance - NUGGET])


def gstat_seconds(job: Job, name: str, n: int) -> tuple[float, float]:
    """Let R's gstat krige the same job, where it is there: wall and processor time of ``krige`` alone."""
    xy, value, cells = job
    range_m = RANGE_M / (3**0.5 if name == "Mat" else 1)
    with tempfile.TemporaryDirectory() as folder:
        for what, table in (("readings", np.column_stack([xy, value])), ("cells", cells)):
            np.savetxt(Path(folder) / what, table)
        code = GSTAT.format(folder, name, SILL, NUGGET, range_m, NEAREST, n)
        told = subprocess.run(["Rscript", "-e", code], capture_output=True, text=True, check=True).stdout
    wall, processor = np.loadtxt(told.splitlines()[-n:], ndmin=2).T
    return float(np.median(wall)), float(np.median(processor))


GSTAT = """
suppressMessages({{library(sp); library(gstat)}})
d <- read.table("{0}/readings", col.names=c("x", "y", "z")); coordinates(d) <- ~x+y
g <- read.table("{0}/cells", col.names=c("x", "y")); coordinates(g) <- ~x+y
m <- vgm({2}, "{1}", {4}, kappa=1.5, add.to=vgm({3}, "Err", 0))
for (i in 1:{6}) {{ t <- system.time(krige(z ~ 1, d, g, m, nmax={5}, debug.level=0))
  cat(t[3], t[1] + t[2], "\\n") }}
"""


def race_peers(readings: int, correlation: Correlation, n: int) -> None:
    """Race against what a user would really take, each with one thread: 250,000 cells, mean and variance."""
    job = ranch_job(readings, 250_000)
    few = job[0], job[1], job[2][::SAMPLE]
    np.testing.assert_allclose(by_numpy(few, correlation), ours(few, correlation), atol=1e-8)
    case, base = f"{readings} | {correlation.name}", 0.0

    def told(who: str, taken: tuple[float, float]) -> float:
        times = f"{taken[1] / base:.1f}" if base else ""
        print(f"| {case} | {who} | {taken[0]:.2f} | {taken[1]:.2f} | {times} |", flush=True)
        return taken[1]

    with threadpool_limits(1):
        base = told("ours", seconds(lambda: ours(job, correlation, jobs=1), n))
        told("ten lines of numpy", seconds(lambda: by_numpy(job, correlation), n))
        if correlation is not SPHERICAL:
            told("scikit-learn", seconds(lambda: by_scikit_learn(job, correlation), n))
        wall, cpu = seconds(lambda: by_moving_window(few, correlation), 1)
        told(f"PyKrige, compiled, {NEAREST} nearest", (SAMPLE * wall, SAMPLE * cpu))
    if shutil.which("Rscript"):
        name = {SPHERICAL.name: "Sph", EXPONENTIAL.name: "Exp", MATERN32.name: "Mat"}[correlation.name]
        wall, cpu = gstat_seconds(few, name, 1)
        told(f"gstat, {NEAREST} nearest", (SAMPLE * wall, SAMPLE * cpu))


def peers(n: int) -> None:
    """Print the table of what a user would take."""
    print("| readings | correlation | who | wall, s | processor, s | times ours |\n" + "| --- " * 6 + "|")
    for readings in (200, 1000):
        for correlation in (MATERN32, SPHERICAL):
            race_peers(readings, correlation, n)


def theirs_blocks(krige: Callable[[Job, Correlation], np.ndarray], count: int) -> np.ndarray:
    return np.concatenate([krige(block_job(b), SPHERICAL) for b in range(count)], axis=1)


def seconds(work: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Return median wall-clock and processor seconds."""
    wall, processor = [], []
    for _ in range(repeats):
        start, used = time.perf_counter(), time.process_time()
        work()
        wall.append(time.perf_counter() - start)
        processor.append(time.process_time() - used)
    return statistics.median(wall), statistics.median(processor)


def quicker_threads(work: Callable[[], object]) -> int:
    """Return with how many BLAS threads some work is faster."""
    taken = {}
    for threads in (1, JOBS):
        with threadpool_limits(threads):
            taken[threads] = seconds(work, 1)
    return min(taken, key=lambda t: taken[t])


def race(
    name: str, work: dict[str, Callable[[], np.ndarray]], trial: dict[str, Callable[[], object]], n: int
) -> None:
    """Check that all give the same, then time each and print ratios."""
    answers = {who: run() for who, run in trial.items()}
    for who, answer in answers.items():
        np.testing.assert_allclose(answer, answers["ours"], atol=1e-8, err_msg=who)
    base, base_cpu = seconds(work["ours"], n)
    print(f"{name}\n    ours       {base:8.3f} s ({base_cpu:.3f} s of processor, {JOBS} threads)")
    for who in [w for w in work if w != "ours"]:
        threads = quicker_threads(trial[who])
        with threadpool_limits(threads):
            taken, cpu = seconds(work[who], n)
        ratio = f"{taken / base:6.1f} x ours, {cpu / base_cpu:6.1f} x its processor time"
        print(f"    {who:10} {taken:8.3f} s = {ratio} ({threads} BLAS threads)", flush=True)


def race_blocks(n: int) -> None:
    run = {"PyKrige": by_pykrige, "GSTools": by_gstools}
    work = {"ours": lambda: ours_blocks(250)} | {k: lambda k=k: theirs_blocks(run[k], 250) for k in run}
    trial = {"ours": lambda: ours_blocks(5)} | {k: lambda k=k: theirs_blocks(run[k], 5) for k in run}
    race("250 blocks x 20 readings x 10 M cells, spherical", work, trial, n)
    code = "import sys; sys.path.insert(0, sys.argv[1]); import kriging; kriging.memory_of_blocks()"
    here = str(Path(__file__).parent)
    print(
        "    "
        + subprocess.run(
            [sys.executable, "-c", code, here], capture_output=True, text=True, check=True
        ).stdout
    )


def memory_of_blocks() -> None:
    ours_blocks(250)
    # not getrusage: what it says of a child begins with the memory of the parent
    status = Path("/proc/self/status").read_text(encoding="ascii")
    peak = int(status.split("VmHWM:")[1].split()[0]) / 1024
    print(f"peak memory of the process, libraries and the 160 MB of results included: {peak:.0f} MB")


def race_ranch(readings: int, correlation: Correlation, n: int, *, gstools_too: bool) -> None:
    run = {"PyKrige": by_pykrige} | ({"GSTools": by_gstools} if gstools_too else {})
    whole, part = ranch_job(readings, 1_000_000), ranch_job(readings, 10_000)
    work = {"ours": lambda: ours(whole, correlation)} | {
        k: lambda k=k: run[k](whole, correlation) for k in run
    }
    trial = {"ours": lambda: ours(part, correlation)} | {
        k: lambda k=k: run[k](part, correlation) for k in run
    }
    race(f"{readings} readings x 1 M cells, {correlation.name}", work, trial, n)


def growth(n: int) -> None:
    print("cost against cells: 25 blocks x 20 readings")
    for cells in (4_000, 40_000, 400_000):
        side = round(cells**0.5) ** 2
        taken, cpu = seconds(lambda side=side: ours_blocks(25, cells=side), n)
        each_cell = f"{taken / (25 * side) * 1e9:7.1f} ns a cell, {cpu / (25 * side) * 1e9:7.1f} of processor"
        print(f"    {25 * side:>10} cells  {taken:8.3f} s = {each_cell}")
    print("cost against blocks: 20 readings and 2,500 cells a block")
    for blocks in (10, 100, 1000):
        grow(blocks, lambda blocks=blocks: ours_blocks(blocks, cells=2_500), n)
    print("the whole structured method, fit included: 8 readings and 2,500 cells a block, 2 valve zones")
    for blocks in (10, 100, 1000):
        grow(blocks, lambda blocks=blocks: whole_method(blocks), 1)


def grow(blocks: int, work: Callable[[], object], n: int) -> None:
    taken, cpu = seconds(work, n)
    each_block = f"{taken / blocks * 1e3:8.3f} ms a block, {cpu / blocks * 1e3:8.3f} of processor"
    print(f"    {blocks:>10} blocks {taken:8.3f} s = {each_block}", flush=True)


def whole_method(blocks: int) -> None:
    jobs = [block_job(b, readings=8, cells=2_500) for b in range(blocks)]

    def where(which: int) -> Places:
        xy = np.concatenate([job[which] for job in jobs])
        block = np.repeat(np.arange(blocks), [len(job[which]) for job in jobs])
        valve = 2 * block + (xy[:, 0] % 400 > 200)
        return Places(xy, block, valve, np.zeros_like(block))

    level = np.repeat(np.random.default_rng(1).normal(0, 1.5, blocks), 8)
    value = np.concatenate([job[1] for job in jobs]) + level
    samples = Samples(where(0), value, np.arange(len(value)))
    surface = fit_surface(samples, method="structured", options=SurfaceOptions(jobs=JOBS))
    surface.predict(where(2))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--only", default="blocks,ranch,large,dense,peers,growth")
    asked = parser.parse_args()
    ours(ranch_job(20, 1_000), SPHERICAL)  # so that no time holds compilation
    if "blocks" in asked.only:
        race_blocks(asked.repeats)
    if "ranch" in asked.only:
        race_ranch(200, SPHERICAL, asked.repeats, gstools_too=True)
        race_ranch(200, EXPONENTIAL, asked.repeats, gstools_too=False)
    if "large" in asked.only:
        race_ranch(1000, SPHERICAL, asked.repeats, gstools_too=False)
    if "dense" in asked.only:
        race_ranch(1000, EXPONENTIAL, asked.repeats, gstools_too=False)
    for name, race_of in (("peers", peers), ("growth", growth)):
        if name in asked.only:
            race_of(asked.repeats)


if __name__ == "__main__":
    main()
