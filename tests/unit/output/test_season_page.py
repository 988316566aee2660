"""The page of a season: its order, figures that are those of the tables, both languages, its size."""

import dataclasses
import datetime as dt
import re
from html.parser import HTMLParser

import pandas as pd
import pytest
from helpers.page_season import TODAY, season

from stressmap.agronomy.crops import load_profiles
from stressmap.core.settings import Ranch
from stressmap.output.text.season_words import SeasonWords
from stressmap.output.text.words import Words, catalogue, missing
from stressmap.output.view.due_words import when_due
from stressmap.output.web.season_courses import RanSets, block_courses
from stressmap.output.web.season_page import render, write_season

PROFILES = load_profiles({}, "ranch.toml")


def ranch(languages=("en", "es"), units="us") -> Ranch:
    return Ranch(
        name="<script>hurt()</script>", timezone="America/Los_Angeles", languages=languages, units=units
    )


@pytest.fixture(scope="module")
def page() -> str:
    return render(season(), ranch(), PROFILES)


def in_language(page: str, language: str) -> str:
    other = {"en": "es", "es": "en"}[language]
    without = re.sub(rf'<(t?span) lang="{other}"[^>]*>(?:(?!</\1>).)*</\1>', "", page)
    return re.sub(rf'<t?span lang="{language}"[^>]*>((?:(?!</t?span>).)*)</t?span>', r"\1", without)


