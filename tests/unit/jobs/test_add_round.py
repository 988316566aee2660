"""A round that was read from paper and typed in: what hands write comes back as readings, once."""

from __future__ import annotations

import datetime as dt
import io
import sqlite3
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from helpers import drawn_round, small_ranch
from rich.console import Console

from stressmap.core import settings
from stressmap.core.errors import DataError
from stressmap.intake.arrived_file import Arrived
from stressmap.jobs.add import add
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.paper.round_book import write_round_book
from stressmap.output.staging.output_folder import round_folder
from stressmap.output.terminal.add_summary import print_added
from stressmap.output.view.round_content import RoundContent, round_table

CONTENT = drawn_round.content(drawn_round.drawn(8, 1))
STOPS = sorted(CONTENT.planned.stops, key=lambda stop: stop.read_at)
"""In the order of the workbook's rows, from row 2 on."""


@pytest.fixture
def ranch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return small_ranch.write(tmp_path / "ranch")


def planned(ranch: Path) -> Path:
    """Put the round where the job puts it."""
    folder = ranch.parent / round_folder("Two Sheds", CONTENT.on)
    folder.mkdir(parents=True)
    write_csv(round_table(CONTENT), folder / "round.csv")
    return folder / "round.csv"


def typed(folder: Path, cells: dict[int, dict[str, Any]], content: RoundContent = CONTENT) -> Path:
    """Type cells into the workbook, by row and heading."""
    path = folder / "round.xlsx"
    write_round_book(content, path)
    book = openpyxl.load_workbook(path)
    sheet = book.worksheets[0]
    column = {cell.value: cell.column for cell in sheet[1]}
    for row, own in cells.items():
        for heading, value in own.items():
            sheet.cell(row, column[heading]).value = value
    book.save(path)
    return path


def kept(ranch: Path) -> pd.DataFrame:
    """Give the latest readings of the record, times local."""
    with sqlite3.connect(ranch.parent / "ranch.sqlite") as plain:
        table = pd.read_sql("SELECT * FROM latest_readings ORDER BY id", plain)
    plain.close()
    zone = settings.load(ranch).ranch.timezone
    table["time"] = pd.to_datetime(table["time"]).dt.tz_localize("UTC").dt.tz_convert(zone)
    return table


def codes(arrived: Arrived) -> set[str]:
    return {told.code for _, doubts in (*arrived.doubts, *arrived.refused) for told in doubts}


def test_what_was_typed_is_what_the_record_has(ranch: Path, tmp_path: Path) -> None:
    """Hours as numbers, as text, as a spreadsheet's times and of a twelve-hour clock; decimal commas."""
    planned(ranch)
    path = typed(
        tmp_path,
        {
            2: {"Bagged": 1244, "Time": 1305, "Pressure (bar)": 13.5, "Second reading (bar)": "13,2"},
            3: {"Bagged": "12:41", "Time": "1:07", "Pressure (bar)": "14,25", "Trouble": "2, árbol enfermo"},
            4: {"Bagged": dt.time(12, 43), "Time": dt.time(13, 9), "Pressure (bar)": 12, "Chamber": "K2"},
            5: {"Pressure (bar)": 15.0},
            6: {"Trouble": "3", "Note": "no leaf"},
        },
    )
    (arrived,) = add(ranch, [path]).files
    assert (arrived.added.count("new"), len(arrived.empty), arrived.unusable) == (5, 3, ())
    assert {"round_afternoon", "round_no_time"} <= codes(arrived)
    table = kept(ranch)
    assert table["tree_id"].tolist() == [stop.tree_id for stop in STOPS[:5]]
    assert table["stop"].tolist() == [str(stop.number) for stop in STOPS[:5]]
    assert table["time"].dt.strftime("%Y-%m-%d %H:%M").tolist() == [
        "2026-07-21 13:05", "2026-07-21 13:07", "2026-07-21 13:09",
        f"{STOPS[3].read_at:%Y-%m-%d %H:%M}", f"{STOPS[4].read_at:%Y-%m-%d %H:%M}",
    ]  # fmt: skip
    assert table["pressure_bar"].tolist()[:4] == [13.5, 14.25, 12.0, 15.0]
    assert table["recheck_bar"][0] == 13.2
    assert table["bag_minutes"].tolist()[:3] == [21.0, 26.0, 26.0]
    assert table["trouble"].tolist()[1] == "dry_emitter; sick_tree"
    assert table["trouble"].tolist()[4] == "sick_tree"
    assert table["chamber"][2] == "K2"
    lon, lat = CONTENT.degrees[STOPS[0].number]
    assert (table["lon"][0], table["lat"][0]) == pytest.approx((lon, lat), abs=1e-7)

    assert add(ranch, [path]).files[0].earlier is not None
    cells = {2: {"Time": 1306, "Pressure (bar)": 13.4}, 3: {"Pressure (bar)": 14.25, "Time": "13:07"}}
    mended = typed(tmp_path, cells)
    (again,) = add(ranch, [mended]).files
    assert again.added.count("corrected") == 2  # hour and figure of one, bag and trouble of the other
    assert len(kept(ranch)) == 5


