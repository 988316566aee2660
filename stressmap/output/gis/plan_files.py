"""The water plan as files: what each valve gets, who opens what when, the curve, and all of it in words."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from stressmap.core.settings import Ranch
from stressmap.core.units import in_units
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.view.plan_words import WaterWords, as_text, tell
from stressmap.water.benefit_curve import LITTLE, ReliefCurve
from stressmap.water.water_plan import Advice, plan_table, timetable_table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK, LINE, KNEE = "#222222", "#1f6f8b", "#b3541e"
SIZE_INCHES, DPI = (8.0, 5.0), 120


def write_plan(advice: Advice, ranch: Ranch, folder: Path) -> None:
    """Write ``water_plan.csv``, ``timetable.csv`` and ``water_plan.txt``.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    ranch : Ranch
        Languages and units of the text; the tables are metric.
    folder : Path
        Where.
    """
    write_csv(plan_table(advice), folder / "water_plan.csv", ranch.spreadsheet)
    write_csv(timetable_table(advice), folder / "timetable.csv", ranch.spreadsheet)
    texts = [as_text(tell(advice, WaterWords(language, ranch.units))) for language in ranch.languages]
    (folder / "water_plan.txt").write_text("\n\n".join(texts), encoding="utf-8", newline="\n")


def curve_table(curve: ReliefCurve) -> pd.DataFrame:
    """Give the curve as a table.

    Parameters
    ----------
    curve : ReliefCurve
        ReliefCurve against water.

    Returns
    -------
    DataFrame
        ``m3``, ``share`` (of the stress that water could relieve, 0 to 1), ``bar_ha``, ``valves``,
        ``share_per_ml`` (what one more megalitre buys), ``buys_little`` (true from the point where that is
        little).
    """
    return pd.DataFrame(
        {
            "m3": [p.water_m3 for p in curve.points],
            "share": [p.share for p in curve.points],
            "bar_ha": [p.bar_ha for p in curve.points],
            "valves": [p.served for p in curve.points],
            "share_per_ml": [p.per_ml for p in curve.points],
            "buys_little": np.arange(len(curve.points)) >= curve.knee,
        }
    )


def write_curve(curve: ReliefCurve, ranch: Ranch, folder: Path) -> None:
    """Write ``water_curve.csv`` and ``water_curve.png``.

    Parameters
    ----------
    curve : ReliefCurve
        ReliefCurve against water.
    ranch : Ranch
        Language (the first) and units of the picture; the table is metric.
    folder : Path
        Where.
    """
    write_csv(curve_table(curve), folder / "water_curve.csv", ranch.spreadsheet)
    figure = _picture(curve, WaterWords(ranch.languages[0], ranch.units))
    figure.savefig(folder / "water_curve.png", dpi=DPI, metadata={"Software": None})


def _picture(curve: ReliefCurve, words: WaterWords) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # slow to load, and few plans have a curve
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_INCHES, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    unit = words(f"unit.{in_units(0.0, 'volume', words.units)[1]}")
    water = [in_units(p.water_m3, "volume", words.units)[0] for p in curve.points]
    relief = [100 * p.share for p in curve.points]
    axes.plot(water, relief, color=LINE, linewidth=2.2, marker="o", markersize=4)
    at = curve.knee
    axes.axvline(water[at], color=KNEE, linewidth=1.2, linestyle="--")
    mark = words("curve.mark", unit=words(f"unit.{words.large}"))
    axes.annotate(
        mark,
        (water[at], 4.0),
        xytext=(-6, 0),
        textcoords="offset points",
        ha="right",
        color=KNEE,
        fontsize=10,
    )
    axes.set_title(words("curve.title"), color=INK, loc="left")
    axes.set_xlabel(words("curve.axis_water", unit=unit))
    axes.set_ylabel(words("curve.axis_relief"))
    axes.set_xlim(left=0.0)
    axes.set_ylim(0.0, 102.0)
    axes.grid(visible=True, color="#dddddd", linewidth=0.6)
    return figure


def knee_sentence(curve: ReliefCurve, words: WaterWords) -> str:
    """Say from where on more water buys little.

    Parameters
    ----------
    curve : ReliefCurve
        ReliefCurve against water.
    words : WaterWords
        Language and units.

    Returns
    -------
    str
    """
    water = words.quantity(curve.points[curve.knee].water_m3, "volume")
    return words("curve.knee", water=water, unit=words(f"unit.{words.large}"), little=words.percent(LITTLE))
