"""Readings and irrigation log from several files: a list, a folder, a sheet a visit."""

import itertools
from pathlib import Path
from zoneinfo import ZoneInfo

import openpyxl
import pandas as pd
import pytest
from helpers import small_ranch
from hypothesis import given
from hypothesis import settings as settings_of_law
from hypothesis import strategies as st

from stressmap.core import settings
from stressmap.core.errors import DataError, NoRowsError, SettingsError
from stressmap.core.listed_files import files_of
from stressmap.core.sources import InputSource
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.intake.readings import read_readings

ZONE = ZoneInfo("America/Los_Angeles")
HEAD = "tree_id,time,lon,lat,pressure_bar\n"
JUNE = HEAD + "T1,2026-06-01 13:05,-121.5,38.5,12.5\nT2,2026-06-01 13:10,-121.5,38.6,13\n"
JULY = "Baum;Datum;Uhrzeit;lon;lat;bar\nT1;14.07.2026;13:05;-121,5;38,5;14,5\n"
PHONE = """<gpx xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="38.5" lon="-121.5">
<time>2026-07-28T20:05:00Z</time><name>T1</name><desc>pressure_bar=15.5</desc></wpt></gpx>"""
LOG = "valve,start,hours\nN1,2026-07-01 06:00,8\nN2,2026-07-02 06:00,8\n"


@pytest.fixture
def ranch(tmp_path: Path) -> Path:
    source = small_ranch.write(tmp_path / "ranch")
    text = source.read_text().replace('"readings.csv"', '"visits"').replace('"irrigation.csv"', '["log"]')
    source.write_text(text + '\n[columns]\nBaum = "tree_id"\nDatum = "date"\nUhrzeit = "time"\n')
    (source.parent / "visits").mkdir()
    (source.parent / "log").mkdir()
    return source


def put(folder: Path, **files: str) -> None:
    for name, text in files.items():
        (folder / name.replace("_", ".")).write_text(text)


def readings_of(source: Path) -> pd.DataFrame:
    chosen = settings.load(source)
    return read_readings(chosen.files.readings, chosen).value


def test_a_folder_lists_its_tables_by_name_and_tells_the_rest(tmp_path: Path) -> None:
    names = [
        "b.csv",
        "A.CSV",
        "~$b.xlsx",
        ".~lock.b.csv#",
        ".hidden.csv",
        "Thumbs.db",
        "c.gpkg-wal",
        "page.pdf",
    ]
    for name in [*names, "c.gpkg"]:
        (tmp_path / name).touch()
    (tmp_path / "2025").mkdir()
    found = files_of([tmp_path, tmp_path / "b.csv", tmp_path / "none.csv"])
    assert [file.name for file in found.files] == ["A.CSV", "b.csv", "c.gpkg", "none.csv"]
    assert found.not_read == ((tmp_path, ("2025", "page.pdf")),)


def test_a_folder_of_unlike_files_is_one_table_with_the_row_of_each_file(ranch: Path) -> None:
    put(ranch.parent / "visits", b_csv=JULY, a_csv=JUNE, c_gpx=PHONE)
    table = readings_of(ranch)
    assert table["row"].tolist() == [2, 3, 2, 2]
    assert [Path(file).name for file in table["file"]] == ["a.csv", "a.csv", "b.csv", "c.gpx"]
    assert table["pressure_bar"].tolist() == [12.5, 13.0, 14.5, 15.5]
    assert table["time"].dt.strftime("%m-%d %H:%M").tolist() == [
        "06-01 13:05", "06-01 13:10", "07-14 13:05", "07-28 13:05",
    ]  # fmt: skip
    assert table["tree_id"].tolist() == ["T1", "T2", "T1", "T1"]


