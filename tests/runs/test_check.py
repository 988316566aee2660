"""`stressmap check` on a whole ranch: what it prints and the table it leaves."""

import pandas as pd
import pytest
from helpers import small_ranch


@pytest.fixture
def ranch(tmp_path):
    source = small_ranch.write(tmp_path / "ranch")
    table = small_ranch.readings().astype({"pressure_bar": object})
    table.loc[3, "time"] = "2026-07-14 10:00"
    table.loc[5, "pressure_bar"] = -table.loc[5, "pressure_bar"]
    table.loc[7, "pressure_bar"] = None
    table.insert(0, "note", "=1+1")
    table.to_csv(source.parent / "readings.csv", index=False)
    return source


def test_check_prints_what_a_person_needs(stressmap, ranch):
    answer = stressmap("check", ranch)
    assert answer.code == 0
    lines = answer.out.splitlines()
    assert lines[1] == "Visit 2026-07-14: 22 of 24 readings would be used."
    assert lines[2] == "24 readings: 22 used, 2 left out."
    assert any(line.startswith("  1 no pressure (no_value): row 9 tree ") for line in lines)
    assert any(line.startswith("  1 read outside the hours (outside_window): row 5 tree ") for line in lines)
    assert any("(sign_read_as_potential): row 7 tree " in line for line in lines)
    assert lines[-3] == "Worth fixing first:"
    assert lines[-2].startswith("  1 of 24 read outside the hours (row 5 tree ")


def test_check_writes_a_table_to_mend(stressmap, ranch, tmp_path):
    out = tmp_path / "lists" / "mend.csv"
    answer = stressmap("check", ranch, "--out", out)
    assert answer.code == 0
    assert answer.out.splitlines()[-1] == f"To mend by hand: {out}"
    table = pd.read_csv(out)
    assert table["row"].tolist() == [5, 7, 9]
    assert table["flags"].tolist() == ["outside_window", "sign_read_as_potential", "no_value"]
    assert [p.name for p in out.parent.iterdir()] == ["mend.csv"]


def test_check_says_why_nothing_can_be_used(stressmap, ranch):
    file = ranch.parent / "readings.csv"
    small_ranch.readings().assign(time="2026-07-14 09:30").to_csv(file, index=False)
    answer = stressmap("check", ranch)
    assert answer.code == 3
    assert len(answer.errors) == 1
    assert answer.out.splitlines()[-1] == (
        "  24 of 24 read outside the hours: 4 h later they would be inside; was the clock on another time "
        "zone than America/Los_Angeles? Correct the times, or write them with their offset."
    )


def test_check_never_writes_over_an_input(stressmap, ranch):
    file = ranch.parent / "readings.csv"
    before = file.read_bytes()
    answer = stressmap("check", ranch, "--out", file)
    assert answer.code == 4
    assert answer.errors == [
        f"error: {file}: it is an input of the ranch and is not written over. Give another file with --out."
    ]
    assert file.read_bytes() == before


def test_hostile_names_do_no_harm_on_the_way_out(stressmap, tmp_path):
    source = small_ranch.write(tmp_path / "ranch")
    evil, up = "<script>alert(1)</script>", "../../x"
    file = source.parent / "blocks.geojson"
    file.write_text(file.read_text().replace("North Shed", evil).replace("South Shed", up))
    valves = small_ranch.valves()
    valves["block"] = valves["block"].replace({"North Shed": evil, "South Shed": up})
    valves["valve"] = ["=cmd()", "../../../y", "<img src=x onerror=alert(1)>", "__class__"]
    (source.parent / "valves.gpkg").unlink()
    valves.to_file(source.parent / "valves.gpkg", driver="GPKG")
    readings = small_ranch.readings().drop(columns=["block", "valve"], errors="ignore")
    readings["tree_id"] = "<b>" + readings["tree_id"].astype(str) + "</b>"
    readings.assign(__class__="x").to_csv(source.parent / "readings.csv", index=False)
    out = tmp_path / "deep" / "down" / "out"
    answer = stressmap("run", source, "--out", out)
    assert (answer.errors, answer.code) == ([], 0)
    assert {p.name for p in tmp_path.iterdir()} == {"ranch", "deep"}
    assert [p.name for p in (tmp_path / "deep").rglob("*") if p.name in {"x", "y"}] == []
    for page in out.glob("*.html"):
        text = page.read_text(encoding="utf-8")
        assert "<script>alert(1)" not in text
        assert "<img src=x" not in text
    assert all(not str(cell).startswith("=") for cell in pd.read_csv(out / "valves.csv")["valve"])


def test_check_of_a_folder_and_a_list_names_file_visit_and_what_stands_twice(stressmap, ranch):
    visits = ranch.parent / "visits"
    visits.mkdir()
    (ranch.parent / "readings.csv").unlink()
    table = small_ranch.readings()
    june = table.assign(time=table["time"].str.replace("07-14", "06-30"))
    june.to_csv(visits / "june.csv", index=False)
    table[:14].to_csv(visits / "july a.csv", index=False)
    table[12:].to_csv(visits / "july b.csv", index=False)
    (visits / "new.csv").write_text(",".join(table.columns) + "\n")
    (visits / "page.pdf").touch()
    (ranch.parent / "log2.csv").write_bytes((ranch.parent / "irrigation.csv").read_bytes())
    text = ranch.read_text().replace('"readings.csv"', '"visits"')
    ranch.write_text(text.replace('"irrigation.csv"', '["irrigation.csv", "log2.csv"]'))
    answer = stressmap("check", ranch)
    assert answer.code == 0, answer.err
    lines = answer.out.splitlines()
    for line in (
        "Readings: 2026-06-30 to 2026-07-14, 2 visits:",
        "  2026-06-30: 24 readings, 24 usable, 0 flagged.",
        "  2026-07-14: 26 readings, 24 usable, 2 flagged; 14 days after the visit before.",
        "  2 entered twice (duplicate): row 2 (july b.csv) tree T13, row 3 (july b.csv) tree T14",
        "log2.csv: 2 rows, 0 used, 2 left out. Every column was read: valve, start, hours.",
        "  row 2, 3: irrigation.csv has the same set already; counted once.",
        "note: visits: not read: page.pdf (tables are: csv, xlsx, geojson, gpkg, gpx).",
        "note: visits/new.csv: no row below the headings yet; it was passed over.",
        "note: 2 readings of the visit stand in another file too (visits/july b.csv); each counts once.",
    ):
        assert line in lines
    assert "Worth fixing first:" not in lines
