"""A reader reads a file and the same bytes with a name alike."""

import zipfile
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from helpers import small_ranch

from stressmap.core import settings
from stressmap.core.errors import DataError
from stressmap.core.sources import InputSource
from stressmap.intake.blocks_and_valves import read_blocks, read_valves
from stressmap.intake.readings import read_readings
from stressmap.intake.weather import read_weather

ZONE = ZoneInfo("America/Los_Angeles")


@pytest.fixture
def ranch(tmp_path: Path) -> settings.Settings:
    return settings.load(small_ranch.write(tmp_path))


def bare(path: Path) -> InputSource:
    return InputSource.of_bytes(path.read_bytes(), "from the phone")


def test_tables(ranch: settings.Settings) -> None:
    files, (leaves,) = ranch.files, ranch.files.readings
    of_file = read_readings(leaves, ranch).value.drop(columns="file")
    of_bytes = read_readings(bare(leaves), ranch).value
    assert of_bytes.pop("file").unique().tolist() == ["from the phone"]
    assert of_bytes.equals(of_file)
    of_bytes = read_weather(bare(files.weather), zone=ZONE).value
    assert of_bytes.equals(read_weather(files.weather, zone=ZONE).value)


def test_polygons(ranch: settings.Settings) -> None:
    files = ranch.files
    blocks = read_blocks(files.blocks, None).value
    assert read_blocks(bare(files.blocks), None).value.equals(blocks)
    of_bytes = read_valves(bare(files.valves), blocks.crs).value
    assert of_bytes.equals(read_valves(files.valves, blocks.crs).value)


def test_a_zipped_shapefile(ranch: settings.Settings, tmp_path: Path) -> None:
    table = read_blocks(ranch.files.blocks, None).value
    table.rename(columns=lambda name: name[:10]).to_file(tmp_path / "b.shp")
    path = tmp_path / "blocks.zip"
    with zipfile.ZipFile(path, "w") as packed:
        for part in tmp_path.glob("b.[sdpc]*"):
            packed.write(part, part.name)
    assert read_blocks(bare(path), None).value.equals(read_blocks(path, None).value)


@pytest.mark.parametrize("data", [b"", b" \n"])
def test_what_is_empty_is_refused_by_its_name(ranch: settings.Settings, data: bytes) -> None:
    with pytest.raises(DataError) as error:
        read_readings(InputSource.of_bytes(data, "from the phone"), ranch)
    assert str(error.value) == "from the phone: it is empty. Give a file with a header and a row per entry."
