"""``"???"`` in a ranch.toml is refused with what to write there."""

from __future__ import annotations

from pathlib import Path

import pytest

from stressmap.core.errors import SettingsError
from stressmap.core.settings import load

TEXT = """
[ranch]
name = "R"
timezone = "America/Los_Angeles"
[files]
readings = "readings.csv"
blocks = "blocks.geojson"
"""


def said(folder: Path, text: str) -> list[str]:
    path = folder / "ranch.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load(path)
    return [str(problem).removeprefix(str(folder) + "/") for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            TEXT.replace("America/Los_Angeles", "???"),
            "ranch.toml, column ranch.timezone: '???' still stands there. Write the IANA name of its time "
            'zone, such as "America/Los_Angeles".',
        ),
        (
            TEXT + 'crop = "???"\n',
            "ranch.toml, column files.crop: '???' still stands there. Remove the line; write the crop by "
            "block, in the column crop of [files] attributes or of the outlines.",
        ),
        (
            TEXT + 'valves = "???"\n',
            "ranch.toml, column files.valves: '???' still stands there. Write the path of the file as seen "
            "from this one, or remove the line.",
        ),
        (
            TEXT + '[columns]\nPARCEL = "???"\n',
            "ranch.toml, column columns.PARCEL: '???' still stands there. Write which column it is, such as "
            '"block", or "" for none.',
        ),
        (
            TEXT + '[water]\nhours = ["???", "06:00"]\n',
            "ranch.toml, column water.hours: '???' still stands there. Write it as the remark beside it "
            "shows, or remove the line.",
        ),
    ],
)
def test_each_is_one_line_that_says_what_to_write(tmp_path: Path, text: str, line: str) -> None:
    assert said(tmp_path, text) == [line]


def test_all_of_them_are_told_at_once(tmp_path: Path) -> None:
    text = TEXT.replace("America/Los_Angeles", "???").replace('"R"', '"???"')
    assert [line.partition(":")[0] for line in said(tmp_path, text)] == [
        "ranch.toml, column ranch.name",
        "ranch.toml, column ranch.timezone",
    ]
