"""``DISTRICT.toml``: where its paths lead, what it may share, what it refuses."""

from __future__ import annotations

from pathlib import Path

import pytest

from stressmap.core import settings
from stressmap.core.district_settings import District, load
from stressmap.core.errors import SettingsError

RANCHES = '[district]\nname = "Two Creeks"\nranches = ["north", "far/south.toml"]\n'


def written(folder: Path, text: str) -> District:
    (folder / "district.toml").write_text(text, encoding="utf-8")
    return load(folder / "district.toml")


def test_files_and_folders_are_found_from_the_file(tmp_path: Path) -> None:
    district = written(tmp_path, RANCHES)
    assert district.ranches == (tmp_path / "north" / "ranch.toml", tmp_path / "far" / "south.toml")
    assert (district.name, district.languages, district.borrow) == ("Two Creeks", ("en", "es"), False)
    assert (district.workers.count, district.workers.failures, district.water) == (None, 3, None)


def test_a_folder_may_be_called_as_a_file(tmp_path: Path) -> None:
    (tmp_path / "far" / "south.toml").mkdir(parents=True)
    assert written(tmp_path, RANCHES).ranches[1] == tmp_path / "far" / "south.toml" / "ranch.toml"


def test_what_is_shared_is_handed_down_with_its_files_found(tmp_path: Path) -> None:
    text = RANCHES + '[shared.files]\nweather = "w.csv"\n[shared.map]\ncovariate = "soil.tif"\ncell_m = 10\n'
    text += '[shared.season]\nallowed_bar = 5\n[shared.crops.prune]\nseason_target = [["05-01", -6]]\n'
    text += '[shared.water]\npump = "180 m3/h"\ndays = 14\n'
    handed = written(tmp_path, text).handed_down()
    assert handed == {
        "files": {"weather": str(tmp_path / "w.csv")},
        "map": {"covariate": str(tmp_path / "soil.tif"), "cell_m": 10},
        "season": {"allowed_bar": 5},
        "crops": {"prune": {"season_target": [["05-01", -6]]}},
        "water": {"pump": "180 m3/h", "days": 14},
    }


def test_languages_are_handed_down_only_where_they_are_given(tmp_path: Path) -> None:
    assert written(tmp_path, RANCHES).handed_down() == {}
    named = RANCHES + 'languages = ["es"]\n'
    assert written(tmp_path, named).handed_down() == {"ranch": {"languages": ["es"]}}
    own = named + '[shared.ranch]\nlanguages = ["en"]\nunits = "metric"\n'
    assert written(tmp_path, own).handed_down() == {"ranch": {"languages": ["en"], "units": "metric"}}


def test_a_ranch_keeps_what_it_says_itself_and_its_water_whole(tmp_path: Path) -> None:
    (tmp_path / "ranch.toml").write_text(
        '[ranch]\nname = "A"\ntimezone = "UTC"\n[files]\nreadings = "r.csv"\nblocks = "b.geojson"\n'
        '[map]\ncell_m = 4\n[water]\npump = "100 m3/h"\n',
        encoding="utf-8",
    )
    shared = {"map": {"cell_m": 9, "look_again": 3}, "water": {"days": 14}, "ranch": {"units": "metric"}}
    chosen = settings.load(tmp_path / "ranch.toml", shared)
    assert (chosen.map.cell_m, chosen.map.look_again, chosen.ranch.units) == (4, 3, "metric")
    assert chosen.water is not None
    assert chosen.water.days == 7
    assert settings.load(tmp_path / "ranch.toml").map.look_again == 10


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("[shared.files]\nreadings = 'r.csv'\n", "column shared: files.readings is each ranch's own"),
        ("[shared.ranch]\nname = 'X'\n", "column shared: ranch.name is each ranch's own"),
        (
            '[shared.files]\nweather = "w\\u0000.csv"\n',
            "column shared.files.weather: no file has such a name",
        ),
        ("[shared.map]\ncel_m = 5\n", "unknown key 'shared.map.cel_m'. Did you mean 'cell_m'?"),
        ("[shared.map]\ncell_m = -1\n", "column shared.map.cell_m: input should be greater"),
        ("[shared.maps]\ncell_m = 5\n", "unknown key 'shared.maps'. Did you mean 'map'?"),
        ("[workers]\nfailures = 0\n", "column workers.failures: input should be greater"),
        ("[water]\navailable = '5'\n", "column water.available: '5' is not a number with a unit"),
        ("[water]\navailable = '5 m3'\nfloor = 2\n", "column water.floor: input should be less"),
        ("[watr]\n", "unknown key 'watr'. Did you mean 'water'?"),
    ],
)
def test_what_is_wrong_is_told_with_its_key(tmp_path: Path, more: str, told: str) -> None:
    with pytest.raises(SettingsError) as caught:
        written(tmp_path, RANCHES + more)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("ranches", "told"),
    [
        ("[]", "column district.ranches: the list is empty"),
        ("[3]", "column district.ranches: [3] is no path"),
        ('["a", "b/../a/ranch.toml"]', "is listed twice. Keep one of them"),
    ],
)
def test_a_list_of_ranches_that_cannot_be_is_refused(tmp_path: Path, ranches: str, told: str) -> None:
    with pytest.raises(SettingsError, match="column district") as caught:
        written(tmp_path, f'[district]\nname = "X"\nranches = {ranches}\n')
    assert told in str(caught.value)
