"""Weather and sets of a ranch as what dryness is worked out from; None where they do not tell it."""

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers import small_ranch

from stressmap.geostat.drying_by_soil import SANDY
from stressmap.jobs.assess_visit import load_inputs
from stressmap.season.ranch_dryness import LEAD_DAYS, RanchWater, ranch_water

SINCE, UNTIL = dt.date(2026, 7, 7), dt.date(2026, 7, 14)


def water(folder: Path, soil: str = "") -> RanchWater:
    inputs, orchard = load_inputs(small_ranch.write(folder)).value
    if soil:
        orchard = replace(orchard, blocks=orchard.blocks.assign(soil=soil))
    found = ranch_water(inputs, orchard, SINCE, UNTIL)
    assert found is not None
    return found


def test_sets_of_the_log_are_added_up_by_day_and_valve(tmp_path: Path) -> None:
    found = water(tmp_path)
    # the log begins with the set of S2 on 20 June, within so many days before the first visit
    assert (SINCE - found.first).days < LEAD_DAYS
    assert found.first == dt.date(2026, 6, 20)
    n1, _, _, s2 = found.days.set_mm.T
    # N1 for 10 hours until the morning of 11 July, S2 for 8 until that of 21 June
    assert np.flatnonzero(n1).tolist() == [21]
    assert np.flatnonzero(s2).tolist() == [1]
    assert n1[21] / s2[1] == pytest.approx(10 / 8)
    assert np.count_nonzero(found.days.set_mm) == 2


def test_dryness_is_that_of_the_morning_and_of_the_soil(tmp_path: Path) -> None:
    found = water(tmp_path)
    evening = found.dryness()
    assert evening.shape == (25, 4)
    assert found.dryness_on(np.array([UNTIL.toordinal()]))[0] == pytest.approx(evening[-2])
    n1, n2, s1, s2 = evening[-2]
    assert n1 < s2
    assert n2 == s1 == pytest.approx((n1 + s2) / 2)
    sandy = water(tmp_path / "sandy", "sandy loam")
    assert sandy.dryness() == pytest.approx(SANDY * replace(sandy, soil=np.ones(4)).dryness())


def test_days_to_come_follow_with_their_sets(tmp_path: Path) -> None:
    found = water(tmp_path)
    sets = np.zeros((5, 4))
    sets[2, 3] = 80.0
    later = found.followed_by(np.full(5, 6.0), sets).dryness()
    assert later[:25] == pytest.approx(found.dryness())
    assert later[-1, 0] > later[24, 0]
    assert later[27, 3] < later[26, 3]


def test_without_a_log_that_was_still_kept_nothing_is_told(tmp_path: Path) -> None:
    inputs, orchard = load_inputs(small_ranch.write(tmp_path)).value
    assert ranch_water(replace(inputs, irrigation=None), orchard, SINCE, UNTIL) is None
    assert ranch_water(replace(inputs, weather=None), orchard, SINCE, UNTIL) is None
    assert ranch_water(inputs, orchard, SINCE, dt.date(2026, 8, 30)) is None
    assert inputs.irrigation is not None
    others = inputs.irrigation.assign(valve="a neighbour's")
    assert ranch_water(replace(inputs, irrigation=others), orchard, SINCE, UNTIL) is None


def test_a_block_that_dried_twice_as_fast_last_season_is_felt_to_dry_faster_from_the_start(
    tmp_path: Path,
) -> None:
    plain = water(tmp_path / "plain")
    # what is believed of a loam is 0.05 bar a mm of reference evapotranspiration: here twice that
    share = float(plain.use_share()[0])
    path = tmp_path / "season_blocks.csv"
    path.write_text(
        "block,mm_per_bar,mm_per_bar_low,mm_per_bar_high\n"
        f"North Shed,{share * 10:.3f},{share * 9.0:.3f},{share * 11.1:.3f}\n",
        encoding="utf-8",
    )
    source = small_ranch.write(tmp_path / "taught")
    text = source.read_text(encoding="utf-8")
    source.write_text(
        text.replace("[files]", '[files]\nlast_season = "../season_blocks.csv"'), encoding="utf-8"
    )
    inputs, orchard = load_inputs(source).value
    found = ranch_water(inputs, orchard, SINCE, UNTIL)
    assert found is not None
    times = found.dryness() / plain.dryness()
    assert (times[:, :2] > 1.7).all()
    assert (times[:, :2] < 2.0).all()
    assert times[:, 2:] == pytest.approx(1.0)