def test_a_second_leaf_is_a_reading_of_its_own(ranch: Path, tmp_path: Path) -> None:
    planned(ranch)
    path = typed(tmp_path, {2: {"Time": "13:05", "Pressure (bar)": 13.5}})
    book = openpyxl.load_workbook(path)
    sheet = book.worksheets[0]
    first = [cell.value for cell in sheet[2]]
    for place, value in enumerate(first, 1):
        sheet.cell(12, place).value = value
    sheet.cell(12, [cell.value for cell in sheet[1]].index("Pressure (bar)") + 1).value = 13.9
    book.save(path)
    (arrived,) = add(ranch, [path]).files
    assert arrived.added.count("new") == 2
    assert kept(ranch)["pressure_bar"].tolist() == [13.5, 13.9]


def test_a_gauge_in_psi_says_so_in_its_heading(ranch: Path, tmp_path: Path) -> None:
    """1 psi is 6,894.757 Pa (NIST Special Publication 811, 2008, appendix B.8)."""
    content = drawn_round.content(CONTENT.planned, unit="psi")
    path = typed(tmp_path, {2: {"Time": "13:05", "Pressure (psi)": 200}}, content)
    ranch.write_text(ranch.read_text(encoding="utf-8") + '\n[reading]\nunit = "psi"\n', encoding="utf-8")
    add(ranch, [path])
    assert kept(ranch)["pressure_bar"][0] == pytest.approx(200 * 0.06894757)


def test_codes_alone_are_enough_and_a_wrong_one_is_caught(ranch: Path, tmp_path: Path) -> None:
    planned(ranch)
    code, other = CONTENT.codes[STOPS[0].number], CONTENT.codes[STOPS[1].number]
    wrong = other[:3] + other[4] + other[3]
    path = tmp_path / "by_code.csv"
    path.write_text(
        f"Código;Hora;Presión (bar)\n{code.lower()};13:05;13,5\n{wrong};13:09;14,0\n22222;13:15;15\n"
    )
    (arrived,) = add(ranch, [path]).files
    assert (arrived.added.count("new"), arrived.unusable) == (1, (3, 4))
    assert {"round_code_wrong", "round_code_unknown"} <= codes(arrived)
    row = kept(ranch).iloc[0]
    assert (row["tree_id"], row["block"]) == (STOPS[0].tree_id, STOPS[0].block)
    assert f"{row['time']:%Y-%m-%d %H:%M}" == "2026-07-21 13:05"


def test_rows_that_were_sorted_apart_are_told(ranch: Path, tmp_path: Path) -> None:
    codes_there = [CONTENT.codes[stop.number] for stop in STOPS]
    cells = {2: {"Code": codes_there[1], "Time": "13:05", "Pressure (bar)": 13.5}}
    (arrived,) = add(ranch, [typed(tmp_path, cells)]).files
    assert "round_code_other" in codes(arrived)
    assert kept(ranch)["tree_id"].tolist() == [STOPS[0].tree_id]
    cells = {3: {"Code": "22223", "Time": "13:09", "Pressure (bar)": 13.5}}
    (arrived,) = add(ranch, [typed(tmp_path, cells)]).files
    assert "round_code_wrong_tree" in codes(arrived)


