"""``stressmap round``: from a ranch's files to paper, phone and table, and back again."""

from __future__ import annotations

import datetime as dt
import json
from collections import Counter
from pathlib import Path
from xml.etree.ElementTree import parse

import openpyxl
import pandas as pd
import pypdf
import pytest
from helpers import small_ranch
from helpers.english_words import english_words
from helpers.round_papers import actions
from typer.testing import CliRunner

from stressmap.cli import app
from stressmap.output.round_outputs import FILES, FORM
from stressmap.output.web.form_page import FORM_FILES

DAY = "2026-07-21"
NAMES = frozenset({"north", "south", "shed"})
GPX = "{http://www.topografix.com/GPX/1/1}"


def command(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, [str(word) for word in words])
    return done.exit_code, done.output


@pytest.fixture(scope="module")
def ranch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_ranch.write(tmp_path_factory.mktemp("ranch"))


@pytest.fixture(scope="module")
def made(ranch: Path) -> tuple[Path, str]:
    out = ranch.parent / "outputs" / "two-sheds" / "rounds" / DAY
    code, said = command("round", ranch, "--out", out)
    assert code == 0, said
    return out, said


def table_of(folder: Path) -> pd.DataFrame:
    return pd.read_csv(folder / "round.csv", dtype={"tree_id": str})


def minutes(clocks: pd.Series) -> pd.Series:
    return pd.to_timedelta(clocks + ":00").dt.total_seconds() / 60


def test_every_tree_is_bagged_once_and_read_once_inside_the_hours(made: tuple[Path, str]) -> None:
    folder, said = made
    table = table_of(folder)
    assert {path.name for path in folder.iterdir()} == {*FILES.writes, FORM}
    assert Counter(table["action"]) == {"bag": len(table) // 2, "read": len(table) // 2}
    bags, reads = (table[table["action"] == kind].set_index("stop") for kind in ("bag", "read"))
    assert not bags["tree_id"].duplicated().any()
    assert (bags["tree_id"].sort_index() == reads["tree_id"].sort_index()).all()
    apart = minutes(reads["clock"]) - minutes(bags["clock"])
    assert apart.min() >= 10
    assert apart.max() <= 120
    assert minutes(reads["clock"]).between(13 * 60, 15 * 60).all()
    assert minutes(bags["clock"]).min() >= 13 * 60 - 20
    assert (reads["expected_low_bar"] < reads["expected_high_bar"]).all()
    assert "a week after the last visit" in said
    assert f"Round of Jul 21, 2026: {len(reads)} trees, 1 crew." in said


def test_paper_phone_and_form_hold_the_same_stops(made: tuple[Path, str]) -> None:
    folder, said = made
    table = table_of(folder)
    stops = len(table) // 2
    rows = actions(pypdf.PdfReader(folder / "round.pdf"))
    told = zip(table["clock"], table["action"].str.upper(), table["stop"], strict=True)
    assert rows == list(told)
    root = parse(folder / "round.gpx").getroot()
    assert len(root.findall(f"{GPX}wpt")) == stops
    assert len(root.findall(f"{GPX}rte/{GPX}rtept")) == len(table)
    assert root.findall(f"{GPX}trk/{GPX}trkseg/{GPX}trkpt")
    form = folder / FORM
    assert {path.name for path in form.iterdir()} == {*FORM_FILES, "run.json"}
    trees = json.loads((form / "data.json").read_text(encoding="utf-8"))["trees"]
    bags = table[table["action"] == "bag"].set_index("tree_id")["clock"]
    assert {tree["tree_id"]: tree["bagClock"] for tree in trees if "stop" in tree} == bags.to_dict()
    page = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert (page["job"], page["on"], page["stops"]) == ("round", DAY, stops)
    # [round] trees is 40 unless told otherwise: the hours hold fewer, and it is said
    assert stops < 40
    assert f"{stops} trees are planned, not the 40 wanted" in " ".join(said.split())


def test_what_is_read_already_is_kept_out_when_it_is_planned_anew(
    made: tuple[Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    folder, _ = made
    book = openpyxl.load_workbook(folder / "round.xlsx")
    sheet = book.worksheets[0]
    heading = {cell.value: cell.column for cell in sheet[1]}
    read = []
    for row in (2, 3, 4):
        sheet.cell(row, heading["Time"]).value = "13:15"
        sheet.cell(row, heading["Pressure (bar)"]).value = 13.0 + row
        read.append(str(sheet.cell(row, heading["Tree"]).value))
    book.save(tmp_path / "typed.xlsx")
    own = small_ranch.write(tmp_path / "ranch")
    code, said = command("add", own, tmp_path / "typed.xlsx")
    assert (code, "3 readings new" in said) == (0, True)
    code, said = command("round", own, "--on", DAY, "--from", "13:40", "--crews", 2)
    assert code == 0, said
    assert "3 trees are read already today and kept out." in said
    table = table_of(tmp_path / "outputs" / "two-sheds" / "rounds" / DAY)
    assert not set(table["tree_id"]) & set(read)
    assert table["clock"].min() >= "13:40"
    assert table["clock"].max() <= "15:00"
    assert set(table["crew"]) <= {1, 2}


def test_the_first_round_of_a_ranch_needs_neither_readings_nor_rows(tmp_path: Path) -> None:
    own = small_ranch.write(tmp_path, small_ranch.SETTINGS + "\n[round]\ntrees = 6\n")
    small_ranch.readings().head(0).to_csv(tmp_path / "readings.csv", index=False)
    code, said = command("round", own)
    assert (code, "Name the day of the first one with --on" in said) == (2, True)
    code, said = command("round", own, "--on", DAY, "--out", tmp_path / "out")
    assert code == 0, said
    assert "There is no reading yet" in said
    table = table_of(tmp_path / "out")
    reads = table[table["action"] == "read"]
    assert set(reads["block"]) == {"North Shed", "South Shed"}
    assert (len(reads), reads["row"].notna().any(), reads["expected_bar"].notna().any()) == (6, False, False)
    assert set(reads["why_en"].str.contains("block never read")) == {True}
    page = json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))
    assert (page["visit"], page["fit"]) == (None, {})
    assert pypdf.PdfReader(tmp_path / "out" / "round.pdf").pages


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--from", "15:00", "--to", "14:00"), "would end (14:00) before it begins (15:00)"),
        (("--on", "2026-01-01"), "--on 2026-01-01: there is no reading before that day"),
        (("--on", "soon"), "'soon' is not a date"),
        (("--from", "noon"), "'noon' is no hour; write it as 13:00"),
    ],
)
def test_what_cannot_be_is_one_line(ranch: Path, words: tuple[str, ...], said: str) -> None:
    code, output = command("round", ranch, *words)
    assert code == 2
    assert said in output