def test_a_workbook_with_a_sheet_a_visit_is_its_twin_in_one_sheet(ranch: Path) -> None:
    whole = small_ranch.readings()
    whole.to_csv(ranch.parent / "one.csv", index=False)
    book = openpyxl.Workbook()
    for at, rows in enumerate((whole[:10], whole[10:], whole[:0])):
        sheet = book.create_sheet(f"Visit {at + 1}")
        for row in [list(rows.columns), *rows.to_numpy().tolist()]:
            sheet.append(row)
    book.create_sheet("Summary").append(["block", "mean pressure"])
    book.save(ranch.parent / "visits" / "book.xlsx")
    chosen = settings.load(ranch)
    read = read_readings(chosen.files.readings, chosen)
    told = {note.code: dict(note.values) for note in read.notes}
    assert told["sheets_chosen"]["sheets"] == ("Visit 1", "Visit 2")
    assert told["sheets_chosen"]["others"] == ("Visit 3", "Summary")
    twin = read_readings(ranch.parent / "one.csv", chosen).value
    pd.testing.assert_frame_equal(
        read.value.drop(columns=["row", "file"]), twin.drop(columns=["row", "file"])
    )
    assert [(Path(one.file).name, one.rows) for one in read.counts] == [
        ("book.xlsx:Visit 1", 10), ("book.xlsx:Visit 2", 14),
    ]  # fmt: skip


def test_a_fault_is_told_with_the_file_and_row_that_it_stands_in(ranch: Path) -> None:
    put(ranch.parent / "visits", a_csv=JUNE, b_csv=HEAD + "T1,2026-06-02 13:05,-121.5,38.5,much\n")
    with pytest.raises(DataError) as error:
        readings_of(ranch)
    assert str(error.value) == (
        f"{ranch.parent}/visits/b.csv, row 2, column pressure_bar: 'much' is not a number. "
        "Write the pressure as a number, or leave the cell empty."
    )


def test_files_without_a_row_are_passed_over_until_none_is_left(ranch: Path) -> None:
    folder = ranch.parent / "visits"
    with pytest.raises(DataError) as error:
        readings_of(ranch)
    assert str(error.value).startswith(
        f"{folder}: the folder holds no file of readings (names that end in .csv"
    )
    put(folder, a_csv=HEAD, b_csv="")
    with pytest.raises(NoRowsError) as error:
        readings_of(ranch)
    assert str(error.value) == (
        f"{folder}: no readings yet: a.csv and 1 more have no row below the headings. "
        "Fill in a row per reading."
    )
    put(folder, c_csv=JUNE)
    assert len(readings_of(ranch)) == 2


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("[]", "the list is empty. Write a file, a list of files or a folder."),
        ('["a.csv", ""]', "a path in it is empty. Write a file, a list of files or a folder."),
        ("7", "7 is no path. Write a file, a list of files or a folder, each in quotes."),
    ],
)
def test_a_list_that_names_nothing_is_one_line(ranch: Path, written: str, said: str) -> None:
    ranch.write_text(ranch.read_text().replace('readings = "visits"', f"readings = {written}"))
    with pytest.raises(SettingsError) as error:
        settings.load(ranch)
    assert str(error.value) == f"{ranch}, column files.readings: {said}"


def test_a_file_of_a_list_that_is_missing_is_named(ranch: Path) -> None:
    put(ranch.parent, a_csv=JUNE)
    ranch.write_text(ranch.read_text().replace('"visits"', '["a.csv", "b.csv"]'))
    with pytest.raises(DataError) as error:
        readings_of(ranch)
    assert str(error.value).startswith(f"{ranch.parent}/b.csv: ")
    assert len(error.value.problems) == 1


def test_a_heading_of_columns_must_stand_in_one_of_the_files(ranch: Path) -> None:
    put(ranch.parent / "visits", a_csv=JUNE, b_csv="time,lon,lat,bar\n2026-07-14 13:05,-121.5,38.5,14\n")
    with pytest.raises(DataError) as error:
        readings_of(ranch)
    (problem,) = error.value.problems
    assert problem.where.endswith("b.csv")
    assert problem.what == "[columns] names a column 'Baum' that the file does not have"
    put(ranch.parent / "visits", c_csv=JULY)
    assert len(readings_of(ranch)) == 4


