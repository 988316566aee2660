"""The map of the crew sheet: every valve zone in the pattern of its own priority, by what is drawn."""

from pathlib import Path
from typing import Any

import pytest
from helpers.drawn_content import small, unmeasured
from shapely import LineString, Polygon

from stressmap.output.paper.sheet_map import LOOK_OF, plan_map
from stressmap.output.paper.sheet_type import CrewSheet
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import turns

AREA = (10.0, 40.0, 190.0, 150.0)


class Recorder(CrewSheet):
    """A sheet that keeps what was filled, and the lines drawn, with their greys."""

    def __init__(self, content: Content) -> None:
        super().__init__(content)
        self.fills: list[tuple[Polygon, float]] = []
        self.strokes: list[tuple[LineString, float, float]] = []

    def polygon(self, point_list: Any, *args: Any, **look: Any) -> None:
        if look.get("style") == "DF":
            self.fills.append((Polygon(point_list), grey(self.fill_color)))
        super().polygon(point_list, *args, **look)

    def line(self, x1: float, y1: float, x2: float, y2: float) -> None:
        self.strokes.append((LineString([(x1, y1), (x2, y2)]), self.line_width, grey(self.draw_color)))
        super().line(x1, y1, x2, y2)


def grey(colour: Any) -> float:
    return round(255 * colour.colors[0])


@pytest.mark.parametrize("content", [small(), unmeasured(small())], ids=["measured", "a block without"])
def test_every_valve_zone_is_drawn_in_the_pattern_of_its_own_priority(
    content: Content, tmp_path: Path
) -> None:
    sheet, order = Recorder(content), turns(content)
    sheet.add_page()
    planned = plan_map(content, AREA)
    planned.draw(sheet, order)
    sheet.output(str(tmp_path / "map.pdf"))
    assert len({turn.priority for turn in order}) > 2
    for turn in order:
        look = LOOK_OF[turn.priority]
        zone = Polygon(planned.frame.place(list(turn.row["geometry"].exterior.coords)))
        filled = [
            tone for shape, tone in sheet.fills if shape.symmetric_difference(zone).area < 0.02 * zone.area
        ]
        assert filled == [look.grey]
        within = zone.buffer(-0.3)
        lines = [
            (thick, tone)
            for line, thick, tone in sheet.strokes
            if within.intersects(line) and zone.buffer(0.1).covers(line)
        ]
        hatched = [one for one in lines if one == (look.thick, look.ink)]
        others = {(other.thick, other.ink) for other in LOOK_OF.values() if other.step} - {
            (look.thick, look.ink)
        }
        assert bool(hatched) == bool(look.step)
        assert not others.intersection(lines)
