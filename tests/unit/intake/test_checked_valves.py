"""The day on which a valve's flow or pressure was measured, as people and a GIS write it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from helpers.invented_ranch import CRS
from shapely.geometry import box

from stressmap.core.errors import DataError
from stressmap.intake.blocks_and_valves import read_valves

SHAPES = [box(600_000.0 + 220 * k, 4_300_000.0, 600_200.0 + 220 * k, 4_300_200.0) for k in range(2)]


def checked(path: Path, values: list[Any], heading: str = "checked") -> list[str | None]:
    table = gpd.GeoDataFrame({"valve": ["A", "B"], heading: values}, geometry=SHAPES, crs=CRS)
    table.to_file(path)
    return [None if pd.isna(day) else day for day in read_valves(path, CRS).value["checked"]]


@pytest.mark.parametrize(
    "heading", ["checked", "Checked on", "flow_checked", "revisada", "Fecha de revisión"]
)
def test_the_day_goes_by_its_headings_in_both_languages(tmp_path: Path, heading: str) -> None:
    assert checked(tmp_path / "valves.geojson", ["2026-07-15", None], heading) == ["2026-07-15", None]


def test_a_day_a_moment_and_a_field_of_dates_are_one(tmp_path: Path) -> None:
    assert checked(tmp_path / "a.geojson", ["2026-07-15 08:30", "2026-07-15T08:30"]) == ["2026-07-15"] * 2
    of_dates = pd.to_datetime(["2026-07-15", None])
    assert checked(tmp_path / "b.gpkg", list(of_dates)) == ["2026-07-15", None]


@pytest.mark.parametrize("text", ["15/07/2026", "yes"])
def test_what_is_no_day_is_refused_with_its_place(tmp_path: Path, text: str) -> None:
    path = tmp_path / "valves.geojson"
    with pytest.raises(DataError) as caught:
        checked(path, ["2026-07-15", text])
    told = str(caught.value)
    assert f"{text!r} is not a day" in told
    assert "column checked" in told
    assert "Write it as 2026-07-16" in told
