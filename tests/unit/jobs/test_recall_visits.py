"""Earlier visits take part in the map, or do not: which, what is told, what stays as it was without."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers import small_ranch

from stressmap.geostat.memory_mixture import MemorySurface, Recalled
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed, assess_readings, load_inputs
from stressmap.jobs.map_visit import fit, ranked_valves
from stressmap.jobs.recall_visits import RecalledVisits, recall

EARLIER = ("2026-06-30", "2026-07-07")


def ranch(folder: Path, settings: str = "", *, visits: tuple[str, ...] = EARLIER) -> tuple[Inputs, Assessed]:
    source = small_ranch.write(folder, small_ranch.SETTINGS + settings)
    today = small_ranch.readings()
    rng = np.random.default_rng(5)
    tables = [today]
    for day in visits:
        moved = today["pressure_bar"] + rng.normal(-1.0, 0.5, len(today)).round(1)
        times = today["time"].str.replace("2026-07-14", day)
        tables.insert(-1, today.assign(time=times, pressure_bar=moved.round(1)))
    pd.concat(tables).to_csv(folder / "readings.csv", index=False)
    hours = [small_ranch.weather()]
    for day in visits:
        hours.append(hours[0].assign(time=hours[0]["time"].str.replace("2026-07-14", day)).iloc[:24])
    pd.concat([*hours[1:], hours[0]]).to_csv(folder / "weather.csv", index=False)
    inputs, orchard = load_inputs(source).value
    return inputs, assess_readings(inputs, orchard, None).value


def test_earlier_visits_take_part_and_are_told(tmp_path: Path) -> None:
    inputs, assessed = ranch(tmp_path)
    alone = fit(inputs, assessed, 1).surface
    told = recall(inputs, assessed, alone)
    made = told.value
    assert isinstance(made.surface, MemorySurface)
    assert made.surface.today is alone
    assert made.memory is not None
    assert [str(first) for first, _ in made.memory.visits] == list(EARLIER)
    plain = made.as_plain()
    assert plain is not None
    assert plain["readings"] == 2 * 24
    assert 0 < plain["lasting_share"] < 1
    assert set(plain["share_by_block"]) == {"North Shed", "South Shed"}
    assert plain["log"] is not None
    assert set(plain["log"]) == {"with_bar", "without_bar", "helped"}
    assert told.notes[1].code == ("log_helped" if plain["log"]["helped"] else "log_hardly_helped")
    assert [one["visit"] for one in plain["visits_predicted"]] == [EARLIER[1], None]
    assert made.surface.memory.series.dryness is not None
    assert told.notes[0].code in {"memory_helped", "memory_hardly_helped"}
    assert (told.notes[0].value("count"), str(told.notes[0].value("first"))) == (2, EARLIER[0])
    valves = ranked_valves(inputs, assessed, made, with_change=True)
    assert valves["visits_used"].tolist() == [3] * 4
    before = ranked_valves(inputs, assessed, recall(_off(inputs), assessed, alone).value, with_change=True)
    assert (valves["change_se_bar"] < before["change_se_bar"]).all()
    # the readings of all trees were drawn a bar above those of the visit before; so says the change
    assert valves["gauge_change_bar"].mean() == pytest.approx(1.0, abs=0.4)


def _off(inputs: Inputs) -> Inputs:
    from dataclasses import replace

    off = inputs.settings.memory.model_copy(update={"visits": 0})
    return replace(inputs, settings=inputs.settings.model_copy(update={"memory": off}))


def test_without_a_log_nothing_is_said_of_it(tmp_path: Path) -> None:
    from dataclasses import replace

    inputs, assessed = ranch(tmp_path)
    inputs = replace(inputs, irrigation=None)
    told = recall(inputs, assessed, fit(inputs, assessed, 1).surface)
    plain = told.value.as_plain()
    assert plain is not None
    assert plain["log"] is None
    assert len(told.notes) == 1


def test_no_more_visits_than_asked_for(tmp_path: Path) -> None:
    inputs, assessed = ranch(tmp_path, "\n[memory]\nvisits = 1\n")
    made = recall(inputs, assessed, fit(inputs, assessed, 1).surface).value
    assert made.memory is not None
    assert [str(first) for first, _ in made.memory.visits] == [EARLIER[1]]


@pytest.mark.parametrize("how", ["off", "no earlier visit", "ordinary"])
def test_without_memory_the_surface_is_the_one_of_the_visit(tmp_path: Path, how: str) -> None:
    settings = {"off": "\n[memory]\nvisits = 0\n", "ordinary": 'method = "ordinary"\n'}.get(how, "")
    inputs, assessed = ranch(tmp_path, settings, visits=() if how == "no earlier visit" else EARLIER)
    alone = fit(inputs, assessed, 1).surface
    told = recall(inputs, assessed, alone)
    assert told.value.surface is alone
    assert told.value.memory is None
    assert told.notes == ()


def test_blocks_that_are_not_what_they_were_go_by_their_own_readings() -> None:
    day = pd.Timestamp("2026-07-07").date()
    share = {0: 0.9, 1: 0.1, 2: 0.2}
    recalled = Recalled(1, 40, 0.6, 0.1, 20.0, 1.5, 1.499, -0.01, 0.6, share)
    memory = RecalledVisits(((day, day),), {"A": 1, "B": 1}, recalled, ("A", "B", "C"))
    assert memory.news == ("B",)
    assert memory.visits_used(pd.Series(["A", "B", "C"])) == [2, 1, 1]
    assert [note.code for note in memory.notes()] == ["memory_hardly_helped", "memory_news"]
    assert memory.as_plain()["not_what_they_were"] == ["B"]