class Tables(HTMLParser):
    """Cells of the tables of a page, by the id of the table."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: dict[str, list[list[str]]] = {}
        self.table = ""
        self.inside = False
        self.feed(page)

    def handle_starttag(self, tag, attrs) -> None:
        found = dict(attrs)
        if tag == "table":
            self.table = found["id"]
            self.rows[self.table] = []
        if tag == "tr" and self.table:
            self.rows[self.table].append([])
        if tag in ("td", "th"):
            self.inside = True
            self.rows[self.table][-1].append("")

    def handle_endtag(self, tag) -> None:
        if tag == "table":
            self.table = ""
        if tag in ("td", "th", "table"):  # the end of a cell or row may be left out
            self.inside = False

    def handle_data(self, data) -> None:
        if self.inside:
            self.rows[self.table][-1][-1] += data.rstrip("\n")


@pytest.fixture(scope="module")
def tables(page) -> dict[str, list[list[str]]]:
    return Tables(in_language(page, "en")).rows


def test_the_words_are_the_same_in_both_languages() -> None:
    english, spanish = catalogue("season_en"), catalogue("season_es")
    assert missing(english, spanish) == missing(spanish, english) == set()
    for section, names in english.items():
        for name, text in names.items():
            braces = re.findall(r"\{(\w+)", text)
            assert set(braces) == set(re.findall(r"\{(\w+)", spanish[section][name])), f"{section}.{name}"


def test_it_reads_in_the_order_of_what_is_urgent_what_water_did_what_is_next(page: str) -> None:
    shown = in_language(page, "en")
    heads = re.findall(r"<h2[^>]*>([^<]*)</h2>", shown)
    assert heads == [
        "On this page", "What is urgent", "What the water did", "What is next",
        "The course, crop by crop and block by block", "What has been learnt", "What else there is to say",
        "Cautions",
    ]  # fmt: skip
    assert "Overdue: 1 (S2); due now, though not surely: 0; due in 3 days: 1; in all before" in shown
    assert "in all before the next visit: 3; alarms: 1." in shown
    assert "Days count from Jul 14." in shown
    urgent, rest = shown.split('<section id="water">')
    assert "reach what their crop bears before harvest, Sand first (from Jul 26 on): Sand." in urgent
    assert "<li>Of 36 readings at 4 visits 34 were used and 2 left out.</li>" in rest
    assert "what their crop bears before harvest" not in rest


def test_it_asks_no_network_for_anything_and_names_stay_names(page: str) -> None:
    assert not re.findall(r'(?:src|href|action)="(?!#|data:,)', page.replace('xlink:href="#', 'href="#'))
    assert "url(http" not in page
    assert "default-src 'none'; script-src 'sha256-" in page
    assert "<script>hurt()" not in page
    assert "&lt;script&gt;hurt()&lt;/script&gt;" in page
    assert "<O2>" not in page


def test_ids_are_used_once_and_references_are_met(page: str) -> None:
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    asked = re.findall(
        r'url\(#([^)]+)\)|href="#([^"]+)"|aria-labelledby="([^"]+)"|data-table="([^"]+)"', page
    )
    assert {name for names in asked for name in names if name} <= set(ids)


def test_an_alarm_says_what_to_look_at(page: str) -> None:
    shown = in_language(page, "en")
    assert (
        "dries as if no water had arrived since Jun 26, though the log has 3 irrigations: 1.4 to 3.8 bar"
        in shown
    )
    assert (
        "Look at, in this order: pressure at the valve, filter, emitters, whether it opens fully, whether the"
        " log is right." in shown
    )


@pytest.mark.parametrize(
    ("left", "low", "high", "said"),
    [
        (0.0, 0.0, 0.0, "overdue"),
        (0.0, 0.0, 4.0, "due now"),
        (5.2, 2.0, 11.0, "due Jul 19, Jul 16 to Jul 25"),
        (12.2, 8.0, None, "due from Jul 22 on, likeliest Jul 26"),
        (5.2, 0.0, None, "due from Jul 14 on"),
        (9.5, 1.0, 17.0, "due from Jul 15 to Jul 31"),
        (None, 15.0, None, "not within three weeks, at the earliest Jul 29"),
        (None, None, None, "not within three weeks"),
    ],
)
def test_a_day_is_never_said_without_its_range(left, low, high, said) -> None:
    days = [None if one is None else TODAY + dt.timedelta(days=int(one)) for one in (left, low, high)]
    row = dict(zip(("due", "due_early", "due_late"), days, strict=True))
    row |= {"stress_bar": 1.0, "days_left": left, "days_left_low": low, "days_left_high": high}
    assert when_due(row, TODAY, SeasonWords(Words("en"))) == said
    assert (
        when_due(row | {"stress_bar": None}, TODAY, SeasonWords(Words("es")))
        == "no se sabe: aún sin lecturas"
    )


def test_the_table_below_a_picture_holds_the_figures_of_the_course(tables) -> None:
    drawn = season().course
    own = drawn[drawn["block"] == "Sand"].groupby("visit", sort=True)
    rows = tables["block-2-table"]
    assert rows[0] == [
        "Visit", "Trees, bar", "90 % from", "to", "Target", "Fully watered", "Readings", "Days since water",
        "Water since, in",
    ]  # fmt: skip
    for row, (day, here) in zip(rows[1:], own, strict=True):
        told = [float(row[place].replace("\N{MINUS SIGN}", "-")) for place in (1, 4, 5)]
        means = here[["swp_bar", "target_bar", "baseline_bar"]].mean()
        assert told == pytest.approx(means.to_list(), abs=0.051)
        assert row[0] == Words("en").day(day)
        assert row[6] == str(here["readings"].sum())
        # 38.1 mm are 1.5 inches (an inch is 25.4 mm by definition)
        assert row[8] == ("\N{EN DASH}" if pd.isna(here["mm_since"].iloc[0]) else "1.50")


def test_a_picture_has_a_place_for_every_row_of_its_table(page: str, tables) -> None:
    found = re.findall(r'data-at="([^"]+)" data-table="([^"]+)"', page)
    assert len(found) == 4  # prune side by side, three blocks
    for places, name in found:
        at = [float(place) for place in places.split()]
        assert len(at) == len(tables[name]) - 1
        assert at == sorted(at)
        assert 0 < at[0] < at[-1] < 1


def test_what_is_due_is_listed_by_day_and_pump(tables) -> None:
    assert tables["calendar-table"][1:] == [
        ["Jul 14", "Pump 1", "S2 (look at the valve first)"], ["Jul 16", "Pump 1", "S1 (Jul 14 to Jul 20)"],
        ["Jul 19", "Pump 1", "N2 (Jul 16 to Jul 25)"],
    ]  # fmt: skip
    assert tables["later-table"][1:] == [["Jul 22", "Pump 1", "N1 (from Jul 17 on)"]]


def test_the_turn_advised_is_that_of_the_file_with_its_range_none_where_no_water_came(
    tables,
) -> None:
    told = {row[0]: row[3] for row in tables["intervals-table"][1:]}
    assert told["S2"] == "look first, no turn advised"
    assert told["S1"] == "7 (5 to 11)"
    assert told["N1"] == "8 or more"


def test_what_is_past_stands_first_and_an_alarm_says_where_its_stress_stands(page: str) -> None:
    urgent = in_language(page, "en").split('<section id="urgent">')[1].split("</section>")[0]
    heads = re.findall(r"<h3[^>]*>([^<]*)</h3>", urgent)
    assert heads == ["Past what is allowed", "Watered, not relieved", "Water due, the soonest first"]
    assert "<b>S2</b>" in urgent.split(heads[1])[0]
    assert '<span class="stands">stress 3.6 to 5.6 bar, allowed 4.0</span>' in urgent
    assert "<b>S2</b>" not in urgent.split(heads[2])[1]


def test_the_let_down_says_its_pace_its_standing_and_the_day_of_the_limit(tables) -> None:
    block, crop = tables["let-down-table"][1:]
    assert block == [
        "Sand", "1.3 (0.9 to 1.7)", "+0.5", "+0.6", "ahead", "Jul 26 to later", "9.1 (6.0 to 12.2)", "7.5",
    ]  # fmt: skip
    assert (crop[0], crop[4]) == ("Prune, all blocks", "not told apart from the target")


def test_drip_run_like_flood_and_one_phase_are_said(page: str) -> None:
    shown = in_language(page, "en")
    assert "Run like flood: North, drip in sets of 40 h, 7 days apart." in shown
    assert "The next visit 3 days earlier or later would show the other side." in shown


def test_learning_is_said_with_its_count_and_its_range(tables) -> None:
    by_block = {row[0]: row[1:] for row in tables["learnt-table"][1:]}
    # 12 and 27 mm are 0.47 and 1.06 inches
    assert by_block["North"] == ["2", "1.5", "62 %", "0.47 in to 1.06 in", "21"]
    assert by_block["Old"][3] == "not yet: fewer than two irrigations seen"


def test_it_speaks_one_language_alone_in_metric_units() -> None:
    page = render(season(), ranch(("es",), "metric"), PROFILES)
    assert '<html lang="es">' in page
    assert 'lang="en"' not in page
    assert "say-es" not in page.split("</style>")[1]
    for english in ("What is urgent", "overdue", "Irrigations", "fully watered"):
        assert english not in page
    assert "Agua entretanto, mm" in page
    assert "288 mm" in page


def test_the_same_season_gives_the_same_bytes(tmp_path, page: str) -> None:
    write_season(season(), ranch(), PROFILES, tmp_path / "season.html")
    assert (tmp_path / "season.html").read_text(encoding="utf-8") == page


def test_every_one_of_many_blocks_has_its_page_and_all_stay_small() -> None:
    page = render(season(blocks=60), ranch(), PROFILES)
    assert len(page) < 900_000
    shown = in_language(page, "en")
    assert page.count('<svg class="course"') == page.count('class="one page"') + 1 == 63 + 1
    assert "Prune: the 12 most urgent of 62 blocks, a line each" in shown


def test_a_season_of_one_visit_without_a_log_says_what_is_known() -> None:
    whole = season()
    one = dataclasses.replace(
        whole,
        visits=whole.visits[-1:],
        course=whole.course[whole.course["visit_number"] == 3].assign(visit_number=0),
        cycles=whole.cycles.iloc[:0],
        compared=whole.compared.iloc[:0],
        let_down=whole.let_down.iloc[:0],
        phases=whole.phases.iloc[:0],
        trees=whole.trees.assign(read_again=False),
        alarms=(),
    )
    shown = in_language(render(one, ranch(), PROFILES), "en")
    assert "One visit, Jul 14." in shown
    assert "No irrigation log, so nothing is known of what water did." in shown
    assert "No valve was watered without relief" in shown


def test_courses_are_means_by_area_and_irrigations_means_over_valves() -> None:
    whole = season()
    whole.due.loc[whole.due["valve"] == "S1", "area_ha"] = 6.0
    sand = next(one for one in block_courses(whole) if one.block == "Sand")
    at_last = whole.course[(whole.course["visit_number"] == 3)].set_index("valve")["swp_bar"]
    assert sand.swp_bar[-1] == pytest.approx((6 * at_last["S1"] + 2 * at_last["S2"]) / 8)
    assert len(sand.trees) == 1
    ran = RanSets.of(whole).within(["Sand"])
    assert ran.mm.tolist() == [48.0, 48.0, 48.0]