def test_every_file_of_a_folder_is_an_input_with_its_hash(ranch: Path) -> None:
    put(ranch.parent / "visits", a_csv=JUNE, b_csv=JULY)
    chosen = settings.load(ranch)
    assert list(chosen.inputs()) == [
        "readings: visits/a.csv", "readings: visits/b.csv", "blocks", "valves", "weather",
    ]  # fmt: skip
    assert chosen.named("readings") == f"{ranch.parent}/visits"
    assert chosen.named_inputs()["irrigation"] == (ranch.parent / "log",)


def log_of(*texts: str) -> tuple[pd.DataFrame, dict[str, tuple[int, int]], list[tuple[str, str, int]]]:
    sources = [InputSource.of_bytes(text.encode(), f"{at}.csv") for at, text in enumerate(texts)]
    read = read_irrigation(sources, zone=ZONE)
    counts = {one.file: (one.rows, one.used) for one in read.counts}
    said = [(note.code, dict(note.values)["file"], dict(note.values)["count"]) for note in read.notes]
    return read.value, counts, said


def test_a_set_that_stands_in_two_logs_counts_once_and_is_told() -> None:
    more = LOG + "N1,2026-07-08 06:00,8\n"
    table, counts, said = log_of(LOG, more)
    assert table["start"].dt.day.tolist() == [1, 2, 8]
    assert counts == {"0.csv": (2, 2), "1.csv": (3, 1)}
    assert said == [("log_rows_in_two_files", "1.csv", 2)]


def test_logs_with_columns_of_their_own_are_one_log_by_start() -> None:
    other = "Fecha;Válvula;Horas\n30/06/2026;N2;7,5\n"
    table, counts, _ = log_of(LOG, other)
    assert table["valve"].tolist() == ["N2", "N1", "N2"]
    assert counts == {"0.csv": (2, 2), "1.csv": (1, 1)}


def test_sets_that_overlap_across_logs_are_joined_and_name_the_other_file() -> None:
    sources = [
        InputSource.of_bytes(text.encode(), name)
        for name, text in (("a.csv", LOG), ("b.csv", "valve,start,hours\nN1,2026-07-01 12:00,8\n"))
    ]
    read = read_irrigation(sources, zone=ZONE)
    assert (read.value["end"] - read.value["start"]).dt.total_seconds().div(3600).tolist() == [14.0, 8.0]
    (remark,) = read.counts[1].remarks
    assert dict(remark.values) == {"other": "2 (a.csv)", "valve": "N1"}


def book_of(folder: Path, sheets: dict[str, str]) -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, text in sheets.items():
        sheet = book.create_sheet(title)
        for line in text.splitlines():
            sheet.append(line.split(","))
    book.save(folder / "book.xlsx")


def test_sheets_of_a_workbook_share_the_order_of_day_and_month_and_files_do_not(ranch: Path) -> None:
    june = HEAD + "T1,01/06/2026 13:05,-121.5,38.5,12.5\n"
    july = HEAD + "T1,14/07/2026 13:05,-121.5,38.5,14.5\n"
    book_of(ranch.parent / "visits", {"June": june, "July": july})
    assert readings_of(ranch)["time"].dt.strftime("%m-%d").tolist() == ["06-01", "07-14"]
    (ranch.parent / "visits" / "book.xlsx").unlink()
    put(ranch.parent / "visits", june_csv=june, july_csv=july)
    with pytest.raises(DataError) as error:
        readings_of(ranch)
    (problem,) = error.value.problems
    assert Path(problem.where).name == "june.csv"
    assert (
        problem.what
        == "'01/06/2026 13:05' can be day first or month first, and no other date of the column tells"
    )


