"""A ranch's own title of a crop and the crops' cautions reach the papers and the map."""

import dataclasses
import json
import re

import pytest
from helpers import drawn_content
from markupsafe import escape

from stressmap.agronomy.crops import load_profiles
from stressmap.output.report.page import Background, write_report
from stressmap.output.text.words import Words
from stressmap.output.view.crop_words import crop_cautions, crop_title
from stressmap.output.web.map_page import render

OWN = {
    "prune": {
        "title": {"en": "Long <b>prune</b>", "es": "Ciruela larga"},
        "cautions": [{"en": "Mind <i>it</i>.", "es": "Cuidado."}],
    },
    "fig": {},
}
PROFILES = load_profiles(OWN, "ranch.toml")


@pytest.fixture(scope="module")
def content():
    grown = {crop: PROFILES[crop] for crop in ("prune", "almond")}
    return dataclasses.replace(drawn_content.small(), profiles=grown)


def test_the_ranchs_own_title_goes_first_then_the_common_word_then_the_profiles() -> None:
    assert crop_title("prune", PROFILES, Words("es")) == "Ciruela larga"
    assert crop_title("almond", PROFILES, Words("es")) == Words("es")("crop.almond")
    assert crop_title("fig", PROFILES, Words("en")) == "Fig"
    assert crop_title("walnut", {}, Words("en")) == Words("en")("crop.walnut")


def test_cautions_begin_with_their_crop() -> None:
    said = crop_cautions({"prune": PROFILES["prune"]}, Words("es"))
    assert said == ["Ciruela larga: Cuidado."]


def test_the_map_carries_titles_and_cautions_as_text(content) -> None:
    page = render(content)
    assert "<i>it</i>" not in page
    found = re.search(r'"crops": ?("Long[^"]*(?:\\.[^"]*)*")', page)
    assert found is not None
    said = json.loads(found[1])
    assert said.startswith("Long <b>prune</b>: Mind <i>it</i>. Almond: ")


def test_the_report_lists_the_cautions_escaped(content, tmp_path) -> None:
    write_report(content, Background({}), tmp_path / "report.html")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "<li>Long &lt;b&gt;prune&lt;/b&gt;: Mind &lt;i&gt;it&lt;/i&gt;.</li>" in page
    for caution in PROFILES["almond"].cautions:
        assert str(escape(caution.en)) in page
