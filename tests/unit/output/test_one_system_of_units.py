"""A ranch reads its own units: no metre in a report in feet, no inch in one in millimetres.

Pressures are in bar and dryness of the air in kPa for everyone (docs/contract.md); the settings stand in the
report under the names that the settings file gives them, with their units.
"""

import dataclasses
import re
import tomllib
from html import unescape
from pathlib import Path

import pytest
from helpers.drawn_drought import drought
from helpers.moved_ranch import moved
from helpers.paths import REPOSITORY
from helpers.water_cases import random_ranch, terms

from stressmap.core.notes import Note
from stressmap.output.report.page import Background, write_report
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.output.view.plan_digest import digest
from stressmap.output.view.plan_proof import proof
from stressmap.output.view.plan_words import tell
from stressmap.output.view.quantities import quantity
from stressmap.output.view.water_words import first_words
from stressmap.water.water_plan import Advice, advise

TEXTS = REPOSITORY / "stressmap" / "output" / "text"
METRIC = (
    r"(?<![\w.])\d[\d.,]*\s?(?:mm|m|ha|m²|m³|m³/h|mm/h|m/s|km|ML|°C)(?![\w²³/])|\bhectares?\b|\bhect[áa]reas?\b"
    r"|\bmetres?\b|\bmetros?\b|, m\b(?!³)"
)
"""A figure in a metric unit, or such a unit in words or at an axis."""
US = (
    r"(?<![\w.])\d[\d.,]*\s?(?:in|pulg|ft|pies|acre-ft|acres-pie|gal|gpm|in/h|pulg/h|mph|mi/h|°F)(?![\w/])"
    r"(?! \d)|\bacres?\b|\bacres-pie\b|\bfeet\b|\binches\b|\bgallons?\b"
)
FIT = {"method": "structured", "correlation": "matern 3/2", "block_sd_bar": 0.8, "valve_sd_bar": 1.2,
       "pattern_sd_bar": 0.7, "tree_sd_bar": 0.7, "error_sd_bar": 0.6, "range_m": 100.0}  # fmt: skip
MEASURED = (
    Note.of("far_from_written_block", "warning", metres=200.0, count=1, rows=(3,)),
    Note.of("places_coarse", "warning", decimals=3, metres=111.0),
    Note.of("usual_wind", "caution", wind_m_s=2.0),
    Note.of("book_asks_more", "caution", crop="prune", depth_mm=40.0),
    Note.of("rain_counted_on", "caution", file="weather.csv", column="rain", most=12.5),
)
FILES_OWN = {
    "notes_en.toml: note.spacing_without_unit", "notes_es.toml: note.spacing_without_unit",
    "notes_en.toml: note.salty_water", "notes_es.toml: note.salty_water",
    "notes_en.toml: row.log_depth_and_hours", "notes_es.toml: row.log_depth_and_hours",
}  # fmt: skip
"""What a file itself says in its own units, and the conductivity of water, which is in dS/m everywhere."""
BY_SYSTEM = re.compile(r"^(notes_)?e[ns]\.toml: (unit\.|word\.|report\.area_axis_)")
"""Names of units themselves."""


@pytest.fixture(scope="module")
def advice() -> Advice:
    drawn = random_ranch(3)
    return advise(drawn.case(), terms(drawn.water, drawn.limits.first, draws=20))


def shown(page: str) -> str:
    """What a report shows, without settings, styles and how pictures are drawn."""
    bare = re.sub(
        r'(?s)<section id="settings">.*?</section>|<style>.*?</style>|<(?:path|use|g|rect)\b[^>]*>', " ", page
    )
    return unescape(re.sub(r"<[^>]+>", " ", bare))


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(("units", "others"), [("us", METRIC), ("metric", US)])
def test_a_report_has_no_figure_in_the_other_system(advice, units, others, language, tmp_path: Path) -> None:
    content = moved(drought(), 3.0, weather_bar=1.0)
    told = content.ranch.model_copy(update={"languages": (language,), "units": units})
    content = dataclasses.replace(content, ranch=told, notes=(*content.notes, *MEASURED))
    words = first_words(told)
    water = (*tell(advice, words, remembered=True), proof(advice, words))
    background = Background({"fit": FIT}, water=water, brief=digest(advice, words))
    write_report(content, background, tmp_path / "report.html")
    text = shown((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert re.findall(others, text) == []
    own = US if units == "us" else METRIC
    assert len(re.findall(own, text)) > 20, "the pattern finds what there is"


@pytest.mark.parametrize("name", ["", "water_", "notes_"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_no_text_has_a_figure_with_its_unit_written_out(name: str, language: str) -> None:
    """Units come with the figure; a blank or a figure with a unit behind it is of one system only."""
    name = f"{name}{language}.toml"
    table = tomllib.loads((TEXTS / name).read_text(encoding="utf-8"))
    units = r"mm|m|ha|m²|m³|m³/h|m/s|km|°C|pulg|ft|pies|acres?|gal|gpm|mph|°F"
    found = [
        f"{name}: {section}.{key}"
        for section, texts in table.items()
        for key, text in texts.items()
        if re.search(rf"[}}\d]\s?(?:{units})(?![\w²³/])|\bmet(?:re|ro)s?\b", re.sub(r"{\w+", "{", text))
    ]
    assert [key for key in found if not BY_SYSTEM.match(key) and key not in FILES_OWN] == []


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize(
    ("kind", "code", "name", "value"),
    [("length", "places_coarse", "metres", 111.0), ("speed", "usual_wind", "wind_m_s", 2.0),
     ("depth", "book_asks_more", "depth_mm", 40.0)],
)  # fmt: skip
def test_notes_write_a_figure_as_all_else_does(units, kind, code, name, value) -> None:
    words = Words("en", units)
    note = Note.of(code, **{name: value, "decimals": 3, "crop": "prune"})
    assert quantity(value, kind, words) in sentence(note, words)


def test_figures_by_hand() -> None:
    """A mile is 5,280 feet of 0.3048 m (NIST Special Publication 811, appendix B): 2 m/s are 4.47 mph."""
    us = Words("en", "us")
    assert quantity(2.0, "speed", us) == "4.5 mph"
    assert quantity(100.0, "length", us) == "328 ft"
