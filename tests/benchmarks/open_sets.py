"""Left-out errors on open data sets, ours beside general libraries', all fitted anew without each reading.

Run by hand: ``python tests/benchmarks/open_sets.py [--peers]``; prints a table of docs/benchmarks.md. Without
``--peers`` the figures of libraries are those kept in ``tests/data/open_sets``; those of gstat are always.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.open_sets import LONGEST_M, SETS, figures, left_out, open_set


def by_scikit_learn(xy: np.ndarray, value: np.ndarray, nu: float) -> float:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    x = xy / LONGEST_M
    kernel = ConstantKernel(1.0) * Matern(0.1, (0.01, 10), nu=nu) + WhiteKernel(0.5)
    known = {"n_restarts_optimizer": 3, "random_state": 0, "normalize_y": True}
    start = GaussianProcessRegressor(kernel, **known).fit(x, value).kernel_
    error = np.empty(len(value))
    for i in range(len(value)):
        rest = np.arange(len(value)) != i
        model = GaussianProcessRegressor(start, normalize_y=True).fit(x[rest], value[rest])
        error[i] = value[i] - model.predict(x[i : i + 1])[0]
    return float(np.sqrt(np.mean(error**2)))


def by_pykrige(xy: np.ndarray, value: np.ndarray, variogram: str) -> float:
    from pykrige.ok import OrdinaryKriging

    error = np.empty(len(value))
    for i in range(len(value)):
        rest = np.arange(len(value)) != i
        model = OrdinaryKriging(*xy[rest].T, value[rest], variogram_model=variogram)
        error[i] = value[i] - model.execute("points", *xy[i : i + 1].T)[0][0]
    return float(np.sqrt(np.mean(error**2)))


def again(kept: pd.DataFrame) -> pd.DataFrame:
    """Compute the libraries' figures again, but for gstat's."""
    for name in SETS:
        xy, value = open_set(name)
        for nu, label in ((0.5, "Matern 1/2"), (1.5, "Matern 3/2")):
            kept.loc[name, f"scikit-learn, {label}"] = by_scikit_learn(xy, value, nu)
        for variogram in ("spherical", "exponential"):
            kept.loc[name, f"PyKrige, {variogram}"] = by_pykrige(xy, value, variogram)
    return kept


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--peers", action="store_true")
    asked = parser.parse_args()
    with threadpool_limits(1):
        ours = {name: left_out(*open_set(name)) for name in SETS}
        theirs = again(figures()) if asked.peers else figures()
    print(
        f"| set | ours | {' | '.join(theirs)} | ours, 90 % covers |\n{'| --- ' * (len(theirs.columns) + 3)}|"
    )
    ratios = []
    for name, (error, inside) in ours.items():
        ratios.append(error / theirs.loc[name])
        told = " | ".join(f"{e:.4g}" for e in theirs.loc[name])
        print(f"| {name} | {error:.4g} | {told} | {inside:.3f} |")
    mean = np.exp(np.log(pd.DataFrame(ratios)).mean())
    print(f"| ours by theirs, geometric mean | | {' | '.join(f'{r:.3f}' for r in mean)} | |")


if __name__ == "__main__":
    main()
