"""A new ranch from bare outlines: ``check`` names what is to be edited, and after that it runs."""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path

import geopandas as gpd
import openpyxl
import pytest
import shapely
from helpers import small_ranch
from typer.testing import CliRunner

from stressmap.cli import app
from stressmap.core.settings import Settings, Water, known_keys
from stressmap.intake.heading_recognition import recognise
from stressmap.intake.readings import read_readings
from stressmap.intake.spellings import FIELDS
from stressmap.output.staging.starter import BLOCK_COLUMNS, READING_COLUMNS, water_lines

KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder><name>Ranch</name>{marks}</Folder></Document></kml>
"""


def bare_kml(folder: Path) -> Path:
    """Write outlines that carry nothing but a name."""
    marks = ""
    for name, shape in (
        small_ranch.blocks().to_crs("EPSG:4326")[["block", "geometry"]].itertuples(index=False)
    ):
        places = " ".join(f"{x:.7f},{y:.7f},0" for x, y in shape.exterior.coords)
        marks += (
            f"<Placemark><name>{name}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{places}"
            "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
        )
    path = folder / "outlines.kml"
    path.write_text(KML.format(marks=marks), encoding="utf-8")
    return path


def bare_shapefile(folder: Path) -> Path:
    """Write a shapefile whose only column is a name in Spanish."""
    path = folder / "lotes.shp"
    named = small_ranch.blocks()[["block", "geometry"]].rename(columns={"block": "Lote"})
    named.to_file(path, driver="ESRI Shapefile")
    return path


def called(*words: str | Path) -> tuple[int, str]:
    result = CliRunner().invoke(app, [str(word) for word in words])
    return result.exit_code, result.output


def cells_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file))


def edit_as_told(said: str) -> int:
    """Follow the words of ``check``: fill in the cells and the sheet that it names; give how many files."""
    files = set()
    for line in said.splitlines():
        cell = re.fullmatch(
            r"error: (.+\.csv), row (\d+), column (\w+): '\?\?\?' .* Write its crop: (\w+),.*", line
        )
        empty = re.fullmatch(
            r"error: (.+): no readings yet: (\w+\.csv) and 1 more have no row below the headings\. .*", line
        )
        if cell:
            rows = cells_of(Path(cell[1]))
            rows[int(cell[2]) - 1][rows[0].index(cell[3])] = "prune"
            with Path(cell[1]).open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows(rows)
        elif empty:
            fill_in(Path(empty[1]) / empty[2])
        files |= {found[1] for found in (cell, empty) if found}
    return len(files)


def fill_in(sheet: Path) -> None:
    """Type readings below the headings of an empty sheet."""
    headings = cells_of(sheet)[0]
    cells = []
    for one in small_ranch.readings().to_dict("records"):
        day, clock = one["time"].split()
        known = {
            "tree_id": one["tree_id"], "time": one["time"], "lon": one["lon"], "lat": one["lat"],
            "pressure_bar": one["pressure_bar"], "Árbol": one["tree_id"], "Fecha": day, "Hora": clock,
            "Longitud": one["lon"], "Latitud": one["lat"], "Presión (bar)": one["pressure_bar"],
        }  # fmt: skip
        cells.append([known.get(heading, "") for heading in headings])
    with sheet.open("a", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(cells)


@pytest.mark.parametrize("outlines", [bare_kml, bare_shapefile])
def test_a_ranch_of_bare_outlines_runs_after_two_edits_that_check_names(outlines, tmp_path: Path) -> None:
    folder = tmp_path / "new"
    code, said = called("start", folder, "--blocks", outlines(tmp_path))
    assert code == 0, said
    assert "???" in said
    code, said = called("check", folder / "ranch.toml")
    assert code == 3
    assert edit_as_told(said) == 2
    code, said = called("check", folder / "ranch.toml")
    assert code == 0, said
    code, said = called("run", folder / "ranch.toml", "--out", tmp_path / "result", "--quiet")
    assert code == 0, said
    assert (tmp_path / "result" / "valves.csv").is_file()


def unnamed_outlines(folder: Path) -> tuple[Path, Path]:
    """Write blocks of one name, and valve zones of which two have one name and two have none."""
    blocks, valves = folder / "blocks.geojson", folder / "valves.geojson"
    table = small_ranch.blocks().to_crs("EPSG:4326").assign(block=["Shed", "shed"])
    table.to_file(blocks, driver="GeoJSON")
    named = small_ranch.valves().assign(valve=["V1", "V1", "", None], block=["Shed", "Shed", None, "shed"])
    named.to_crs("EPSG:4326").to_file(valves, driver="GeoJSON")
    return blocks, valves


def test_outlines_without_names_of_their_own_run_by_provisional_ones_until_they_are_put_right(
    tmp_path: Path,
) -> None:
    blocks, valves = unnamed_outlines(tmp_path)
    settings = tmp_path / "new" / "ranch.toml"
    code, said = called("start", tmp_path / "new", "--blocks", blocks, "--valves", valves)
    assert code == 0, said
    assert "'V1 1?', 'V1 2?', 'V3?', 'V4?' (row 2, 3, 4, 5) are provisional names" in said
    fill_in(tmp_path / "new" / "readings" / "readings.csv")
    code, said = called("check", settings)
    assert code == 0, said
    assert "WARNING: ../blocks.geojson: 'Shed 1?', 'shed 2?' (row 2, 3) are provisional names" in said
    assert "Write the right ones under [names.blocks] in ranch.toml" in said
    assert "2 blocks, 59.3 acres, 4 valve zones" in said, "24 ha, an acre being 0.40468564224 ha"
    text = settings.read_text(encoding="utf-8")
    rows = dict.fromkeys(tomllib.loads(text)["names"]["valves"])
    assert list(rows) == ["2", "3", "4", "5"]
    text = re.sub(r'(?m)^(\d) = "[^"]*"', lambda row: f'{row[1]} = "N{row[1]}"', text)
    settings.write_text(text, encoding="utf-8")
    code, said = called("check", settings)
    assert code == 0, said
    assert "provisional" not in said
    assert "../valves.geojson: 4 names are given by [names.valves] (row 2, 3, 4, 5)." in said


def test_a_name_for_a_row_without_an_outline_is_refused(tmp_path: Path) -> None:
    blocks, valves = unnamed_outlines(tmp_path)
    settings = tmp_path / "new" / "ranch.toml"
    called("start", tmp_path / "new", "--blocks", blocks, "--valves", valves)
    fill_in(tmp_path / "new" / "readings" / "readings.csv")
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('3 = "shed 2?"', '3 = "shed 2?"\n9 = "East"'), encoding="utf-8")
    code, said = called("check", settings)
    assert code == 2
    assert said.strip() == (
        f"error: {settings}, column names.blocks.9: {blocks} has no outline of its own in row 9. "
        "Write the row of an outline: the first is row 2, the last row 3."
    )


def test_a_name_still_asked_for_is_refused_in_one_line(tmp_path: Path) -> None:
    blocks, valves = unnamed_outlines(tmp_path)
    settings = tmp_path / "new" / "ranch.toml"
    called("start", tmp_path / "new", "--blocks", blocks, "--valves", valves)
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace("shed 2?", "???"), encoding="utf-8")
    code, said = called("check", settings)
    assert code == 2
    assert said.strip() == (
        f"error: {settings}, column names.blocks.3: '???' still stands there. "
        "Write the name of the block or valve zone whose outline is in that row of its file."
    )


def test_outlines_that_cannot_be_drawn_are_told_and_the_folder_is_written(tmp_path: Path) -> None:
    table = small_ranch.blocks().to_crs("EPSG:4326")
    table.loc[1, "geometry"] = shapely.Point(-121.6, 37.0)
    table.to_file(tmp_path / "blocks.geojson", driver="GeoJSON")
    code, said = called("start", tmp_path / "new", "--blocks", tmp_path / "blocks.geojson")
    assert code == 0
    wrong = f"{tmp_path / 'blocks.geojson'}, row 3: 'South Shed' is a Point, not a polygon."
    assert f"Mend before you check: {wrong} Draw its outline as a polygon." in said
    assert "1 block, " in (tmp_path / "new" / "ranch.toml").read_text(encoding="utf-8")


def test_two_headings_that_could_be_the_name_are_settled_by_the_first(tmp_path: Path) -> None:
    path = tmp_path / "blocks.geojson"
    table = small_ranch.blocks().to_crs("EPSG:4326").assign(lote=["A", "B"])
    table.to_file(path, driver="GeoJSON")
    code, said = called("start", tmp_path / "new", "--blocks", path)
    assert code == 0, said
    fill_in(tmp_path / "new" / "readings" / "readings.csv")
    made = tomllib.loads((tmp_path / "new" / "ranch.toml").read_text(encoding="utf-8"))
    assert made["columns"] == {"lote": ""}
    code, said = called("check", tmp_path / "new" / "ranch.toml")
    assert code == 0, said


def test_one_crop_for_all_leaves_nothing_to_ask(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    code, _ = called("start", folder, "--blocks", bare_kml(tmp_path), "--crop", "Ciruela pasa")
    assert code == 0
    rows = cells_of(folder / "blocks.csv")
    assert [row[:2] for row in rows] == [["block", "crop"], ["North Shed", "prune"], ["South Shed", "prune"]]


def test_an_unknown_crop_is_named_with_what_to_do(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    code, said = called("start", folder, "--blocks", bare_kml(tmp_path), "--crop", "pecan")
    assert code == 0
    assert "No profile is known for the crop 'pecan'" in said
    assert '# [crops."pecan"]' in (folder / "ranch.toml").read_text(encoding="utf-8")


def test_a_crop_spelled_wrongly_is_told_with_the_nearest(tmp_path: Path) -> None:
    code, said = called("start", tmp_path / "new", "--blocks", bare_kml(tmp_path), "--crop", "almnedro")
    assert code == 0
    assert "No profile is known for the crop 'almnedro'; known here or near it: almond." in said


def test_the_place_gives_units_and_the_headings_the_language(tmp_path: Path) -> None:
    called("start", tmp_path / "here", "--blocks", bare_kml(tmp_path))
    called("start", tmp_path / "es", "--blocks", bare_shapefile(tmp_path))
    called("start", tmp_path / "said", "--blocks", bare_kml(tmp_path), "--language", "es")
    found = [
        tomllib.loads((tmp_path / name / "ranch.toml").read_text("utf-8")) for name in ("here", "es", "said")
    ]
    assert [one["ranch"]["languages"][0] for one in found] == ["en", "es", "es"]
    assert {one["ranch"]["units"] for one in found} == {"us"}
    assert {one["ranch"]["timezone"] for one in found} == {"America/Los_Angeles"}
    assert found[1]["files"]["attributes"] == "bloques.csv"


def test_a_ranch_in_a_country_that_speaks_spanish_is_spanish_and_metric(tmp_path: Path) -> None:
    shape = shapely.box(-70.75, -34.2, -70.74, -34.19)
    path = tmp_path / "outlines.geojson"
    gpd.GeoDataFrame({"name": ["Norte"]}, geometry=[shape], crs="EPSG:4326").to_file(path, driver="GeoJSON")
    called("start", tmp_path / "new", "--blocks", path)
    made = tomllib.loads((tmp_path / "new" / "ranch.toml").read_text(encoding="utf-8"))
    assert (made["ranch"]["languages"], made["ranch"]["units"]) == (["es", "en"], "metric")
    assert made["files"]["readings"] == "lecturas/"


def test_a_metric_ranch_hears_of_hectares_in_its_language(tmp_path: Path) -> None:
    west, east = shapely.box(-70.75, -34.2, -70.74, -34.19), shapely.box(-70.7401, -34.2, -70.73, -34.19)
    path = tmp_path / "outlines.geojson"
    table = gpd.GeoDataFrame({"name": ["Norte", "Sur"]}, geometry=[west, east], crs="EPSG:4326")
    table.to_file(path, driver="GeoJSON")
    _, said = called("start", tmp_path / "new", "--blocks", path)
    written = (tmp_path / "new" / "ranch.toml").read_text(encoding="utf-8")
    assert "para 2 bloques." in said
    assert re.search(r"aviso: .* se enciman en [\d.]+ ha; esa parte quedó en 'Norte'", said)
    assert re.search(r"# 2 bloques, [\d.,]+ ha; cultivos: \?\?\?", written)
    assert not re.search(r"\bacres\b(?!, gpm)", said + written)


def test_columns_that_are_not_recognised_stand_ready_to_be_named(tmp_path: Path) -> None:
    path = tmp_path / "outlines.geojson"
    table = (
        small_ranch.blocks().to_crs("EPSG:4326").rename(columns={"block": "PARCEL_CODE"}).drop(columns="crop")
    )
    table.assign(Owner="x", yr_of_plntd=2005).to_file(path, driver="GeoJSON")
    code, _ = called("start", tmp_path / "new", "--blocks", path)
    text = (tmp_path / "new" / "ranch.toml").read_text(encoding="utf-8")
    assert code == 0
    assert tomllib.loads(text)["columns"] == {"PARCEL_CODE": "block"}
    assert '# "Owner" = ""' in text
    assert '# "yr_of_plntd" = "planted"    # not recognised: did you mean planted?' in text


def test_every_key_of_the_water_plan_stands_there_with_its_meaning() -> None:
    lines = water_lines()
    assert [line.partition(" ")[0] for line in lines] == known_keys(("water",))
    assert all(len(line.partition("    # ")[2]) > 10 for line in lines)
    text = "\n".join(line for line in lines if not line.startswith("pumps"))
    assert Water.model_validate(tomllib.loads(text)).days == 7


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_heading_of_the_empty_sheets_is_recognised(language: str, tmp_path: Path) -> None:
    seen = [recognise(heading, FIELDS) for heading in READING_COLUMNS[language]]
    assert None not in seen
    assert len({found.ours for found in seen if found}) == len(seen)
    assert len(BLOCK_COLUMNS["en"]) == len(BLOCK_COLUMNS["es"])
    code, _ = called("start", tmp_path / "new", "--blocks", bare_kml(tmp_path), "--language", language)
    assert code == 0
    sheet = next((tmp_path / "new").glob("*/*.csv"))
    book = openpyxl.load_workbook(sheet.with_suffix(".xlsx"))
    fill_in(sheet)
    for row in cells_of(sheet)[1:]:
        book.active.append([float(cell) if re.fullmatch(r"-?\d+\.\d+", cell) else cell for cell in row])
    book.save(sheet.with_suffix(".xlsx"))
    chosen = Settings.model_validate(
        {
            "ranch": {"name": "x", "timezone": "America/Los_Angeles"},
            "files": {"readings": sheet, "blocks": sheet},
        }
    )
    found = [read_readings(file, chosen).value for file in (sheet, sheet.with_suffix(".xlsx"))]
    assert found[0]["pressure_bar"].tolist() == small_ranch.readings()["pressure_bar"].tolist()
    assert found[0]["time"].tolist() == found[1]["time"].tolist()
    assert found[0]["lat"].tolist() == found[1]["lat"].tolist()
