"""Demands that cannot be met get one clear line; what is wrong in [water] is named."""

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from helpers.water_cases import need

from stressmap.core.errors import SettingsError
from stressmap.core.settings import Water
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.requirement import Requirement


def asked(needs: list[Requirement], **water: Any) -> PlanInputs:
    settings = Water.model_validate(water)
    return formulate(needs, settings, dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles"))


def line(needs: list[Requirement], **water: Any) -> str:
    with pytest.raises(SettingsError) as caught:
        asked(needs, **water)
    assert len(caught.value.problems) == 1
    return str(caught.value)


def test_a_pump_too_small_for_any_valve() -> None:
    assert line([need(0), need(1)], pump="10 m3/h") == (
        "ranch.toml, column water.pump: no pump is strong enough for any valve: the smallest needs 60.0 "
        "m3/h, the strongest pump gives 10.0 m3/h. Correct the flow of the pump or of the valves."
    )


def test_every_valve_out_of_service() -> None:
    assert line([need(0), need(1)], out_of_service=["V1", "V2"]) == (
        "ranch.toml, column water.out_of_service: every valve is out of service. "
        "Take at least one valve off the list."
    )


def test_no_hours_for_a_set() -> None:
    assert line([need(0)], hours=["05:50", "06:00"]) == (
        "ranch.toml, column water.hours: between 05:50 to 06:00 there is no time for a set of 0.5 h. "
        "Give longer hours."
    )


def test_a_crew_that_is_never_there() -> None:
    assert line([need(0)], hours=["20:00", "05:00"], crew_hours=["06:00", "18:00"]) == (
        "ranch.toml, column water.crew_hours: water may run 20:00 to 05:00 and the crew is there 06:00 to "
        "18:00: no set can be both opened and closed. Widen crew_hours or hours so that they meet twice."
    )


def test_the_longest_set_is_told_in_hours_whatever_the_steps_are() -> None:
    """From 6:10 to 9:25 six steps of half an hour fit: three hours."""
    said = line([need(0, min_hours=12.0)], hours=["06:10", "09:25"], step_hours=0.5)
    assert "in which a set lasts 3 h at most" in said


def test_hours_shorter_than_every_least_set() -> None:
    assert line([need(0, min_hours=12.0)], hours=["22:00", "06:00"]) == (
        "ranch.toml, column water.hours: no valve's min_hours and max_hours fit the hours, in which a set "
        "lasts 8 h at most. Give longer hours, or correct min_hours and max_hours in the valves file."
    )


def test_a_valve_out_of_service_that_is_not_there() -> None:
    assert line([need(0), need(1, valve="Elbow 2")], out_of_service=["Elbo 2"]) == (
        "ranch.toml, column water.out_of_service: there is no valve 'Elbo 2'. Did you mean 'Elbow 2'? "
        "Write names as in the valves file."
    )


def test_one_pump_for_valves_of_two() -> None:
    assert line([need(0, pump="North"), need(1, pump="South")], pump="100 m3/h") == (
        "ranch.toml, column water.pump: one pump is given, but the valves name 2: North, South. "
        'Write [water.pumps] "North" = "... m3/h", "South" = "... m3/h" in its place.'
    )


def test_a_pump_that_is_not_listed() -> None:
    assert line([need(0, pump="North")], pumps={"South": "100 m3/h"}) == (
        "ranch.toml, column water.pumps: the valves name a pump that is not there: 'North'. "
        "Add its flow, or correct the valves file."
    )


def test_a_valve_without_a_pump_among_several() -> None:
    pumps = {"North": "100 m3/h", "South": "100 m3/h"}
    assert line([need(0, pump="North"), need(1)], pumps=pumps) == (
        "ranch.toml, column water.pumps: there are several pumps, and valve 'V2' names none. "
        "Fill in the column pump of the valves file."
    )


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("available", "80000", "'80000' is not a number with a unit; write it with m3, ML, acre-ft, acre-in, "
         "as 1200.5 m3"),
        ("available", "80000 m³", "'80000 m³' has no known unit; write it with m3, ML, acre-ft, acre-in"),
        ("available", "80 ml", "'80 ml' has no known unit; write it with ML"),
        ("available", "80.000 m3", "'80.000 m3' could be 80000 or 80; write 80000 m3 or 80 m3"),
        ("available", "80,000 m3", "'80,000 m3' could be 80000 or 80; write 80000 m3 or 80 m3"),
        ("available", "64.857 acre-ft", "'64.857 acre-ft' could be 64857 or 64.857; write 64857 acre-ft or "
         "64.8570 acre-ft"),
        ("available", "1,080,000.5 m3", "'1,080,000.5 m3' has more than one point or comma; write thousands "
         "without a sign, as 80000 m3"),
        ("available", "80 00 m3", "'80 00 m3' is not a number with a unit; write it with m3, ML, acre-ft, "
         "acre-in, as 1200.5 m3"),
        ("pump", "1.100 gpm", "'1.100 gpm' could be 1100 or 1.1; write 1100 gpm or 1.1000 gpm"),
        ("pump", "800 GPM", "'800 GPM' has no known unit; write it with gpm"),
        ("hours", ["06:00", "06:00"], 'no time lies between the two; write ["20:00", "06:00"], or '
         '["00:00", "24:00"] for all day'),
        ("step_hours", 0.3, "0.3 is not a step that hours are cut into; write 0.25, 0.5, 1 or 2"),
        ("sets_a_week", {"flood": 0}, "greater than or equal to 1"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_the_settings(key: str, value: object, message: str) -> None:
    with pytest.raises(ValueError, match=key) as caught:
        Water.model_validate({key: value})
    assert message in str(caught.value)


def test_both_ways_of_stating_pumps() -> None:
    with pytest.raises(
        ValueError, match=r"pump and pumps are both given; keep pump for one pump, \[water.pumps\]"
    ):
        Water.model_validate({"pump": "1 m3/h", "pumps": {"A": "1 m3/h"}})


def test_volumes_in_all_units() -> None:
    volumes = {
        "80000 m3": 80_000.0,
        "80 ML": 80_000.0,
        "80 000 m3": 80_000.0,
        "80_000 m3": 80_000.0,
        "1 080 000 m3": 1_080_000.0,
        "80\N{NO-BREAK SPACE}000 m3": 80_000.0,
        "12,5 ML": 12_500.0,
        "12.5 ML": 12_500.0,
        "0.125 ML": 125.0,
        "1234.567 m3": 1234.567,
        "8e4 m3": 80_000.0,
        "64.8571 acre-ft": 80_000.0,
        "778.29 acre-in": 80_000.0,
    }
    for text, m3 in volumes.items():
        assert Water.model_validate({"available": text}).available == pytest.approx(m3, rel=1e-5)
    flows = {"180 m3/h": 180.0, "50 L/s": 180.0, "792.5160 gpm": 180.0}
    for text, m3_h in flows.items():
        assert Water.model_validate({"pump": text}).pump == pytest.approx(m3_h, rel=1e-5)
    assert Water.model_validate({"eto": "0.25 in"}).eto == pytest.approx(6.35)
