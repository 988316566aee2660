"""Whether an earlier result of a ranch stands: not when any file has changed that it was made from."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import pytest
from helpers import small_ranch
from helpers.faulty_district import made

from stressmap.core.ranch_result import RanchResult
from stressmap.jobs.district_ranches import ListedRanch, standing


@pytest.fixture
def ranch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ListedRanch:
    """A ranch with a shapefile of blocks, and a result in ``out`` that says what it was made from."""
    monkeypatch.setenv("FAULTS", "[]")
    settings = small_ranch.SETTINGS.replace("blocks.geojson", "blocks.shp")
    source = small_ranch.write(tmp_path / "oak", settings)
    gpd.read_file(source.parent / "blocks.geojson").to_file(source.parent / "blocks.shp")
    made(source, out=tmp_path / "out")
    return ListedRanch("oak", source, "Two Sheds")


def found(ranch: ListedRanch) -> RanchResult | None:
    return standing(ranch, {}, ranch.source.parent.parent / "out")


def test_a_result_stands_while_nothing_changes(ranch: ListedRanch) -> None:
    result = found(ranch)
    assert result is not None
    assert (result.state, result.slug) == ("unchanged", "oak")


@pytest.mark.parametrize("name", ["readings.csv", "weather.csv", "blocks.shp", "blocks.dbf", "blocks.prj"])
def test_a_changed_file_and_what_belongs_to_one_makes_it_fall(ranch: ListedRanch, name: str) -> None:
    with (ranch.source.parent / name).open("ab") as file:
        file.write(b" ")
    assert found(ranch) is None


def test_another_version_makes_it_fall(ranch: ListedRanch) -> None:
    record = ranch.source.parent.parent / "out" / "run.json"
    page = json.loads(record.read_text(encoding="utf-8"))
    page["versions"]["numpy"] = "0"
    record.write_text(json.dumps(page), encoding="utf-8")
    assert found(ranch) is None


def test_a_ranch_that_shall_borrow_does_not_keep_what_it_made_alone(ranch: ListedRanch) -> None:
    assert standing(ranch, {}, ranch.source.parent.parent / "out", borrow=True) is None