def test_clocks_without_a_day_take_that_of_their_sheet(ranch: Path) -> None:
    rows = HEAD + "T1,13:05,-121.5,38.5,12.5\nT2,1:10 pm,-121.5,38.6,13\n"
    whole = HEAD + "T3,2026-07-28 13:05,-121.5,38.5,12.5\n"
    book_of(ranch.parent / "visits", {"14 July 2026": rows, "28 July 2026": whole})
    chosen = settings.load(ranch)
    read = read_readings(chosen.files.readings, chosen)
    assert read.value["time"].dt.strftime("%m-%d %H:%M").tolist() == [
        "07-14 13:05",
        "07-14 13:10",
        "07-28 13:05",
    ]
    assert [str(dict(note.values)["day"]) for note in read.notes if note.code == "day_of_sheet"] == [
        "2026-07-14"
    ]


@pytest.mark.parametrize(("heading", "severity"), [("time", None), ("when", "caution"), ("remarks", "info")])
def test_a_sheet_much_like_those_read_that_is_not_read_is_a_caution(
    ranch: Path, heading: str, severity: str | None
) -> None:
    other = JUNE.replace("time", heading) if heading != "remarks" else "remarks,pressure\nall well,none\n"
    book_of(ranch.parent / "visits", {"June": JUNE, "July": JUNE, "Third": other})
    chosen = settings.load(ranch)
    notes = read_readings(chosen.files.readings, chosen).notes
    assert [n.severity for n in notes if n.code == "sheets_chosen"] == ([severity] if severity else [])


WHOLE = small_ranch.readings()


def dressed(rows: pd.DataFrame, dress: str) -> bytes:
    if dress == "comma":
        return rows.to_csv(index=False, sep=";", decimal=",").encode("utf-16")
    return rows[rows.columns[::-1]].to_csv(index=False).encode()


@settings_of_law(max_examples=12, deadline=None)
@given(
    cuts=st.lists(st.integers(0, len(WHOLE)), max_size=4),
    dresses=st.lists(st.sampled_from(["comma", "plain"]), min_size=5, max_size=5),
)
def test_readings_cut_into_any_files_are_the_same_readings(cuts: list[int], dresses: list[str]) -> None:
    edges = [0, *sorted(cuts), len(WHOLE)]
    parts = [WHOLE[a:b] for a, b in itertools.pairwise(edges)]
    sources = [
        InputSource.of_bytes(dressed(part, dress), f"{at}.csv")
        for at, (part, dress) in enumerate(zip(parts, dresses, strict=False))
    ]
    read = read_readings(sources, CHOSEN)
    own = ["row", "file"]
    pd.testing.assert_frame_equal(read.value.drop(columns=own), TWIN.drop(columns=own))
    assert sum(one.rows for one in read.counts) == len(WHOLE)
    assert [one.rows for one in read.counts] == [len(part) for part in parts if len(part)]
    assert read.value["row"].tolist() == [2 + at for part in parts for at in range(len(part))]


CHOSEN = settings.Settings.model_validate(
    {
        "ranch": {"name": "Cut", "timezone": "America/Los_Angeles"},
        "files": {"readings": "readings.csv", "blocks": "blocks.geojson"},
    }
)
TWIN = read_readings(InputSource.of_bytes(dressed(WHOLE, "plain"), "whole.csv"), CHOSEN).value


def test_a_file_listed_twice_is_read_once_and_said(ranch: Path) -> None:
    put(ranch.parent / "visits", a_csv=JUNE)
    chosen, file = settings.load(ranch), ranch.parent / "visits" / "a.csv"
    read = read_readings((file, file), chosen)
    assert len(read.value) == 2
    assert [note.value("files") for note in read.notes if note.code == "files_named_twice"] == [(str(file),)]
    once = read_readings((file,), chosen)
    assert "files_named_twice" not in [note.code for note in once.notes]
