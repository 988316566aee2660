"""What ranches of a district lend each other, from their records; what a run of one of them says."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from helpers import small_ranch

from stressmap.core.ranch_result import RanchResult
from stressmap.geostat.borrowed_priors import BorrowedPriors, LogNormal, OwnEvidence
from stressmap.geostat.drying_by_soil import LentOfSoil
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.space_time_surface import SpaceTimeSurface
from stressmap.jobs.assess_visit import assess_readings, load_inputs
from stressmap.jobs.borrowed_soils import with_soils
from stressmap.jobs.borrowed_strength import what_was_borrowed
from stressmap.jobs.district_borrowing import loans
from stressmap.jobs.handed_down import HandedDown
from stressmap.jobs.map_visit import fit
from stressmap.jobs.recall_visits import Remembered, recall
from stressmap.jobs.run import run
from stressmap.jobs.season_so_far import season_of
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.water.measured_water_per_bar import WaterPerBar

LENT = BorrowedPriors(
    7,
    560,
    {"noise": LogNormal(0.7, 0.3), "drying": LogNormal(0.04, 0.25)},
    alike=0.8,
    without_units=0.1,
    soils={"loam": LentOfSoil(0.06, 0.25, 15.0, 0.25, 5, 40)},
)


def evidence(range_m: float, se: float, readings: int) -> OwnEvidence:
    z = np.linspace(-3, 3, 40)
    weight = np.exp(-0.5 * z**2)
    points = (np.log(range_m) + se * z)[:, None]
    return OwnEvidence(readings, ("range",), points, weight / weight.sum(), np.full((40, 1), -1.0), None)


def result(folder: Path, slug: str, crop: str | None, told: OwnEvidence | None) -> RanchResult:
    """Write the record of a ranch that was asked what it tells."""
    place = folder / slug
    place.mkdir(parents=True)
    page = {"crop": crop, "lent": None, "told": None if told is None else told.as_plain()}
    write(place, page)
    return RanchResult(slug, place / "ranch.toml", slug, place, "mapped", None)


def write(place: Path, borrowed: dict[str, object]) -> None:
    page = {"job": "run", "versions": {"stressmap": "1"}, "files": ["run.json"], "borrowed": borrowed}
    (place / "run.json").write_text(json.dumps(page), encoding="utf-8")


def test_a_small_ranch_borrows_from_the_others_of_its_crop_alone(tmp_path: Path) -> None:
    large = [result(tmp_path, f"large-{k}", "prune", evidence(80.0 + k, 0.05, 90)) for k in range(4)]
    other = result(tmp_path, "other", "almond", evidence(300.0, 0.05, 90))
    small = result(tmp_path, "small", "prune", evidence(60.0, 0.9, 12))
    lent = loans([*large, other, small])
    assert set(lent) == {"small"}
    assert lent["small"].ranches == 4
    assert lent["small"].readings == 360
    assert (lent["small"].parameters or {})["range"].median == pytest.approx(81.5, rel=0.05)


def test_what_was_lent_already_is_not_lent_again_and_told_stays_as_it_was(tmp_path: Path) -> None:
    large = [result(tmp_path, f"large-{k}", "prune", evidence(80.0 + k, 0.05, 90)) for k in range(4)]
    small = result(tmp_path, "small", "prune", evidence(60.0, 0.9, 12))
    lent = loans([*large, small])["small"]
    told = json.loads((tmp_path / "small" / "run.json").read_text())["borrowed"]["told"]
    assert lent.own == told
    write(tmp_path / "small", {"crop": "prune", "lent": lent.as_plain() | {"own": None}, "told": told})
    assert loans([*large, small]) == {}
    # alone again, it is to be mapped again with nothing lent
    assert loans([small]) == {"small": BorrowedPriors(own=told)}


def test_ranches_that_tell_nothing_are_passed_over(tmp_path: Path) -> None:
    bare = result(tmp_path, "bare", "prune", None)
    mixed = result(tmp_path, "mixed", None, evidence(80.0, 0.5, 20))
    spoiled = result(tmp_path, "spoiled", "prune", evidence(80.0, 0.5, 20))
    write(tmp_path / "spoiled", {"crop": "prune", "lent": None, "told": {"names": 3}})
    failed = RanchResult("lost", tmp_path / "lost.toml", "Lost", None, "failed", None)
    assert loans([bare, mixed, spoiled, failed]) == {}


def test_a_ranch_by_itself_has_the_same_bytes_and_says_nothing_of_borrowing(tmp_path: Path) -> None:
    source = small_ranch.write(tmp_path, small_ranch.SETTINGS.replace("cell_m = 10", "cell_m = 40"))
    run(source, out=tmp_path / "alone")
    run(source, out=tmp_path / "asked", handed=HandedDown(borrowed=BorrowedPriors()))
    alone, asked = (
        {p.name: p.read_bytes() for p in (tmp_path / name).iterdir()} for name in ("alone", "asked")
    )
    pages = [json.loads(one.pop("run.json")) for one in (alone, asked)]
    assert "borrowed" not in pages[0]
    told = pages[1].pop("borrowed")
    assert (told["crop"], told["weight"], told["lent"]) == ("prune", 0.0, None)
    assert OwnEvidence.from_plain(told["told"]).readings == pages[0]["counts"]["used"]
    for page in pages:
        del page["timings"]
    assert pages[0] == pages[1]
    assert {name for name in alone if alone[name] != asked[name]} <= {"report.html"}


def test_a_first_visit_takes_the_log_in_by_lent_drying_and_says_so(tmp_path: Path) -> None:
    source = small_ranch.write(tmp_path)
    inputs, orchard = load_inputs(source).value
    assessed = assess_readings(inputs, orchard, None).value
    found = fit(inputs, assessed, 1, lent=LENT)
    recalled = recall(inputs, found.assessed, found.surface)
    assert isinstance(found.surface, StructuredSurface)
    assert [note.code for note in recalled.notes] == ["drying_borrowed"]
    surface = recalled.value.surface
    assert isinstance(surface, SpaceTimeSurface)
    assert "lasting_share" not in surface.summary()
    # soils are not known: all are taken for loams, lent as drying 1.5 times as fast as all soils together
    assert surface.series.dryness is not None
    assert surface.series.dryness.slopes.bar_mm == 0.04
    assert surface.series.dryness.soils is not None
    assert surface.series.dryness.soils.measure == pytest.approx(1.5)
    page = what_was_borrowed(found.surface, Remembered(found.surface), assessed, LENT)
    assert page.value is not None
    assert page.notes[0].code == "borrowed"
    assert page.notes[0].value("ranches") == 7
    assert page.value["parameters"]["noise"]["lent"] == 0.7
    season = season_of(inputs, found.assessed, shared=recalled.value)
    told = with_soils(page.value, recalled.value.drying, season)
    assert told.value is not None
    assert told.value["soils"] == {
        "loam": {
            "alone_bar_per_mm": None,
            "lent_bar_per_mm": 0.06,
            "lent_mm_per_bar": 15.0,
            "ranches": 5,
            "cycles": 40,
            "weight": 1.0,
        }
    }
    (note,) = told.notes
    assert sentence(note, Words("en")) == (
        "How fast trees dry on these soils, and how much water brings them back by one bar, is borrowed from "
        "5 other ranches of the district, where 40 irrigations have readings on both sides, with a weight of "
        "100 %: this ranch's own visits tell too little of it."
    )
    assert set(season.lent) == {"N1", "N2", "S1", "S2"}
    # 0.25 among ranches, with 0.25 among blocks and 0.12 among valve zones
    assert season.lent["N1"] == WaterPerBar(15.0, pytest.approx(np.hypot(0.25, np.hypot(0.25, 0.12))))
    assert recall(inputs, assessed, fit(inputs, assessed, 1).surface).notes == ()
