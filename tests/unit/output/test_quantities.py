"""One way to write a quantity: by hand, and the map's scripts beside Python on many values."""

import json
import random

import pytest
from helpers.node_runs import run_node
from helpers.paths import REPOSITORY

from stressmap.output.text.words import Words
from stressmap.output.view.quantities import (
    SCALES,
    area,
    bar,
    depth,
    duration,
    page_rules,
    percent,
    quantity,
    volume,
)
from stressmap.output.view.water_words import WaterWords

US, METRIC, SPANISH = Words("en", "us"), Words("en", "metric"), Words("es", "us")
ACRE_FT_M3 = 43_560 * 0.3048**3
"""An acre is 43,560 square feet, a foot 0.3048 m (NIST Special Publication 811, appendix B; from memory)."""
SCRIPT = """
import { quantityText, hoursAndMinutes } from "./stressmap/output/web/map/quantities.js";
let text = "";
for await (const part of process.stdin) text += part;
const { rules, marks, units, bounds, cases, hours } = JSON.parse(text);
const written = cases.map(([value, kind]) => {
  const { number, unit, bound } = quantityText(value, kind, rules, marks);
  const text = `${number} ${units[unit]}`;
  return bound ? bounds[bound].replace("{value}", text) : text;
});
process.stdout.write(JSON.stringify([written, hours.map(hoursAndMinutes)]));
"""


def test_the_same_volume_reads_alike_on_the_crew_sheet_and_in_the_plan() -> None:
    """12,000 m3 / 1,233.48 m3 = 9.7286 acre-feet."""
    assert volume(12_000, US) == WaterWords("en", "us").quantity(12_000, "volume") == "9.73 acre-ft"
    assert volume(12_000, METRIC) == WaterWords("en", "metric").quantity(12_000, "volume") == "12,000 m³"


def test_a_us_volume_is_in_acre_feet_from_a_tenth_on_and_in_gallons_below() -> None:
    """A US gallon is 231 cubic inches, 3.785411784 L; 0.0999 acre-ft are 32,553 of them, 100 m3 26,417."""
    assert volume(0.1 * ACRE_FT_M3, US) == "0.10 acre-ft"
    assert volume(0.0999 * ACRE_FT_M3, US) == "32,553 gal"
    assert volume(100, US) == "26,417 gal"
    assert volume(99.99 * ACRE_FT_M3, US) == "99.99 acre-ft"
    assert volume(1234.56 * ACRE_FT_M3, US) == "1,234.6 acre-ft"
    assert [volume(0, US), volume(0, METRIC)] == ["0 acre-ft", "0 m³"]


def test_small_metric_figures_keep_a_decimal() -> None:
    assert [volume(v, METRIC) for v in (0.3, 9.94, 9.96, 10.4)] == ["0.3 m³", "9.9 m³", "10 m³", "10 m³"]
    assert [depth(v, METRIC) for v in (6.3, 41.0, 0.0)] == ["6.3 mm", "41 mm", "0 mm"]


def test_other_quantities_in_both_languages_and_units() -> None:
    """1.61 in x 25.4 mm = 41 mm; 4.0468564224 ha are ten acres; 180 m3/h are 792.5 gallons a minute."""
    assert [depth(41, words) for words in (US, SPANISH)] == ["1.61 in", "1.61 pulg"]
    assert [area(4.0468564224, words) for words in (US, SPANISH, METRIC)] == [
        "10.0 acres", "10.0 acres", "4.05 ha",
    ]  # fmt: skip
    assert [quantity(180, "flow", words) for words in (US, METRIC)] == ["793 gpm", "180.0 m³/h"]
    assert [quantity(30.48, "length", words) for words in (US, SPANISH, METRIC)] == [
        "100 ft",
        "100 pies",
        "30 m",
    ]
    assert [volume(12_000, SPANISH), bar(-14.25, SPANISH)] == ["9.73 acres-pie", "\N{MINUS SIGN}14.3 bar"]
    assert duration(8.9999, US) == "9 h 00 min"


def test_nothing_uncertain_is_called_certain() -> None:
    chances = (0, 0.001, 0.5, 0.994, 0.999, 0.99999, 1)
    assert [percent(p, US) for p in chances] == [
        "0 %", "under 1 %", "50 %", "99 %", "over 99 %", "over 99 %", "100 %",
    ]  # fmt: skip
    assert [percent(p, SPANISH) for p in (7e-32, 0.9999)] == ["menos de 1 %", "más de 99 %"]
    assert percent(0.575, US) == "58 %"
    shares = (0, 0.0004, 0.004, 0.0312, 0.0996, 0.5, 0.999, 1)
    assert [quantity(p, "share", US) for p in shares] == [
        "0 %", "0.1 %", "0.4 %", "3.1 %", "10 %", "50 %", "99 %", "100 %",
    ]  # fmt: skip
    assert WaterWords("en").chance(0.999) == percent(0.999, US)


def test_what_is_not_known_is_said_so() -> None:
    assert percent(float("nan"), SPANISH) == volume(None, SPANISH) == "sin dato"


def test_every_size_has_a_scale_and_every_unit_a_name() -> None:
    for systems in SCALES.values():
        for scales in systems.values():
            assert scales[-1].least == 0
            assert [scale.least for scale in scales] == sorted((s.least for s in scales), reverse=True)
            assert all(words(f"unit.{scale.unit}") for scale in scales for words in (US, SPANISH))


def drawn_cases(seed: int) -> list[tuple[float, str]]:
    """Draw values of every size, halves that round either way, and both sides of every step of the table."""
    chance = random.Random(seed)
    values = [0.0, 0.5, 1.0, 1.5, 2.5, 0.999, 0.9999, 0.0001, 1e-9, 12_000.0, 100.0]
    values += [10 ** chance.uniform(-8, 7) for _ in range(300)]
    values += [round(chance.uniform(0, 200), digits) for digits in (0, 1, 2, 3) for _ in range(100)]
    values += [k / 20 for k in range(100)] + [k / 8 for k in range(100)] + [k / 200 for k in range(200)]
    cases = [(sign * value, kind) for kind in SCALES for value in values for sign in (1, -1)]
    for kind, systems in SCALES.items():
        for scale in (scale for scales in systems.values() for scale in scales):
            cases += [(scale.least * near, kind) for near in (1 - 1e-12, 1.0, 1 + 1e-12)]
    return cases


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_map_writes_what_every_other_paper_writes(language, units) -> None:
    words = Words(language, units)
    cases = drawn_cases(len(language + units))
    hours = [value for value, kind in cases if kind == "depth" and value >= 0]
    given = {
        "rules": page_rules(units),
        "marks": {"decimal": words("locale.decimal"), "thousands": words("locale.thousands")},
        "units": words.table()["unit"],
        "bounds": words.table()["measure"],
        "cases": cases,
        "hours": hours,
    }
    done = run_node("--input-type=module", "-e", SCRIPT, folder=REPOSITORY, given=json.dumps(given))
    assert (done.returncode, done.stderr) == (0, "")
    written, times = json.loads(done.stdout)
    ours = [quantity(value, kind, words) for value, kind in cases]
    differ = [(case, a, b) for case, a, b in zip(cases, ours, written, strict=True) if a != b]
    assert differ == []
    assert [words("unit.hours", **time) for time in times] == [duration(value, words) for value in hours]
