"""Awkward outlines: each says in its name what is awkward about it.

Every file of :mod:`helpers.awkward_outlines` gives the blocks of its clean twin, and the lines that ``TOLD``
has for it, or is refused with the line of ``REFUSED``.
"""

from pathlib import Path

import pytest
import shapely
from helpers.awkward_outlines import CRS, OUTLINES, TWIN

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.intake.blocks_and_valves import read_blocks
from stressmap.output.text.note_words import sentences
from stressmap.output.text.words import Words

TOLD: dict[str, list[str]] = {
    "crumbs_beside_both.geojson": [
        "Stray parts of 2 block outlines, 3.0 m² in all, were dropped; the largest, 2.0 m², was "
        "of 'South 2'.",
    ],
    "parts_of_several_kinds.geojson": [
        "parts_of_several_kinds.geojson, row 2: block 'Cañada' is drawn in several parts; those with an area "
        "were taken as one outline.",
    ],
    "slivers_of_one_name.geojson": [
        "slivers_of_one_name.geojson: 7 small pieces bear the name of a larger outline (block Cañada) and "
        "were merged with it or dropped (row 2, 3, 4, 7, 8, 9, 10).",
    ],
    "spike_without_width.geojson": [
        "spike_without_width.geojson, row 3: block 'South 2' crosses or touches itself (ring "
        "self-intersection); its outline was mended.",
    ],
}
REFUSED = {
    "geopackage_with_two_layers_of_polygons.gpkg": "it has 2 polygon layers (blocks, old blocks). Save the "
    "one that counts as a file of its own.",
    "kml_of_points_only.kml": "it holds no polygons. Export the polygons again.",
    "latitude_first.geojson": "its coordinates are no longitudes and latitudes (they reach 38.84493636, "
    "-121.8428445). Export it again in WGS 84, longitude first, or with its CRS.",
    "metres_without_a_crs.geojson": "its coordinates are no longitudes and latitudes (they reach 600420, "
    "4300200). Export it again in WGS 84, longitude first, or with its CRS.",
    "name_empty.geojson": "row 4, column block: the block is empty. Name it.",
    "name_in_capitals_again.geojson": "row 4, column block: 'SOUTH 2' differs from 'South 2' in row 3 only "
    "in capital letters. Give each block its own name.",
    "name_twice_both_large.geojson": "row 4, column block: 'South 2' stands in row 3 too. Give each block "
    "its own name.",
    "no_outline_in_a_row.geojson": "row 4: 'East' has no polygon. Draw it.",
    "nothing_in_it.geojson": "it holds no polygons. Export the polygons again.",
    "point_among_them.geojson": "row 4: 'Gate' is a Point, not a polygon. Draw its outline as a polygon.",
    "same_ground_twice.geojson": "row 4: 'South 2 new' covers the same ground as 'South 2' in row 3. Delete "
    "or redraw one of them.",
    "zipped_shapefile_without_its_prj.zip": "it has no coordinate reference system (CRS). Export it again "
    "with its CRS (a shapefile needs its .prj).",
}
"""File -> its line, without the file's name before it."""


def made(name: str, folder: Path) -> Path:
    path = folder / name
    OUTLINES[name](path)
    return path


@pytest.mark.parametrize("name", [name for name in OUTLINES if name not in REFUSED])
def test_awkward_outlines_read_as_their_clean_twin(name: str, tmp_path: Path) -> None:
    path = made(name, tmp_path)
    found: Noted = read_blocks(path, CRS)
    assert found.value[["block", "crop"]].to_numpy().tolist() == TWIN[["block", "crop"]].to_numpy().tolist()
    distance = shapely.hausdorff_distance(found.value.geometry.to_numpy(), TWIN.geometry.to_numpy())
    assert distance.max() < 0.05
    # a ring each, and one of the yard that is left out
    assert [len(shapely.get_rings(shapely.get_parts(one))) for one in found.value.geometry] == [2, 1]
    (counts,) = found.counts
    assert counts.rows == counts.used + len(counts.left_out)
    told = [one.replace(str(path), name) for one in sentences(found.notes, Words("en", "metric"))]
    assert told == TOLD.get(name, [])


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_outlines_that_are_none_are_refused_with_their_line(name: str, tmp_path: Path) -> None:
    path = made(name, tmp_path)
    with pytest.raises(DataError) as error:
        read_blocks(path, CRS)
    between = ", " if REFUSED[name].startswith("row ") else ": "
    assert str(error.value) == f"{path}{between}{REFUSED[name]}"


def test_the_corpus_has_its_size_and_every_exception_is_of_a_file() -> None:
    assert len(OUTLINES) >= 30
    assert {*TOLD, *REFUSED} <= set(OUTLINES)