def test_nothing_of_ones_own_is_written_over(ranch: Path, tmp_path: Path) -> None:
    (tmp_path / "round.csv").write_text("my own round")
    code, said = command("round", ranch, "--out", tmp_path)
    assert (code, "it holds round.csv, not written by an earlier run" in said) == (4, True)
    assert (tmp_path / "round.csv").read_text() == "my own round"
    form = tmp_path / "other" / FORM
    form.mkdir(parents=True)
    (form / "index.html").write_text("my own page")
    assert command("round", ranch, "--out", form.parent)[0] == 4
    assert [path.name for path in form.parent.iterdir()] == [FORM]
    result = tmp_path / "result"
    result.mkdir()
    (result / "run.json").write_text('{"job": "run", "files": ["run.json"], "versions": {"stressmap": "1"}}')
    code, said = command("round", ranch, "--out", result)
    assert (code, "it holds the result of a run" in said) == (4, True)


def test_a_spanish_ranch_reads_no_english_and_gets_the_same_round(
    made: tuple[Path, str], tmp_path: Path
) -> None:
    settings = small_ranch.SETTINGS.replace('name = "Two Sheds"', 'name = "Dos Hornos"\nlanguages = ["es"]')
    own = small_ranch.write(tmp_path / "ranch", settings)
    code, said = command("round", own, "--out", tmp_path / "out")
    assert code == 0, said
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "out" / "round.pdf").pages)
    assert english_words(said, NAMES) == set()
    assert english_words(text, NAMES) == set()
    same = (tmp_path / "out" / "round.csv").read_bytes()
    assert same == (made[0] / "round.csv").read_bytes()


def test_the_day_is_the_usual_interval_after_the_last_visit() -> None:
    from stressmap.jobs.next_visit import next_visit_day, usual_interval_days

    def read_on(*days: dt.date) -> pd.DataFrame:
        return pd.DataFrame({"time": pd.to_datetime([f"{day} 13:00" for day in days], utc=True)})

    july = [dt.date(2026, 7, day) for day in (1, 6, 11, 16)]
    assert usual_interval_days(read_on(*july)) == (5, True)
    assert usual_interval_days(read_on(dt.date(2025, 9, 1), july[0])) == (7, False)
    assert usual_interval_days(read_on(july[0])) == (7, False)
    # a visit of two days: the usual days are counted from its last
    assert next_visit_day(read_on(*july), dt.date(2026, 7, 15)) == dt.date(2026, 7, 20)
