"""Crops and hemisphere are settled once, for ranking, water plan and report alike."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from stressmap.agronomy import target_bar
from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.orchard import Orchard, settle
from stressmap.core.notes import Notes


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
    return settle(blocks, load_profiles(own or {}, "ranch.toml"), Notes(), blocks_file="blocks.geojson")


@pytest.mark.parametrize(
    ("made", "day"),
    [
        (orchard(south=True), "2026-01-13"),
        (orchard({"prune": {"harvest": "08-20"}}), "2026-07-14"),
        (orchard(A="08-20"), "2026-07-14"),
    ],
    ids=["southern hemisphere", "harvest of the crop", "harvest of the block"],
)
def test_the_seasons_that_are_drawn_are_those_that_rank(made: Orchard, day: str) -> None:
    places = pd.DataFrame(made.blocks[["block", "crop", "harvest", "planted"]])
    ranked = made.targets(places, pd.DatetimeIndex([day]))
    (season,) = made.seasons().values()
    assert ranked[0] == pytest.approx(target_bar(day, season)[0])


def test_blocks_with_harvests_of_their_own_have_seasons_of_their_own() -> None:
    assert sorted(orchard(A="08-10", B="08-25", C="").seasons(), key=str) == [
        ("prune", "08-10"),
        ("prune", "08-25"),
        ("prune", None),
    ]
