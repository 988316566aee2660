"""The water plan in words, and a picture of relief against water."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from stressmap.core.settings import Ranch
from stressmap.output.view.plan_words import tell
from stressmap.output.view.quantities import scale_of
from stressmap.output.view.water_words import WaterWords, as_text
from stressmap.water.value_of_water import LITTLE, WaterValueCurve
from stressmap.water.water_plan import Advice

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK, LINE, KNEE = "#222222", "#1f6f8b", "#b3541e"
SIZE_INCHES, DPI = (8.0, 5.0), 120


def write_plan_text(advice: Advice, ranch: Ranch, path: Path, trees: Mapping[str, int] | None = None) -> None:
    """Write the plan in words, in every language of the ranch.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    ranch : Ranch
        Languages and units.
    path : Path
        File to write.
    trees : mapping of str to int, optional
        How many read trees stand behind each valve; not spoken of by default.
    """
    texts = [as_text(tell(advice, WaterWords(language, ranch.units), trees)) for language in ranch.languages]
    path.write_text("\n\n".join(f"{ranch.name}\n{text}" for text in texts), encoding="utf-8", newline="\n")


def write_curve_picture(curve: WaterValueCurve, ranch: Ranch, path: Path) -> None:
    """Draw relief against water.

    Parameters
    ----------
    curve : WaterValueCurve
        Relief against water.
    ranch : Ranch
        Language (the first) and units.
    path : Path
        File to write.
    """
    figure = _picture(curve, WaterWords(ranch.languages[0], ranch.units))
    figure.savefig(path, dpi=DPI, metadata={"Software": None})


def _picture(curve: WaterValueCurve, words: WaterWords) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # slow to load, and few plans have a curve
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_INCHES, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    scale = scale_of(max(p.water_m3 for p in curve.points), "volume", words.units)
    water = [p.water_m3 / scale.factor for p in curve.points]
    relief = [100 * p.share for p in curve.points]
    axes.plot(water, relief, color=LINE, linewidth=2.2, marker="o", markersize=4)
    at = curve.knee
    axes.axvline(water[at], color=KNEE, linewidth=1.2, linestyle="--")
    mark = words("curve.mark", unit=words.unit(words.large))
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
    axes.set_xlabel(words("curve.axis_water", unit=words.unit(scale.unit)))
    axes.set_ylabel(words("curve.axis_relief"))
    axes.set_xlim(left=0.0)
    axes.set_ylim(0.0, 102.0)
    axes.grid(visible=True, color="#dddddd", linewidth=0.6)
    return figure


def knee_sentence(curve: WaterValueCurve, words: WaterWords) -> str:
    """Say from where on more water buys little.

    Parameters
    ----------
    curve : WaterValueCurve
        Relief against water.
    words : WaterWords
        Language and units.

    Returns
    -------
    str
    """
    water = words.quantity(curve.points[curve.knee].water_m3, "volume")
    return words("curve.knee", water=water, unit=words.unit(words.large), little=words.share(LITTLE))
