"""Settings of the other kind, or a folder in place of its file, are told as what they are."""

from pathlib import Path

import pytest

from stressmap.core import district_settings, settings
from stressmap.core.errors import SettingsError


def test_settings_of_a_district_given_for_those_of_a_ranch_and_the_other_way_are_one_line(
    tmp_path: Path,
) -> None:
    ranch, district = tmp_path / "ranch.toml", tmp_path / "district.toml"
    ranch.write_text('[ranch]\nname = "R"\n[files]\nreadings = "r.csv"\n')
    district.write_text('[district]\nname = "D"\nranches = ["ranch.toml"]\n[workers]\ncount = 1\n')
    with pytest.raises(SettingsError) as told:
        settings.load(district)
    assert [str(one) for one in told.value.problems] == [
        f"{district}: it lists the ranches of a district. "
        "Give the ranch.toml of one of them, or use stressmap district."
    ]
    with pytest.raises(SettingsError) as told:
        district_settings.load(ranch)
    assert [str(one) for one in told.value.problems] == [
        f"{ranch}: it is the settings of one ranch. Use stressmap run, or give a file that lists ranches."
    ]


def test_a_folder_given_for_the_ranch_toml_in_it_names_that(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"Give the path of a ranch\.toml"):
        settings.load(tmp_path)
    (tmp_path / "ranch.toml").touch()
    with pytest.raises(SettingsError) as told:
        settings.load(tmp_path)
    assert str(told.value).endswith(f"Give {tmp_path / 'ranch.toml'}.")
