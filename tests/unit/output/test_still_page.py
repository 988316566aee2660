"""What the map says where no script runs: openings with their weekday, why a valve is left closed."""

import dataclasses

import geopandas as gpd
import pandas as pd
import pytest
from helpers.drawn_content import CRS, full
from shapely import box
from shapely.geometry import Point

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import figure_words
from stressmap.output.view.water_words import WaterWords
from stressmap.output.web.map_data import map_data
from stressmap.output.web.still_page import still_page


def planned(**columns: list[object]) -> Content:
    content = full()
    assert content.water_plan is not None
    return dataclasses.replace(content, water_plan=content.water_plan.assign(**columns))


def valves(content: Content) -> list[dict]:
    return still_page(content, None)["valves"]


def test_one_opening_has_its_weekday_in_each_language() -> None:
    """16 July 2026 is a Thursday by any calendar."""
    assert valves(full())[0]["water"] == [
        "Thu Jul 16 20:00 - Fri Jul 17 06:30 / jue 16 jul 20:00 - vie 17 jul 06:30", "10 h 30 min",
    ]  # fmt: skip


def test_several_openings_are_counted_and_their_sum_is_not_left_bare() -> None:
    content = full()
    start = pd.Timestamp("2026-07-16 20:00", tz=content.timetable["start"].iloc[0].tz)
    name = content.valves["valve"].iloc[0]
    sets = [(name, start + pd.Timedelta(hours=k), start + pd.Timedelta(hours=k + 5)) for k in (0, 14)]
    table = pd.DataFrame(sets, columns=["valve", "start", "end"])
    water = valves(dataclasses.replace(content, timetable=table))[0]["water"]
    assert water[0] == "2 sets, 10 h 30 min in all / 2 riegos, 10 h 30 min en total"
    assert [line.split(" - ")[0] for line in water[1:]] == ["Thu Jul 16 20:00", "Fri Jul 17 10:00"]


def test_a_valve_left_closed_says_why_in_each_language() -> None:
    content = planned(
        status=["watered"] * 5 + ["dry", "no need", "no need"], limited_by=[None] * 5 + ["pump"] * 3
    )
    spoken = [WaterWords(language, content.ranch.units) for language in ("en", "es")]
    found = valves(content)
    for valve, key in ((found[5], "dry.by_pump"), (found[6], "status.no_need")):
        assert valve["water"] == [
            "No water for it in this plan / No le toca agua en este plan",
            " / ".join(words(key) for words in spoken),
        ]


def test_a_valve_to_look_at_first_says_so_and_why() -> None:
    content = planned(inspect=[("not_relieved",)] + [()] * 7)
    found = valves(content)
    assert found[0]["look_first"] == [
        f"! {Words('en')('look.not_relieved')} / {Words('es')('look.not_relieved')}"
    ]
    assert found[1]["look_first"] == []
    assert [valve["plan"]["look"] for valve in map_data(content)["valves"]] == [["not_relieved"]] + [[]] * 7


@pytest.mark.parametrize(("bar", "said"), [(0.04, "at its target"), (-0.04, "at its target")])
def test_no_figure_is_nought_point_nought_drier(bar: float, said: str) -> None:
    assert figure_words(bar, "below_target", Words("en")) == said


def test_the_card_leads_to_the_riser_where_it_is_known_else_to_a_corner() -> None:
    content = full()
    zone = content.valves.geometry.iloc[0]
    west, south, east, north = zone.bounds
    riser = Point(west + 3, south + 3)
    found = map_data(dataclasses.replace(content, risers={content.valves["valve"].iloc[0]: riser}))["valves"]
    assert found[0]["open"][2:] == ["riser", "sw"]
    there = gpd.GeoSeries([riser], crs=CRS).to_crs("EPSG:4326").iloc[0]
    assert found[0]["open"][:2] == pytest.approx([there.y, there.x], abs=1e-6)
    assert {valve["open"][2] for valve in found[1:]} == {"edge"}
    assert box(west, south, east, north).equals(zone)
