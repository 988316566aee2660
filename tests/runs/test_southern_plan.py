"""A water plan of the southern demo, whose seasons are half a year on, before the independent checkers."""

from helpers.demo_facts import limits_of, ranch_of, tables_of
from helpers.manners_checker import bad_manners
from helpers.paths import REPOSITORY
from helpers.water_checker import violations

WATER = """
[water]
available = "9000 m3"
reserve = "500 m3"
from = 2026-01-22
days = 7
crew_hours = ["06:00", "20:00"]
[water.pumps]
"Bomba 1" = "120 m3/h"
"Bomba 2" = "90 m3/h"
"""


def test_the_southern_plan_keeps_hours_pumps_and_manners(stressmap, tmp_path):
    text = (REPOSITORY / "config" / "south_ranch.toml").read_text(encoding="utf-8")
    source = tmp_path / "ranch.toml"
    source.write_text(text.replace("../demo_gis", (REPOSITORY / "demo_gis").as_posix()) + WATER, "utf-8")
    answer = stressmap("run", source, "--out", tmp_path / "out", "--quiet")
    assert (answer.code, answer.err) == (0, "")
    ranch, (plan, sets) = ranch_of(source, tmp_path / "out", south=True), tables_of(tmp_path / "out")
    assert sets
    assert bad_manners(ranch, plan, sets) == []
    assert violations(limits_of(ranch), plan, sets) == []
