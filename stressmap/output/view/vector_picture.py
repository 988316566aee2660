"""Pictures as SVG that goes into a page itself: the same bytes for the same figure, text that stays text."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

INK, SOFT, LINE = "#14181c", "#8a9299", "#0a4fb3"


def svg(name: str, inches: tuple[float, float], paint: Callable[[Figure], None]) -> Markup:
    """Paint a figure and give it as an SVG element.

    Parameters
    ----------
    name : str
        Different for each picture of a page; its parts are named after it.
    inches : tuple of float
        Width and height.
    paint : callable
        Draws on the figure.

    Returns
    -------
    Markup
        The same for the same figure; text stays text, escaped.
    """
    look: Any = {"svg.fonttype": "none", "svg.hashsalt": name, "font.size": 11, "axes.edgecolor": INK,
            "axes.spines.top": False, "axes.spines.right": False, "hatch.linewidth": 0.7,
            "text.parse_math": False}  # fmt: skip
    with mpl.rc_context(look):
        figure = Figure(figsize=inches, layout="constrained", facecolor="white")
        canvas: Any = FigureCanvasSVG(figure)
        paint(figure)
        out = io.StringIO()
        # savefig would draw the figure twice, the first time only to lay it out
        canvas.print_svg(out, metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    width = f'<svg style="max-width: {inches[0] * 104:.0f}px"'
    body = text[text.index("<svg") :].replace("<svg", width, 1)
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r'id="([^"]+)"', rf'id="{name}-\1"', body)
    body = re.sub(r'(url\(#|href="#)', rf"\g<1>{name}-", body)
    return Markup(body)
