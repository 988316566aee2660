"""The crew sheet, read back by a PDF library that had no part in writing it."""

import dataclasses
import datetime as dt
import re
from collections import Counter
from pathlib import Path

import pandas as pd
import pypdf
import pytest
from helpers.drawn_content import full, ranch, small

from stressmap.core.notes import Note
from stressmap.output.paper.crew_sheet import write_crew_sheet
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content

POINTS_PER_MM = 72 / 25.4


def read(content, folder: Path) -> pypdf.PdfReader:
    path = folder / "crew_sheet.pdf"
    write_crew_sheet(content, path)
    return pypdf.PdfReader(path)


def text_of(reader: pypdf.PdfReader) -> str:
    return "\n".join(page.extract_text() for page in reader.pages)


def test_every_valve_is_there_once_in_the_order_of_rank(tmp_path: Path) -> None:
    content = ranch([(f"Q{i:02d}", "prune", 5) for i in range(9)], across=3)
    found = re.findall(r"Q\d\d-\d", text_of(read(content, tmp_path)))
    assert found == content.valves["valve"].tolist()
    assert Counter(found).most_common(1)[0][1] == 1


def test_hours_and_times_of_the_plan_are_filled_in(tmp_path: Path) -> None:
    """10.5 h of 180 m3/h are 1,890 m3; an acre-foot is 1,233.48 m3 (43,560 cubic feet of 0.3048 m)."""
    text = text_of(read(full(), tmp_path))
    for expected in (
        "10 h 30 min",
        "Jul 16 20:00 - Jul 17 06:30",
        "1.5 acre-ft",
        "8 h 15 min",
        "6 h 00 min",
    ):
        assert expected in text


def test_valves_without_water_are_listed_after_all_others(tmp_path: Path) -> None:
    content = full()
    hours = dict(zip(content.water_plan["valve"], content.water_plan["hours"], strict=True))
    order = content.valves["valve"].tolist()
    dry = [valve for valve in order if hours[valve] <= 0]
    opened, _, closed = text_of(read(content, tmp_path)).partition("No water this time")
    assert 0 < len(dry) < len(order)
    assert all((valve in opened, valve in closed) == (valve not in dry, valve in dry) for valve in order)


