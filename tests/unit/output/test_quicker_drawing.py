"""What is drawn in a quicker way comes out as the plain way draws it."""

import numpy as np
import pandas as pd
import pytest
from helpers.drawn_content import small
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.path import Path as Outline

from stressmap.output.paper.picture import layers
from stressmap.output.paper.sheet_type import CrewSheet
from stressmap.output.view.content import STRETCH, Raster
from stressmap.output.view.rows import rows


def outline(*loops):
    return Outline.make_compound_path(*(Outline([*loop, loop[0]], closed=True) for loop in loops))


def strips(angle):
    """Twelve strips that share their sides, turned about the picture's middle."""
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    for i in range(12):
        west, north = 30.3 + 40.6 * (i % 6), 40.7 + 110.2 * (i // 6)
        corners = [(west, north), (west + 40.6, north), (west + 40.6, north + 110.2), (west, north + 110.2)]
        yield outline((np.array(corners) - 150) @ turn + 150)


def with_a_hole(*, upright):
    lean = 0 if upright else 7
    outer, hole = (
        [(3, 4), (27 + lean, 4), (27, 29), (3, 29)],
        [(9.5, 9.5), (9.5, 20.5), (19.5, 20.5), (19.5, 9.5)],
    )
    return outline(outer, hole)


def painted(shapes, hatch):
    figure = Figure(figsize=(3, 3), dpi=100)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, 300), ylim=(300, 0))
    look = {"facecolor": "#4a1747", "hatch": hatch, "edgecolor": "#ffffff80", "linewidth": 0}
    axes.add_collection(PathCollection(shapes, **look))
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())


@pytest.mark.parametrize("hatch", ["xx", "//", ".."])
@pytest.mark.parametrize("angle", [0.0, 0.02, 0.7])
def test_zones_hatched_together_look_as_if_hatched_one_by_one(angle: float, hatch: str) -> None:
    shapes = [*strips(angle), with_a_hole(upright=True), with_a_hole(upright=False)]
    assert np.array_equal(painted(layers(shapes), hatch), painted(shapes, hatch))


def test_leaning_zones_are_hatched_in_few_strokes() -> None:
    assert len(layers(list(strips(0.7)))) < 12
    assert layers([]) == []


@pytest.fixture
def sheet():
    made = CrewSheet(small())
    yield made
    for font in made.fonts.values():
        font.ttfont.close()


def test_a_name_that_means_the_number_of_pages_to_the_library_stays_a_name(sheet: CrewSheet) -> None:
    sheet.add_page()
    sheet.put(10, 10, "{nb}", size=10)
    assert not sheet.pages[1].get_text_substitutions()


def test_cells_of_many_stretches_lie_where_they_belong() -> None:
    shape = (700, 900)
    row, col = np.nonzero(np.random.default_rng(3).random(shape) < 0.9)
    row, col = row.astype(np.int32)[::-1], col.astype(np.int32)[::-1]
    assert len(row) > 2 * STRETCH
    values = np.arange(len(row), dtype=np.float32)
    found = Raster("EPSG:32610", 0.0, 0.0, 5.0, shape, row, col, values, values).grid(values, np.nan)
    plain = np.full(shape, np.nan, dtype=np.float32)
    plain[row, col] = values
    assert found.dtype == np.float32
    assert np.array_equal(found, plain, equal_nan=True)


def test_rows_hold_python_values_and_none() -> None:
    when = pd.Timestamp("2026-07-14 13:20", tz="America/Los_Angeles")
    table = pd.DataFrame(
        {
            "rank": pd.array([1, None], dtype="Int64"),
            "stress_bar": np.array([1.5, np.nan], dtype=np.float32),
            "far": [np.inf, -2.0],
            "used": np.array([True, False]),
            "count": np.array([3, 4], dtype=np.int32),
            "time": [when, pd.NaT],
            "valve": ["V1", None],
            "flags": [("a",), ()],
        }
    )
    first, second = rows(table)
    assert first == {
        "rank": 1, "stress_bar": 1.5, "far": None, "used": True, "count": 3, "time": when, "valve": "V1",
        "flags": ("a",),
    }  # fmt: skip
    assert second == {
        "rank": None, "stress_bar": None, "far": -2.0, "used": False, "count": 4, "time": None, "valve": None,
        "flags": (),
    }  # fmt: skip
    assert [type(first[name]) for name in ("rank", "stress_bar", "used", "count")] == [int, float, bool, int]
