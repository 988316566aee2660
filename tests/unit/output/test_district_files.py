"""The overview of a district: valve zones ranked over all, problems, mosaic, layers."""

from __future__ import annotations

import csv
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
from helpers.drawn_district import Named, drawn, failed, folder_of
from rio_cogeo.cogeo import cog_validate

from stressmap.core import schemas
from stressmap.output import district_outputs
from stressmap.output.gis import mosaic
from stressmap.output.gis.district_layers import district_layers
from stressmap.output.gis.mosaic import mosaic_grid, write_mosaic
from stressmap.output.view.district_content import DistrictContent, district_content

UTM_11 = "EPSG:32611"


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory):
    place = tmp_path_factory.mktemp("district")
    return [
        folder_of(drawn(4), place / "north", "North"),
        failed("bad", "Bad"),
        folder_of(drawn(3, east=3000.0), place / "south", "=South"),
    ]


@pytest.fixture(scope="module")
def content(results) -> DistrictContent:
    return district_content("Valley", ("en",), results)


@pytest.fixture
def written(results, tmp_path: Path) -> Path:
    district_outputs.write_overview(Named(), results, None, tmp_path / "out")
    return tmp_path / "out"


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_a_ranch_taken_out_of_the_list_stays_in_its_folder_is_named_once_and_not_shown(
    results, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    folder_of(drawn(1), out / "sold", "Sold")
    folder_of(drawn(1), out / "gone", "Gone")
    (out / "mine").mkdir()
    (out / ".hidden").mkdir()
    made = district_outputs.write_overview(Named(), results, None, out)
    (note,) = [one for one in made.notes if one.code == "district_left_over"]
    assert note.value("folders") == ("gone", "sold")
    assert [one.title for one in made.ranches] == ["North", "=South"]
    assert (out / "sold" / "stress.tif").is_file()
    page = (out / "district.html").read_text(encoding="utf-8")
    assert page.count("No longer in the list of this district: gone, sold.") == 2
    assert '"Sold"' not in page


def test_valves_of_all_ranches_are_ranked_by_priority_and_urgency(written: Path) -> None:
    listed = rows(written / "district.csv")
    assert [row["rank"] for row in listed] == [str(i + 1) for i in range(14)]
    assert {row["ranch"] for row in listed} == {"North", "'=South"}
    keys = [(int(row["priority"]), -float(row["urgency"])) for row in listed]
    assert keys == sorted(keys)
    assert keys[0] != keys[-1]
    for ranch in ("North", "'=South"):
        own = [int(row["ranch_rank"]) for row in listed if row["ranch"] == ranch]
        assert sorted(own) == list(range(1, len(own) + 1))


def test_the_columns_are_those_of_a_ranch_with_its_name_before_them(written: Path) -> None:
    with (written / "district.csv").open(encoding="utf-8") as stream:
        head = stream.readline().strip().split(",")
    own = [schemas.columns_of(schemas.RANKED_VALVES, required=kind) for kind in (True, False)]
    assert head == ["ranch", *own[0], *own[1], "ranch_rank"]


def test_a_ranch_that_failed_is_listed_with_its_problem_and_nothing_runs_as_a_formula(written: Path) -> None:
    assert rows(written / "problems.csv") == [
        {
            "ranch": "Bad", "file": "readings.csv", "row": "4", "column": "pressure",
            "what": "'=HYPERLINK(1) is not a number", "remedy": "Write bar as a number",
        }
    ]  # fmt: skip


def test_a_valve_without_a_rank_in_its_ranch_has_none_in_the_district(tmp_path: Path) -> None:
    ranch = drawn(2)
    valves = ranch.valves.copy()
    valves["rank"] = valves["rank"].astype("Int64")
    valves.loc[valves["block"] == "B1", ["rank", "measured"]] = [None, False]
    object.__setattr__(ranch, "valves", valves)
    made = district_content("V", ("en",), [folder_of(ranch, tmp_path / "a", "A")])
    assert made.valves["rank"].tolist()[:2] == [1, 2]
    assert made.valves["rank"].isna().tolist() == [False, False, True, True]
    assert made.valves["block"].tolist()[2:] == ["B1", "B1"]


def test_a_folder_that_cannot_be_read_is_a_ranch_that_failed(tmp_path: Path) -> None:
    broken = folder_of(drawn(1), tmp_path / "a", "A")
    (tmp_path / "a" / "run.json").write_text("{", encoding="utf-8")
    made = district_content("V", ("en",), [broken])
    assert made.valves.empty
    assert made.problems["remedy"].tolist() == ["Remove that folder and run again"]
    assert made.problems["what"][0].startswith("its results cannot be read (")


def test_ranches_of_one_name_are_told_apart(tmp_path: Path) -> None:
    made = district_content("V", ("en",), [folder_of(drawn(1), tmp_path / s, "Hill") for s in ("a", "b")])
    assert set(made.valves["ranch"]) == {"Hill (a)", "Hill (b)"}


def test_the_mosaic_is_cloud_optimised_and_holds_the_cells_of_each_ranch(written: Path, results) -> None:
    valid, wrong, _ = cog_validate(written / "district.tif", quiet=True)
    assert (valid, wrong) == (True, [])
    seen = 0
    with rasterio.open(written / "district.tif") as whole:
        assert whole.descriptions == ("stress_bar", "stress_se_bar")
        assert whole.units == ("bar", "bar")
        for result in results:
            if result.folder is None:
                continue
            with rasterio.open(result.folder / "stress.tif") as own:
                part = whole.read(window=rasterio.windows.from_bounds(*own.bounds, transform=whole.transform))
                np.testing.assert_array_equal(part, own.read())
                seen += int(np.isfinite(own.read(1)).sum())
        assert int(np.isfinite(whole.read(1)).sum()) == seen


def test_a_ranch_of_another_zone_takes_the_nearest_figure_and_the_note_says_so(tmp_path: Path) -> None:
    """Seen from the next zone, a ranch lies on the same ground: its cells are found there again."""
    here = folder_of(drawn(2), tmp_path / "a", "A")
    beside = drawn(2, east=5000.0)
    there = gpd.GeoSeries(beside.blocks.geometry, crs=beside.blocks.crs).to_crs(UTM_11)
    west, _, _, north = there.total_bounds
    cell = beside.raster.cell_m
    raster = beside.raster
    object.__setattr__(raster, "crs", UTM_11)
    object.__setattr__(raster, "west", float(np.floor(west / cell) * cell))
    object.__setattr__(raster, "north", float(np.ceil(north / cell) * cell))
    tables = {
        name: getattr(beside, name).set_crs(UTM_11, allow_override=True) for name in ("valves", "blocks")
    }
    for name, table in tables.items():
        object.__setattr__(beside, name, table)
    moved = folder_of(beside, tmp_path / "b", "B")
    rasters = [one.folder / "stress.tif" for one in (here, here, moved)]
    made = write_mosaic(rasters, tmp_path / "m.tif", ["A", "A", "B"])
    assert [(note.code, note.value("ranches")) for note in made.notes] == [("district_resampled", ("B",))]
    with rasterio.open(tmp_path / "m.tif") as whole, rasterio.open(rasters[2]) as own:
        assert whole.crs.to_string() == "EPSG:32610"
        rows, cols = np.nonzero(np.isfinite(own.read(1)))
        x, y = own.xy(rows, cols)
        xs, ys = rasterio.warp.transform(own.crs, whole.crs, list(x), list(y))
        seen = np.array(list(whole.sample(zip(xs, ys, strict=True))))[:, 0]
        off = np.abs(seen - own.read(1)[rows, cols])
    assert np.isfinite(seen).mean() > 0.9
    assert np.nanmedian(off) < 0.3  # a cell's neighbour differs by as much


def test_ranches_far_apart_make_no_mosaic_and_the_note_says_what_to_use(
    results, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mosaic, "MOST_CELLS", 100)
    rasters = [results[0].folder / "stress.tif"]
    made = write_mosaic(rasters, tmp_path / "m.tif", ["North"])
    assert [note.code for note in made.notes] == ["district_far_apart"]
    assert not list(tmp_path.iterdir())


def test_the_grid_keeps_the_lines_of_the_ranches(results) -> None:
    grid = mosaic_grid([one.folder / "stress.tif" for one in results if one.folder])
    assert grid.west % grid.cell_m == grid.north % grid.cell_m == 0.0


def test_the_geopackage_holds_ranches_blocks_and_valves(written: Path, content: DistrictContent) -> None:
    path = written / "district.gpkg"
    assert {"ranches", "blocks", "valves"} <= {name for name, _ in pyogrio.list_layers(path)}
    blocks = gpd.read_file(path, layer="blocks")
    assert len(blocks) == 7
    worst = content.valves[content.valves["block"] == "B2"].groupby("ranch")["urgency"].max()
    seen = blocks[blocks["block"] == "B2"].set_index("ranch")["urgency"]
    assert seen.sort_index().round(3).tolist() == worst.sort_index().round(3).tolist()
    ranches = gpd.read_file(path, layer="ranches")
    assert ranches["valves"].tolist() == [8, 6]
    np.testing.assert_allclose(ranches["area_ha"], [4 * 12.6, 3 * 12.6])


def test_without_any_ranch_there_are_headers_only(tmp_path: Path) -> None:
    district_outputs.write_overview(Named(), [failed("bad", "Bad")], None, tmp_path / "out")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "district.csv",
        "district.html",
        "problems.csv",
        "run.json",
    ]
    assert rows(tmp_path / "out" / "district.csv") == []
    assert district_layers(district_content("V", ("en",), [])) == {}


def test_an_overview_replaces_an_earlier_one_and_leaves_the_ranches_folders(written: Path, results) -> None:
    (written / "north").mkdir()
    (written / "north" / "map.html").write_text("x", encoding="utf-8")
    district_outputs.write_overview(Named(), results[:1], None, written)
    assert (written / "north" / "map.html").read_text(encoding="utf-8") == "x"
    assert len(rows(written / "district.csv")) == 8


def test_the_same_ranches_give_the_same_bytes(written: Path, results, tmp_path: Path) -> None:
    district_outputs.write_overview(Named(), results, None, tmp_path / "again")
    for file in written.iterdir():
        assert file.read_bytes() == (tmp_path / "again" / file.name).read_bytes(), file.name
