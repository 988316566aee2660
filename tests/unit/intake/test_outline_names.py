"""Names by row, for outlines that have none or one that stands twice."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
from helpers.invented_ranch import CRS
from helpers.told import english
from shapely.geometry import box

from stressmap.core.errors import DataError, SettingsError
from stressmap.core.settings import load
from stressmap.core.sources import InputSource
from stressmap.intake.blocks_and_valves import read_blocks, read_valves
from stressmap.intake.outline_names import OutlineFile, names_to_give, replaced_names

X, Y = 600_000.0, 4_300_000.0
SHAPES = [box(X + 220 * k, Y, X + 220 * k + 200, Y + 200) for k in range(3)]
SETTINGS = """
[ranch]
name = "R"
timezone = "America/Los_Angeles"
[files]
readings = "readings.csv"
blocks = "blocks.geojson"
"""


def written(folder: Path, **columns: list[str | None]) -> Path:
    path = folder / "outlines.gpkg"
    gpd.GeoDataFrame(columns, geometry=SHAPES, crs=CRS).to_file(path)
    return path


def with_names(path: Path, **rows: str) -> OutlineFile:
    return OutlineFile(InputSource.of(path), {row.removeprefix("r"): name for row, name in rows.items()})


def test_names_of_the_settings_stand_in_the_place_of_those_of_the_file(tmp_path: Path) -> None:
    path = written(tmp_path, block=["Old", "old", ""], crop=["prune"] * 3)
    with pytest.raises(DataError):
        read_blocks(path, CRS)
    found = read_blocks(with_names(path, r2="East", r3="West", r4="River"), CRS)
    assert found.value["block"].tolist() == ["East", "West", "River"]
    assert english(found) == [f"{path}: 3 names are given by [names.blocks] (row 2, 3, 4)."]
    assert replaced_names(found.notes) == {"Old", "old"}


def test_a_file_without_a_column_of_names_is_named_by_the_settings_alone(tmp_path: Path) -> None:
    path = written(tmp_path)
    found = read_valves(with_names(path, r2="V1", r3="V2", r4="V3?"), CRS)
    assert found.value["valve"].tolist() == ["V1", "V2", "V3?"]
    assert english(found)[1] == (
        f"{path}: 'V3?' (row 4) is a provisional name: the outlines have none, or one that stands twice. "
        "Write the right ones under [names.valves] in ranch.toml, without the question mark."
    )


def test_a_valve_of_a_block_that_is_called_otherwise_now_is_found_by_overlap(tmp_path: Path) -> None:
    path = written(tmp_path, valve=["V1", "V2", "V3"], block=["Old", "Yard", None])
    found = read_valves(path, CRS, replaced={"Old"})
    assert found.value["block"].tolist() == [None, "Yard", None]


def test_a_given_name_that_stands_twice_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, block=["A", "B", "C"], crop=["prune"] * 3)
    with pytest.raises(DataError, match=r"row 3, column block: 'A' stands in row 2 too"):
        read_blocks(with_names(path, r3="A"), CRS)


def test_a_provisional_name_is_none_that_stands_already() -> None:
    given = names_to_give({2: "V1", 3: "v1", 4: "V1 1?", 5: "", 6: "v4?"}, "V")
    assert given == {2: "V1 2?", 3: "v1 3?", 5: "V5?"}
    assert names_to_give({2: "A", 3: "B"}, "B") == {}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            '[names.blocks]\n"North 1" = "North"',
            "column names.blocks: 'North 1' is no row of an outline. Write 3 = \"North\", the first outline "
            "being row 2.",
        ),
        (
            '[names.valves]\n3 = " "',
            "column names.valves: the name of row 3 is empty. Write the name, or remove the line.",
        ),
    ],
)
def test_wrong_settings_are_one_line(tmp_path: Path, line: str, said: str) -> None:
    path = tmp_path / "ranch.toml"
    path.write_text(SETTINGS + line, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load(path)
    assert str(caught.value) == f"{path}, {said}"
