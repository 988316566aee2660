"""Open data sets, each as readings of one block whose longest side is 1,500 m and whose spread is 2 bar."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from stressmap.geostat.methods import fit_surface
from stressmap.geostat.samples import Places, Samples

DATA = Path(__file__).parents[1] / "data"
SETS = {
    "sic97": ("open_sets/sic97.csv", "sqrt_rainfall"),
    "oxford, pH": ("open_sets/oxford.csv", "ph"),
    "oxford, CEC": ("open_sets/oxford.csv", "cec"),
    "meuse, log zinc": ("meuse/meuse_points.csv", "log_zinc"),
    "sic2004": ("open_sets/sic2004.csv", "day01_nsv_h"),
    "coalash": ("open_sets/coalash.csv", "coalash_percent"),
    "jura, Cd": ("open_sets/jura.csv", "cd_mg_kg"),
    "jura, Co": ("open_sets/jura.csv", "co_mg_kg"),
}
LONGEST_M, SPREAD_BAR = 1500.0, 2.0


def open_set(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Read places, in metres of our ranch, and values in the set's own unit."""
    file, column = SETS[name]
    table = pd.read_csv(DATA / file, skipinitialspace=True)
    xy = table[["x", "y"]].to_numpy(dtype=float)
    xy -= xy.min(axis=0)
    return xy * LONGEST_M / xy.max(), table[column].to_numpy(dtype=float)


def left_out(xy: np.ndarray, value: np.ndarray) -> tuple[float, float]:
    """Predict each reading from the others: root mean square error, share inside 90 % intervals."""
    centre = np.median(value)
    unit = SPREAD_BAR / (1.4826 * np.median(np.abs(value - centre)))
    none = np.zeros(len(value), dtype=np.int64)
    samples = Samples(Places(xy, none, none - 1, none), unit * (value - centre), np.arange(len(value)))
    predicted, z = fit_surface(samples, method="structured").leave_one_out()
    error = (samples.value - predicted) / unit
    return float(np.sqrt(np.mean(error**2))), float(np.mean(np.abs(z) < 1.6449))


def figures() -> pd.DataFrame:
    """Read what general-purpose libraries come to: a row a set, a column a method."""
    return pd.read_csv(DATA / "open_sets" / "left_out.csv", index_col="set", comment="#")
