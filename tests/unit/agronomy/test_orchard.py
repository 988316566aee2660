"""Crops and hemisphere are settled once, for ranking, water plan and report alike."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.orchard import Orchard, settle
from stressmap.agronomy.visit_weather import UsualWeather


def orchard(
    own: dict[str, dict[str, object]] | None = None, *, south: bool = False, **harvest: str
) -> Orchard:
    names = list(harvest) or ["A"]
    blocks = gpd.GeoDataFrame(
        {
            "block": names,
            "crop": "prune",
            "planted": np.nan,
            "harvest": [harvest.get(n) or None for n in names],
        },
        geometry=[box(6e5, 6_200_000 if south else 4_300_000, 6e5 + 400, 6_200_400 if south else 4_300_400)]
        * len(names),
        crs="EPSG:32719" if south else "EPSG:32610",
    )
    return settle(blocks, load_profiles(own or {}, "ranch.toml"), blocks_file="blocks.geojson").value


@pytest.mark.parametrize(
    ("made", "day"),
    [
        (orchard(south=True), "2026-01-13"),
        (orchard({"prune": {"harvest": "08-20"}}), "2026-07-14"),
        (orchard(A="08-20"), "2026-07-14"),
    ],
    ids=["southern hemisphere", "harvest of the crop", "harvest of the block"],
)
@pytest.mark.parametrize("usual", [True, False], ids=["with weather", "without weather"])
def test_the_course_that_is_drawn_is_the_one_that_ranks(made: Orchard, day: str, *, usual: bool) -> None:
    days = pd.DatetimeIndex([day])
    if usual:
        year = pd.date_range("2026-01-01", "2026-12-31").to_numpy().astype("datetime64[D]")
        made = replace(made, usual=UsualWeather(year, np.full(len(year), 3.0)))
    places = pd.DataFrame(made.blocks[["block", "crop", "harvest", "planted"]])
    relative = made.baselines(places, np.array([3.0])) - made.allowances(places, days)
    (course,) = made.courses(days).values()
    assert course[0] == pytest.approx(relative[0] if usual else made.season_targets(places, days)[0])


def test_blocks_with_harvests_of_their_own_have_courses_of_their_own() -> None:
    made = orchard(A="08-10", B="08-25", C="")
    assert list(made.courses(pd.DatetimeIndex(["2026-07-14"]))) == [
        ("prune", "", None),
        ("prune", "", "08-10"),
        ("prune", "", "08-25"),
    ]


def test_a_variety_with_figures_of_its_own_has_a_course_of_its_own() -> None:
    made = orchard(A="", B="")
    blocks = made.blocks.assign(crop="walnut", variety=["Serr", "some other"])
    grown = settle(blocks, load_profiles({}, "ranch.toml"), blocks_file="blocks.geojson").value
    assert list(grown.courses(pd.DatetimeIndex(["2026-09-15"]))) == [
        ("walnut", "", None),
        ("walnut", "Serr", None),
    ]


def test_young_trees_keep_their_allowance_under_a_season_of_the_ranchs_own() -> None:
    """Published: 2 to 4 bar below the line all season for young prune."""
    own = {"prune": {"season_target": [["05-01", -6.0], ["08-01", -14.0]]}}
    year = pd.date_range("2026-01-01", "2026-12-31").to_numpy().astype("datetime64[D]")
    made = replace(orchard(own), usual=UsualWeather(year, np.full(len(year), 1.0)))
    places = pd.DataFrame({"block": ["A"] * 2, "crop": "prune", "harvest": None, "planted": [2025.0, 2005.0]})
    young, bearing = made.allowances(places, pd.DatetimeIndex(["2026-08-10"] * 2))
    assert 2.0 <= young <= 4.0 < bearing
