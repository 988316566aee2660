"""A plain table by block is laid over the outlines; what does not fit together is told."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import openpyxl
import pytest
import shapely

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.intake.blocks_and_valves import read_blocks
from stressmap.output.text.note_words import sentences
from stressmap.output.text.words import Words

CROPS = ("almond", "prune")
NO_SPACING = (
    "is no distance between rows or trees. Write it in metres, over 0 and under 30, or in feet with ft in the"
    " heading."
)


def outlines(folder: Path, **columns: list[str]) -> Path:
    shapes = [shapely.box(-121.5 + 0.01 * i, 38.0, -121.492 + 0.01 * i, 38.004) for i in range(3)]
    path = folder / "blocks.geojson"
    table = {"block": ["Home 4", "Shed", "River 07"], **columns}
    gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:4326").to_file(path, driver="GeoJSON")
    return path


def read(folder: Path, text: str, **columns: list[str]) -> Noted[gpd.GeoDataFrame]:
    table = folder / "by_block.csv"
    table.write_text(text, encoding="utf-8")
    return read_blocks(outlines(folder, **columns), None, attributes=table, crops=CROPS)


def refused(folder: Path, text: str, **columns: list[str]) -> str:
    with pytest.raises(DataError) as error:
        read(folder, text, **columns)
    return str(error.value).replace(f"{folder}/", "")


def test_a_table_fills_in_what_outlines_with_only_a_name_lack(tmp_path: Path) -> None:
    text = "Bloque;Cultivo;Plantado;Peso\nShed;prune;2011;2\nHome 4;almond;;\nRiver 07;prune;2019;1,5\n"
    found = read(tmp_path, text)
    assert found.value["crop"].tolist() == ["almond", "prune", "prune"]
    assert found.value["planted"].fillna(0).tolist() == [0, 2011, 2019]
    assert found.value["weight"].tolist() == [1.0, 2.0, 1.5]
    assert not found.notes


def test_a_workbook_serves_as_well(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (["block", "crop"], ["home 4", "prune"], ["SHED", "prune"], ["River 7", "almond"]):
        book.active.append(row)
    book.save(tmp_path / "by_block.xlsx")
    found = read_blocks(outlines(tmp_path), None, attributes=tmp_path / "by_block.xlsx")
    assert found.value["crop"].tolist() == ["prune", "prune", "almond"]


def test_what_does_not_fit_the_outlines_is_told(tmp_path: Path) -> None:
    text = "block,crop,planted\nHome 4,almond,2001\nShedd,prune,2002\n"
    own = {"crop": ["prune", "prune", "almond"], "planted": ["2001", "1999", "2000"]}
    found = read(tmp_path, text, **own)
    assert found.value["crop"].tolist() == ["almond", "prune", "almond"]
    assert found.value["planted"].tolist() == [2001, 1999, 2000]
    file = tmp_path / "by_block.csv"
    assert sentences(found.notes, Words("en")) == (
        f"{file}: 1 row names a block that no outline has, and was left out: 'Shedd' ('Shed'?). "
        "Correct the name.",
        f"{file} has no row for blocks 'Shed', 'River 07'; what the outline says counts.",
        f"{file}: crop of block 'Home 4' is not what the outline says ('almond' here, 'prune' there); "
        "the table counts.",
    )


def test_a_cell_that_still_asks_is_an_error_that_says_what_to_write(tmp_path: Path) -> None:
    text = "block,crop,harvest\nHome 4,???,\nShed,prune,???\nRiver 07,prune,\n"
    assert refused(tmp_path, text).splitlines() == [
        "by_block.csv, row 2, column crop: '???' still stands for the crop of block 'Home 4'. Write its "
        "crop: almond, prune, or one of your own that [crops.<name>] describes.",
        "by_block.csv, row 3, column harvest: '???' still stands for the harvest of block 'Shed'. Write "
        "month and day of the harvest as 08-15, or leave the cell empty.",
    ]


def test_an_outline_that_still_asks_is_an_error_too(tmp_path: Path) -> None:
    path = outlines(tmp_path, crop=["prune", "???", "prune"])
    with pytest.raises(DataError) as error:
        read_blocks(path, None, crops=CROPS)
    assert "row 3, column crop: '???' still stands for the crop of block 'Shed'." in str(error.value)


def test_a_block_without_a_crop_anywhere_is_refused_with_its_row(tmp_path: Path) -> None:
    text = "block,crop\nHome 4,\nRiver 07,prune\n"
    assert refused(tmp_path, text).splitlines() == [
        "by_block.csv, row 2, column crop: block 'Home 4' has no crop, neither here nor with its outline. "
        "Write its crop: almond, prune, or one of your own that [crops.<name>] describes.",
        "by_block.csv, column crop: block 'Shed' has no crop, neither here nor with its outline. Add a row "
        "for it. Write its crop: almond, prune, or one of your own that [crops.<name>] describes.",
    ]


def test_a_block_in_two_rows_is_refused(tmp_path: Path) -> None:
    text = "block,crop\nShed,prune\nHome 4,prune\nshed,almond\n"
    assert refused(tmp_path, text) == (
        "by_block.csv, row 4: block 'Shed' stands in row 2 too. Keep one row for each block."
    )


def test_names_of_blocks_are_forgiving_as_those_of_valves_are(tmp_path: Path) -> None:
    text = "block,crop\nBloque HOME-04,almond\nlote shed,prune\nRiver7,prune\n"
    found = read(tmp_path, text)
    assert found.value["crop"].tolist() == ["almond", "prune", "prune"]
    assert not found.notes


@pytest.mark.parametrize(
    ("heading", "cell", "column", "expected"),
    [
        ("row_spacing_m", "6.1", "row_spacing_m", 6.1),
        ("Row spacing (ft)", "20", "row_spacing_m", 6.096),
        ("Distancia entre hileras (pies)", "22", "row_spacing_m", 6.7056),
        ("Entre árboles (m)", "5", "tree_spacing_m", 5.0),
        ("TREE_SPACING_FT", "18", "tree_spacing_m", 5.4864),
        ("row_bearing", "351.5", "row_bearing", 351.5),
        ("Rumbo de hileras", "N-S", "row_bearing", 0.0),
        ("Row direction", "NE to SW", "row_bearing", 45.0),
        ("Orientación", "noroeste-sureste", "row_bearing", 315.0),
        ("Azimuth (deg)", "15", "row_bearing", 15.0),
        ("wetted_share", "0.35", "wetted_share", 0.35),
        ("Wetted area (%)", "35", "wetted_share", 0.35),
        ("Suelo mojado (%)", "60", "wetted_share", 0.6),
    ],
)
def test_spacing_bearing_and_wetted_share_in_english_and_spanish_with_their_units(
    tmp_path: Path, heading: str, cell: str, column: str, expected: float
) -> None:
    # a foot is 0.3048 m: NIST Special Publication 811 (2008), appendix B.8
    found = read(tmp_path, f"block,crop,{heading}\nHome 4,prune,{cell}\nShed,prune,\nRiver 07,prune,\n")
    assert found.value[column].tolist()[0] == pytest.approx(expected, abs=1e-12)
    assert found.value[column].isna().tolist() == [False, True, True]
    assert not found.notes


def test_they_are_read_from_the_outlines_too_and_cut_headings_say_that_metres_were_taken(
    tmp_path: Path,
) -> None:
    path = outlines(tmp_path, crop=["prune"] * 3, ROW_SPACIN=["6", "6", "7"], row_bearin=["10", "", "E-O"])
    found = read_blocks(path, None, crops=CROPS)
    assert found.value["row_spacing_m"].tolist() == [6.0, 6.0, 7.0]
    assert found.value["row_bearing"].fillna(-1).tolist() == [10.0, -1.0, 90.0]
    assert [text.replace(f"{tmp_path}/", "") for text in sentences(found.notes, Words("en"))] == [
        "blocks.geojson: ROW_SPACIN states no unit; metres were taken. If they are feet, write ft into the "
        "heading: ROW_SPACIN (ft)."
    ]


@pytest.mark.parametrize(
    ("heading", "cell", "expected"),
    [
        ("row_spacing_m", "0", f"'0' {NO_SPACING}"),
        ("tree_spacing_m", "30", f"'30' {NO_SPACING}"),
        ("row_bearing", "361", "'361' is no bearing. Write degrees from north, clockwise, 0 to 360."),
        ("row_bearing", "uphill", "'uphill' is not a number. Write it as degrees from north, as 15, or as "
         "N-S, or leave the cell empty."),
        ("wetted_share", "35", "'35' is not a share of the ground. Write it as 0.35, over 0 to 1."),
    ],
)  # fmt: skip
def test_what_they_cannot_be_is_refused(tmp_path: Path, heading: str, cell: str, expected: str) -> None:
    text = f"block,crop,{heading}\nHome 4,prune,{cell}\nShed,prune,\nRiver 07,prune,\n"
    assert refused(tmp_path, text) == f"by_block.csv, row 2, column {heading}: {expected}"
