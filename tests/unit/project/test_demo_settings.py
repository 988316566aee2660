"""The settings beside the demo ranches are read, and name files that are there."""

from pathlib import Path

import pytest

from stressmap.agronomy.crops import load_profiles
from stressmap.core.settings import load

CONFIG = Path(__file__).parents[3] / "config"


@pytest.mark.parametrize("name", ["demo_ranch.toml", "south_ranch.toml"])
def test_the_settings_are_read_and_name_files_that_are_there(name: str) -> None:
    settings = load(CONFIG / name)
    assert {"readings", "blocks", "valves", "weather", "irrigation"} <= set(settings.inputs())
    assert all(path.is_file() for path in settings.inputs().values())
    assert settings.visit.start is None


def test_the_ranches_differ_in_what_a_second_ranch_would_differ_in() -> None:
    north, south = load(CONFIG / "demo_ranch.toml"), load(CONFIG / "south_ranch.toml")
    assert (north.ranch.units, south.ranch.units) == ("us", "metric")
    assert (north.reading.unit, south.reading.unit) == ("bar", "MPa")
    assert (north.ranch.languages, south.ranch.languages) == (("en", "es"), ("es",))


def test_the_southern_season_is_the_northern_one_six_months_on() -> None:
    here = load_profiles({}, "ranch.toml")["prune"].season_target or ()
    there = load(CONFIG / "south_ranch.toml").crops["prune"]["season_target"]
    assert [bar for _, bar in here] == [bar for _, bar in there]
    for (day, _), (later, _) in zip(here, there, strict=True):
        assert (int(later[:2]) - int(day[:2])) % 12 == 6
        assert later[2:] == day[2:]