@pytest.mark.parametrize("dry", [0, 1, 7, 8, 9, 60, 200])
def test_every_valve_has_its_place_however_many_get_no_water(dry: int, tmp_path: Path) -> None:
    content = ranch([(f"Q{i:02d}", "prune", 10) for i in range(20)], across=5)
    valves = content.valves["valve"].tolist()
    plan = pd.DataFrame({"valve": valves, "hours": [0.0] * dry + [6.0] * (200 - dry), "m3": 10.0})
    reader = read(dataclasses.replace(content, water_plan=plan, vpd_kpa=3.4), tmp_path)
    found = Counter(re.findall(r"Q\d\d-\d+", text_of(reader)))
    assert found == Counter(valves)
    tops = [page.extract_text().count("Hours") for page in reader.pages]
    assert sum(tops) == max(0, -(-(200 - dry) // 8))


def test_without_a_plan_there_is_room_to_write(tmp_path: Path) -> None:
    text = text_of(read(small(), tmp_path))
    assert text.count("Hours / Horas") == 8
    assert "No water" not in text


@pytest.mark.parametrize("languages", [("en",), ("es",), ("en", "es")])
def test_it_speaks_the_languages_set(languages, tmp_path: Path) -> None:
    content = ranch([("Q1", "prune", 2)], across=1, languages=languages)
    text = text_of(read(content, tmp_path))
    for language in ("en", "es"):
        words = Words(language)
        for key in ("title", "leak", "clogged", "no_pressure", "done", "call", "caution_1", "caution_2"):
            assert (words(f"sheet.{key}") in text) == (language in languages)


@pytest.mark.parametrize("languages", [("en",), ("es",), ("en", "es"), ("es", "en")])
def test_the_map_is_told_in_words_too(languages, tmp_path: Path) -> None:
    """For who cannot see it: 60 of 200 valves get no water, eight a page are numbered."""
    content = ranch([(f"Q{i:02d}", "prune", 10) for i in range(20)], across=5, languages=languages)
    hours = [0.0] * 60 + [6.0] * 140
    plan = pd.DataFrame({"valve": content.valves["valve"].tolist(), "hours": hours, "m3": 10.0})
    pages = [
        page.extract_text() for page in read(dataclasses.replace(content, water_plan=plan), tmp_path).pages
    ]
    told = {"en": (r"Valves with their rank: (\d+)", r"not numbered: (\d+)"),
            "es": (r"Válvulas con su puesto: (\d+)", r"sin número: (\d+)")}  # fmt: skip
    for language, (opened, closed) in told.items():
        said = [sum(int(n) for page in pages for n in re.findall(p, page)) for p in (opened, closed)]
        assert said == ([140, 60] if language in languages else [0, 0])
        spoken = [bool(re.search(opened, page)) for page in pages]
        assert spoken == [language in languages] * len(pages)


def test_what_is_said_of_the_map_stands_over_the_rows(tmp_path: Path) -> None:
    spots = []
    reader = read(full(), tmp_path)
    reader.pages[0].extract_text(visitor_text=lambda t, _c, m, _f, _s: spots.append((t.strip(), m[5])))
    begins = ("Map, north up", "Mapa, norte arriba", "Valve ·")
    heights = [next(y for text, y in spots if text.startswith(begin)) for begin in begins]
    assert heights == sorted(heights, reverse=True)


@pytest.mark.parametrize("languages", [("en", "es"), ("es",)])
def test_the_file_says_what_it_is(languages, tmp_path: Path) -> None:
    """Language of the document: ISO 32000-1, 14.9.2.1; its title in the window's bar: 12.2, table 150."""
    content = ranch([("Q1", "prune", 2)], across=1, languages=languages)
    reader = read(content, tmp_path)
    catalog = reader.trailer["/Root"]
    assert catalog["/Lang"] == languages[0]
    assert catalog["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    words = [Words(language) for language in languages]
    said = {key: " / ".join(w(f"sheet.{key}") for w in words) for key in ("title", "subject", "keywords")}
    assert reader.metadata.title == f"{said['title']}, Willow <Flat> & Sons"
    assert (reader.metadata.subject, reader.metadata["/Keywords"]) == (said["subject"], said["keywords"])


@pytest.mark.parametrize(("units", "size"), [("us", (215.9, 279.4)), ("metric", (210.0, 297.0))])
def test_paper_goes_with_the_units(units: str, size, tmp_path: Path) -> None:
    """US letter (ANSI/ASME Y14.1 size A, 8.5 by 11 in) and A4 (ISO 216); from memory only."""
    page = read(ranch([("Q1", "prune", 2)], across=1, units=units), tmp_path).pages[0]
    shown = (float(page.mediabox.width) / POINTS_PER_MM, float(page.mediabox.height) / POINTS_PER_MM)
    assert shown == pytest.approx(size, abs=0.1)


def test_nothing_runs_off_the_paper(tmp_path: Path) -> None:
    reader = read(full(), tmp_path)
    page, spots = reader.pages[0], []
    page.extract_text(
        visitor_text=lambda text, _cm, tm, *_: spots.append((tm[4], tm[5])) if text.strip() else None
    )
    assert len(spots) > 60
    width, height = float(page.mediabox.width), float(page.mediabox.height)
    assert all(20 < x < width - 20 and 20 < y < height - 20 for x, y in spots)


def test_names_that_bite_are_only_names(tmp_path: Path) -> None:
    text = text_of(read(small(), tmp_path))
    assert "Willow <Flat> & Sons" in text
    assert "<script>wind-3" in text


def test_the_same_run_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_crew_sheet(full(), tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


START = pd.Timestamp("2026-07-16 01:00", tz="America/Los_Angeles")


def with_sets(content: Content, valve: str, starts: list[pd.Timestamp]) -> Content:
    sets = [(valve, start, start + dt.timedelta(hours=3)) for start in starts]
    return dataclasses.replace(content, timetable=pd.DataFrame(sets, columns=["valve", "start", "end"]))


def test_sets_at_the_same_hours_day_after_day_are_told_once(tmp_path: Path) -> None:
    content = full()
    nights = [START + pd.Timedelta(days=d) for d in (0, 1, 2, 3, 5, 6)]
    text = text_of(read(with_sets(content, content.valves["valve"].iloc[0], nights), tmp_path))
    assert "Jul 16 - Jul 19 \N{MULTIPLICATION SIGN}4:\n01:00 - 04:00\n" in text
    assert "Jul 21 01:00 - Jul 21 04:00" in text
    assert "Jul 22 01:00 - Jul 22 04:00" in text


def test_clock_changes_do_not_part_what_the_clock_shows_alike(tmp_path: Path) -> None:
    content = full()
    nights = [
        pd.Timestamp(f"2026-{day} 20:00", tz="America/Los_Angeles") for day in ("10-31", "11-01", "11-02")
    ]
    text = text_of(read(with_sets(content, content.valves["valve"].iloc[0], nights), tmp_path))
    assert "Oct 31 - Nov 2 \N{MULTIPLICATION SIGN}3:\n20:00 - 23:00\n" in text


@pytest.mark.parametrize("count", [4, 9, 24])
def test_every_set_is_told_and_rows_stay_on_the_page(count: int, tmp_path: Path) -> None:
    content = ranch([(f"Q{i:02d}", "prune", 5) for i in range(4)], across=2)
    valves = content.valves["valve"].tolist()
    plan = pd.DataFrame({"valve": valves, "hours": 3.0 * count, "m3": 10.0})
    starts = [START + pd.Timedelta(days=d, minutes=17 * d) for d in range(count)]
    tables = [with_sets(content, valve, starts).timetable for valve in valves]
    reader = read(dataclasses.replace(content, water_plan=plan, timetable=pd.concat(tables)), tmp_path)
    text = text_of(reader)
    assert text.count("Jul 16 01:00 - Jul 16 04:00") == len(valves)
    last = starts[-1]
    assert text.count(f"{last:%b} {last.day} {last:%H:%M} - ") == len(valves)
    assert Counter(re.findall(r"Q\d\d-\d+", text)) == Counter(valves)
    lowest = []
    reader.pages[0].extract_text(visitor_text=lambda t, _c, m, _f, _s: lowest.append((m[5], t)))
    cautions = max(y for y, t in lowest if "Heat:" in t)
    assert min(y for y, t in lowest if " - Jul " in t or " - Aug " in t) > cautions


def test_valves_to_look_at_are_marked_in_their_row_and_listed_in_both_languages(tmp_path: Path) -> None:
    """The mark follows the valve's name in its row, and an exclamation mark where a valve stays closed."""
    content = full()
    plan = content.water_plan
    looked = [
        next(v for v in plan.loc[(plan["hours"] > 0) == opened, "valve"] if "<" not in v)
        for opened in (True, False)
    ]
    plan = plan.assign(inspect=[("drier_than_block",) if valve in looked else () for valve in plan["valve"]])
    text = text_of(read(dataclasses.replace(content, water_plan=plan), tmp_path))
    assert (text.count("! look first"), text.count("! revisar antes")) == (1, 1)
    lines = text.splitlines()
    mark = lines.index("! look first")
    assert looked[0] in " ".join(lines[mark : mark + 4])
    assert f"{looked[1]} !" in text
    for said in ("Look before you open (marked !): ", "Revise antes de abrir (marcadas con !): "):
        assert f"{said}{', '.join(looked)}. " in " ".join(text.split())


def test_without_valves_to_look_at_nothing_is_marked(tmp_path: Path) -> None:
    text = text_of(read(full(), tmp_path))
    assert "look first" not in text
    assert "Look before" not in text


def test_a_guessed_system_is_marked_in_both_languages(tmp_path: Path) -> None:
    note = Note.of("system_assumed", "warning", blocks=["North"], count=1)
    content = dataclasses.replace(full(), notes=(note,))
    text = " ".join(text_of(read(content, tmp_path)).split())
    for language in content.ranch.languages:
        assert sentence(note, Words(language))[:40] in text
    assert "micro-sprinklers were taken" not in " ".join(text_of(read(full(), tmp_path)).split())
