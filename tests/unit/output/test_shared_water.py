"""Water that ranches share, as page, table and terminal tell of it, in both languages."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rich.console import Console

from stressmap.core.errors import Problem
from stressmap.core.ranch_result import RanchResult
from stressmap.output.terminal.district_summary import print_district
from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.words import Language, Words
from stressmap.output.view.district_content import DistrictContent, district_content
from stressmap.output.view.shared_water import district_water_table, shared_water_text
from stressmap.output.web.overview_page import render_overview
from stressmap.water.shared_volume import PlannedShare, RanchCurve, SharedVolume, share_volume

HOSTILE = "<b>Hill</b>"


def curve(slug: str, per_m3: float) -> RanchCurve:
    amounts = np.linspace(0.0, 8000.0, 21)
    relieved = per_m3 * amounts * (1.0 - amounts / 16_000.0)
    return RanchCurve(slug, slug, 20.0, 8000.0, amounts, relieved, 0.1 * relieved)


@pytest.fixture
def shared() -> SharedVolume:
    curves = [
        curve("dry", 3.0),
        curve("wet", 1.0),
        RanchCurve("new", "new", 10.0, float("nan"), why="few_trees"),
    ]
    made = share_volume(curves, 10_000.0, 0.1)
    made = replace(made, start=dt.date(2026, 7, 16), days=7)
    return made.with_plans(
        [PlannedShare("dry", 5000.0), PlannedShare("wet", problems=(Problem("w.toml", "no", "go"),))]
    )


@pytest.fixture
def content(shared: SharedVolume) -> DistrictContent:
    results = [
        RanchResult(slug, Path("x"), HOSTILE if slug == "dry" else slug, None, "failed", None)
        for slug in ("dry", "wet", "new")
    ]
    return district_content("Valley", ("en", "es"), results, shared)


@pytest.mark.parametrize(
    ("language", "rights", "few"),
    [("en", "water orders", "too few trees"), ("es", "la autoridad del agua", "muy pocos árboles")],
)
def test_both_languages_tell_shares_reasons_and_whose_word_counts(
    shared: SharedVolume, language: Language, rights: str, few: str
) -> None:
    told = shared_water_text(shared, {"dry": "Dry"}, DistrictWords(Words(language, "metric")))
    assert [row[0] for row in told.rows] == ["Dry", "wet", "new"]
    assert few in told.rows[2][4]
    assert rights in told.lines[-1]
    assert any("w.toml" in line for line in told.lines)
    assert "7" in told.lines[0]


def test_the_terms_name_the_volume_the_floor_and_the_days(shared: SharedVolume) -> None:
    told = shared_water_text(shared, {}, DistrictWords(Words("en", "metric")))
    assert told.lines[0].startswith("10,000 m³ for plans from 16 Jul 2026 on, 7 days.")
    assert "at least 10 %" in told.lines[0]
    own = shared_water_text(replace(shared, days=None), {}, DistrictWords(Words("en", "metric")))
    assert "each ranch for days of its own" in own.lines[0]


def test_what_is_relieved_is_told_against_both_equal_shares(shared: SharedVolume) -> None:
    lines = shared_water_text(shared, {}, DistrictWords(Words("en", "metric"))).lines
    table = shared.table
    for line, column in ((lines[1], "past_limit"), (lines[2], "benefit")):
        possible = table[f"possible{'_past_limit' if column == 'past_limit' else ''}"].sum()
        for way in ("", "equal_", "need_"):
            assert f"{round(100 * table[way + column].sum() / possible)} %" in line


def test_the_table_that_leaves_holds_a_row_a_ranch(shared: SharedVolume) -> None:
    table = district_water_table(shared, {"dry": "Dry", "wet": "Wet", "new": "New"})
    assert table["ranch"].tolist() == ["Dry", "Wet", "New"]
    assert table["why"].tolist() == ["even", "even", "few_trees"]
    assert pd.isna(table["need_m3"].iloc[2])
    assert table["share_m3"].sum() == pytest.approx(10_000.0)


def test_page_and_terminal_tell_of_it_and_of_none_where_there_is_none(content: DistrictContent) -> None:
    page = render_overview(content)
    assert page.count("Water shared by the ranches") == 2
    assert "El agua que comparten los ranchos" in page
    assert HOSTILE not in page
    out = io.StringIO()
    print_district(content, Path("nowhere"), Console(file=out, width=200))
    assert "Water shared by the ranches: " in out.getvalue()
    assert "too few trees read" in out.getvalue()
    without = replace(content, shared=None)
    assert "Water shared by the ranches" not in render_overview(without)


@pytest.mark.parametrize("language", ["en", "es"])
def test_water_of_a_ranch_that_failed_is_kept_back_and_figures_are_of_the_mapped(language: Language) -> None:
    """Two ranches use 8,000 m3 each; what is over is not spare while a third is not mapped."""
    curves = [
        curve("dry", 3.0),
        curve("wet", 1.0),
        RanchCurve("lost", "lost", 0.0, float("nan"), why="failed"),
    ]
    words = DistrictWords(Words(language, "metric"))
    there = shared_water_text(share_volume(curves[:2], 20_000.0), {}, words).lines
    some = shared_water_text(share_volume(curves, 20_000.0), {}, words).lines
    kept = {"en": "Kept back: 4,000 m³, because 1 ranch could", "es": "Se guardan 4,000 m³"}[language]
    only = {"en": "Of the 2 ranches mapped only: ", "es": "Solo de 2 ranchos con mapa: "}[language]
    spare = words("water.left", volume="4,000 m³")
    assert spare in there
    assert spare not in some
    assert [line for line in some if line.startswith(kept)]
    assert [line for line in some if "100 %" in line] == [only + line for line in there if "100 %" in line]


def test_many_ranches_with_one_reason_share_a_line(content: DistrictContent) -> None:
    curves = [curve(name, 1.0) for name in ("oak", "elm", "ash", "fir")]
    out = io.StringIO()
    shared = share_volume(curves, 10_000.0)
    print_district(replace(content, shared=shared), Path("nowhere"), Console(file=out, width=900))
    lines = [line for line in out.getvalue().splitlines() if "does as much good" in line]
    assert len(lines) == 1
    assert lines[0].startswith("  4 ranches, each: its last water does as much good as anywhere. oak ")
    assert [part.split()[0] for part in lines[0].split("; ")[1:]] == ["elm", "ash", "fir"]