def test_the_table_itself_may_be_typed_into(ranch: Path, tmp_path: Path) -> None:
    """Its day is its folder's; without a column of hours the planned ones are taken, and that is said."""
    path = planned(ranch)
    table = pd.read_csv(path, dtype=str)
    read = table["action"] == "read"
    table.loc[read & (table["stop"] == "3"), "pressure_bar"] = "12.5"
    table.to_csv(path, index=False)
    (arrived,) = add(ranch, [path]).files
    assert (arrived.added.count("new"), len(arrived.empty)) == (1, 7)
    assert "round_clocks_planned" in {note.code for note in arrived.notes}
    stop = next(stop for stop in STOPS if stop.number == 3)
    assert f"{kept(ranch)['time'][0]:%Y-%m-%d %H:%M}" == f"{stop.read_at:%Y-%m-%d %H:%M}"
    # the same stop from the workbook is the same reading
    book = typed(tmp_path, {2 + STOPS.index(stop): {"Time": "13:20", "Pressure (bar)": 12.6}})
    assert add(ranch, [book]).files[0].added.count("corrected") == 1
    assert kept(ranch)["pressure_bar"].tolist() == [12.6]


def test_without_a_day_it_is_refused(ranch: Path, tmp_path: Path) -> None:
    table = round_table(CONTENT).astype({"row": str}).assign(pressure_bar=12.0)
    table.to_csv(tmp_path / "elsewhere.csv", index=False)
    with pytest.raises(DataError, match=r"row \d+: nothing says of which day this was. Add a column date"):
        add(ranch, [tmp_path / "elsewhere.csv"])


def test_spanish_headings_come_back_too(ranch: Path, tmp_path: Path) -> None:
    content = drawn_round.content(CONTENT.planned, languages=("es",))
    path = typed(tmp_path, {2: {"Hora": "1305", "Presión (bar)": "13,5", "Problema": "fuga"}}, content)
    add(ranch, [path])
    row = kept(ranch).iloc[0]
    assert (row["tree_id"], row["pressure_bar"], row["trouble"]) == (STOPS[0].tree_id, 13.5, "leak")


def test_a_word_in_place_of_a_figure_is_told_and_the_other_rows_are_kept(ranch: Path, tmp_path: Path) -> None:
    planned(ranch)
    cells = {
        2: {"Time": "13:05", "Pressure (bar)": "doce", "Note": "windy"},
        3: {"Time": "13:07", "Pressure (bar)": "14.25 bar", "Second reading (bar)": "igual"},
    }
    (arrived,) = add(ranch, [typed(tmp_path, cells)]).files
    assert arrived.added.count("new") == 2
    told = [one for _, doubts in arrived.doubts for one in doubts if one.code == "round_no_figure"]
    assert [(one.row, dict(one.values)) for one in told] == [
        (2, {"column": "Pressure (bar)", "cell": "doce"}),
        (3, {"column": "Second reading (bar)", "cell": "igual"}),
    ]
    table = kept(ranch)
    assert table["pressure_bar"].isna().tolist() == [True, False]
    assert table["pressure_bar"][1] == 14.25
    assert table["recheck_bar"].isna().all()


def test_a_figure_far_past_the_expected_range_is_told(ranch: Path, tmp_path: Path) -> None:
    """From two bar past the range of the day's round, as the form does; common practice, no source."""
    planned(ranch)
    high, low = STOPS[0].expected_high_bar, STOPS[3].expected_low_bar
    cells = {
        2: {"Time": "13:05", "Pressure (bar)": round(high + 2.2, 1)},
        3: {"Time": "13:07", "Pressure (bar)": 40.0},  # of a tree of which nothing was expected
        4: {"Time": "13:09", "Pressure (bar)": round(STOPS[2].expected_high_bar + 1.8, 1)},
        5: {"Time": "13:12", "Pressure (bar)": round(low - 2.2, 1)},
    }
    (arrived,) = add(ranch, [typed(tmp_path, cells)]).files
    told = [one for _, doubts in arrived.doubts for one in doubts if one.code == "round_far_from_expected"]
    assert [one.row for one in told] == [2, 5]
    assert arrived.added.count("new") == 4


def test_rows_without_a_pressure_are_counted_apart(ranch: Path, tmp_path: Path) -> None:
    planned(ranch)
    cells = {2: {"Time": "13:05", "Pressure (bar)": 13.0}, 3: {"Trouble": "3"}, 4: {"Note": "no leaf"}}
    path = typed(tmp_path, cells)
    added = add(ranch, [path])
    assert (added.files[0].added.count("new"), added.files[0].bare) == (3, 2)
    console = Console(file=io.StringIO(), width=200)
    print_added(added.files, added.settings, console, dry=False)
    said = console.file.getvalue()  # type: ignore[attr-defined]
    assert "1 reading new, 0 corrected" in said
    assert "2 more rows new without a pressure." in said
    assert "5 stops of the round have no reading in this file." in said
