"""What a phone shows as QR codes comes back from photographs as it was: drawn, turned, blurred, as JPEG."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import zxingcpp
from helpers.node_runs import run_node
from helpers.paths import REPOSITORY
from PIL import Image, ImageFilter

from stressmap.core.errors import DataError
from stressmap.core.sources import InputSource
from stressmap.intake.photographed_codes import is_picture, tables_in

SCRIPT = "tests/js/drawn_codes.mjs"
TRIED = [1, 2, 5, 6, 7, 9, 10, 13, 14, 20, 21, 27, 28, 30]
"""Versions around each change of the layout."""
ASKEW = [(0, 0, 95), (7, 1.5, 70), (-33, 1.0, 60), (180, 2.0, 80)]
"""Degrees turned, pixels of blur, quality of the JPEG."""


def by_node(*versions: int) -> dict:
    done = run_node(SCRIPT, *map(str, versions), folder=REPOSITORY)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def drawn(rows: list[list[int]], scale: int = 7) -> Image.Image:
    """Draw a code with its quiet zone, as the form does."""
    light = np.pad(255 * (1 - np.array(rows, np.uint8)), 4, constant_values=255)
    return Image.fromarray(light.repeat(scale, 0).repeat(scale, 1))


def photographed(code: Image.Image, turn: float, blur: float, quality: int) -> bytes:
    """Lay a code on a grey table and photograph it askew, a little out of focus."""
    table = Image.new("L", (code.width + 300, code.height + 300), 110)
    table.paste(code, (150, 150))
    taken = table.rotate(turn, Image.Resampling.BICUBIC, expand=True, fillcolor=90)
    taken = taken.filter(ImageFilter.GaussianBlur(blur)).point(lambda level: 40 + level * 170 // 255)
    kept = io.BytesIO()
    taken.convert("RGB").save(kept, "JPEG", quality=quality)
    return kept.getvalue()


def test_a_version_holds_what_it_should_and_is_read_back() -> None:
    """Bytes at correction M: ISO/IEC 18004, 2015, table 7 (from memory): 14, 26, 213 at 10, 1,370 at 30."""
    made = by_node(*TRIED)
    assert made["none"] is None
    sizes = dict(zip(TRIED, (len(one["bytes"]) for one in made["tried"]), strict=True))
    assert [sizes[version] for version in (1, 2, 10, 30)] == [14, 26, 213, 1370]
    for version, one in zip(TRIED, made["tried"], strict=True):
        assert len(one["rows"]) == 17 + 4 * version
        (read,) = zxingcpp.read_barcodes(drawn(one["rows"], 4))
        assert bytes(read.bytes) == bytes(one["bytes"]), version


@pytest.fixture(scope="module")
def twenty() -> dict:
    return by_node()


@pytest.mark.parametrize(("turn", "blur", "quality"), ASKEW)
def test_twenty_readings_come_back_equal_from_photographs(
    twenty: dict, turn: float, blur: float, quality: int
) -> None:
    tables = []
    for number, rows in enumerate(twenty["codes"]):
        source = InputSource.of_bytes(photographed(drawn(rows), turn, blur, quality), f"{number}.jpg")
        assert is_picture(source.head())
        tables += [table.filled().decode() for table in tables_in(source)]
    *read, valves = tables
    head, *lines = twenty["readings"].splitlines()
    assert [text.splitlines()[0] for text in read] == [head] * len(read)
    assert [line for text in read for line in text.splitlines()[1:]] == lines
    assert valves == twenty["valves"]
    assert len(read) <= 2


def test_a_picture_without_a_code_of_ours_is_refused() -> None:
    blank = io.BytesIO()
    Image.new("L", (300, 200), 128).save(blank, "PNG")
    found = {
        blank.getvalue(): "no code of the field form can be read",
        b"\xff\xd8\xff\xe0no": "cannot be read",
    }
    for data, what in found.items():
        with pytest.raises(DataError, match=what):
            tables_in(InputSource.of_bytes(data, "photo.jpg"))
