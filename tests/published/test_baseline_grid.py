"""The fully watered line of prune and almond over its published grid of temperature and humidity.

Stem-water potential as a sensitive indicator of water stress in prune trees, Journal of the American Society
for Horticultural Science 117(4):607-611, 1992 (abstract read; coefficients from memory, cross-checked). The
grid below is that line over the table of "Using Baseline SWP for Precise Interpretation", cooperative
extension manual "Stem water potential" (Sacramento Valley orchards), 2010s to 2020s, whose text says that
almond and prune share one table (read). Standing of its cells: the two
corner entries known from memory agree with the line; the rest are the line, worked out
independently of this package and rounded to the printed tenth of a bar.
"""

import csv
from pathlib import Path

import pytest

from stressmap.agronomy import baseline, crops, vapour_pressure

GRID = Path(__file__).parent / "baseline_prune_almond.csv"


def rows() -> list[dict[str, str]]:
    with GRID.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def line_of(crop: str) -> tuple[float, float]:
    line = crops.load_profiles({}, "ranch.toml")[crop].baseline
    assert line is not None
    return line.intercept_bar, line.slope_bar_per_kpa


def test_the_whole_published_grid_is_there() -> None:
    assert len(rows()) == 70


@pytest.mark.parametrize("crop", ["prune", "almond"])
def test_baseline_within_a_twentieth_of_a_bar_over_the_grid(crop: str) -> None:
    intercept, slope = line_of(crop)
    for row in rows():
        celsius = (float(row["air_F"]) - 32.0) / 1.8
        vpd = vapour_pressure.deficit_kpa(celsius, float(row["rh_pct"]))
        bar = baseline.baseline_bar(vpd, intercept_bar=intercept, slope_bar_per_kpa=slope)
        assert float(vpd) == pytest.approx(float(row["vpd_kPa"]), abs=6e-5)  # the grid has four decimals
        assert float(bar) == pytest.approx(float(row["baseline_bar"]), abs=0.05)


@pytest.mark.parametrize(("air_f", "rh_pct", "printed"), [(70.0, 10.0, -6.8), (115.0, 10.0, -15.1)])
def test_printed_corners_of_the_table(air_f: float, rh_pct: float, printed: float) -> None:
    """From memory, cross-checked."""
    intercept, slope = line_of("prune")
    vpd = vapour_pressure.deficit_kpa((air_f - 32.0) / 1.8, rh_pct)
    bar = baseline.baseline_bar(vpd, intercept_bar=intercept, slope_bar_per_kpa=slope)
    assert round(float(bar), 1) == printed


def test_walnut_line_meets_the_published_end_points() -> None:
    """Agricultural Water Management 319:109808, 2025 (abstract read): fully irrigated, -0.3 to -0.5 MPa over
    0.5 to 4 kPa; the pairing of ends and the straight line between are derived, hence provisional."""
    intercept, slope = line_of("walnut")
    ends = baseline.baseline_bar([0.5, 4.0], intercept_bar=intercept, slope_bar_per_kpa=slope)
    assert ends.round(1).tolist() == [-3.0, -5.0]
    line = crops.load_profiles({}, "ranch.toml")["walnut"].baseline
    assert line is not None
    assert line.provisional
