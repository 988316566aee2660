"""Read and check 100,000 readings: seconds and peak memory, by hand.

    python tests/benchmarks/intake.py [ROWS]

The bound is 10 s and 1 GB on one core. Prints seconds of reading and of checking, and the peak resident size.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pandas as pd
from helpers import invented_ranch as ranch

from stressmap.intake.readings import read_readings
from stressmap.quality.checks import assess
from stressmap.quality.reading_error import estimate
from stressmap.quality.visit import choose_visit


def write(path: Path, rows: int) -> None:
    """Write a season of readings over 100 blocks, day-first dates and a decimal comma."""
    blocks = ranch.blocks(100)
    clean = ranch.readings(blocks, per_block=max(1, rows // 1000), seed=7)
    days = pd.date_range("2026-05-13", periods=10, freq="9D")
    table = pd.concat([clean.assign(day=day) for day in days], ignore_index=True).head(rows)
    clock = table["time"].dt.strftime("%H:%M")
    rng = np.random.default_rng(3)
    out = pd.DataFrame(
        {
            "Árbol": table["tree_id"],
            "Fecha": table["day"].dt.strftime("%d/%m/%Y") + " " + clock,
            "Longitud": table["lon"].map("{:.7f}".format).str.replace(".", ","),
            "Latitud": table["lat"].map("{:.7f}".format).str.replace(".", ","),
            "Presión (bar)": (table["pressure_bar"] + rng.normal(0, 0.5, len(table)).round(1))
            .map("{:.1f}".format)
            .str.replace(".", ","),
            "Bolsa (min)": table["bag_minutes"].astype(int),
            "Lote": table["block"],
            "Notas": "hoja sombreada",
        }
    )
    out.to_csv(path, sep=";", index=False)


def main(rows: int) -> None:
    """Print seconds and the peak."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        write(path, rows)
        blocks = ranch.blocks(100)
        began = time.perf_counter()
        table = read_readings(path, ranch.settings()).value
        read = time.perf_counter()
        valves = ranch.valves(blocks)
        assessed = assess(
            table,
            blocks,
            valves,
            ranch.settings(),
            choose_visit(table, ranch.settings()),
            ranch.CRS,
        ).value
        estimate(assessed)
        checked = time.perf_counter()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{len(table):,} rows: read {read - began:.1f} s, checked {checked - read:.1f} s, peak {peak:.0f} MB"
    )
    print(assessed["flags"].explode().value_counts(dropna=False).to_string())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
