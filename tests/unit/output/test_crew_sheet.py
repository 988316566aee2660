"""The crew sheet, read back by a PDF library that had no part in writing it."""

import dataclasses
import datetime as dt
import re
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pypdf
import pytest
from helpers.drawn_content import LONG, ZONE, full, large, ranch, small, unmeasured

from stressmap.core.notes import Note
from stressmap.core.set_codes import set_codes
from stressmap.output.paper.crew_sheet import write_crew_sheet
from stressmap.output.paper.sheet_parts import MOST, map_pages, parts_of
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content

POINTS_PER_MM = 72 / 25.4
START = pd.Timestamp("2026-07-16 20:00", tz=ZONE)
CLOCK = re.compile(r"\d\d:\d\d")


def read(content: Content, folder: Path) -> pypdf.PdfReader:
    path = folder / "crew_sheet.pdf"
    write_crew_sheet(content, path)
    return pypdf.PdfReader(path)


def text_of(reader: pypdf.PdfReader) -> str:
    return "\n".join(page.extract_text() for page in reader.pages)


def drawn(reader: pypdf.PdfReader, first: int = 1, last: int | None = None) -> list[str]:
    """Give what is written from a page on, in the order in which it is written."""
    found: list[str] = []
    for page in reader.pages[first:last]:
        page.extract_text(visitor_text=lambda text, *_: found.append(text.strip()))
    return [line for text in found for line in text.split("\n") if line.strip()]


def planned(content: Content, sets: list[tuple[str, pd.Timestamp, float]], **more: object) -> Content:
    """Give a run a plan of sets (valve, opening, hours); half of the valves have another pump."""
    hours = Counter[str]()
    for valve, _, length in sets:
        hours[valve] += length
    names = content.valves["valve"].tolist()
    plan = pd.DataFrame({"valve": names, "hours": [float(hours[name]) for name in names], "m3": 10.0})
    plan["status"] = np.where(plan["hours"] > 0, "watered", "dry")
    plan["limited_by"] = np.where(plan["hours"] > 0, None, "water")
    pumps = [f"Pump {1 + (names.index(valve) >= len(names) / 2)}" for valve, _, _ in sets]
    table = pd.DataFrame(
        {
            "pump": pumps,
            "valve": [valve for valve, _, _ in sets],
            "start": [start for _, start, _ in sets],
            "end": [start + pd.Timedelta(hours=length) for _, start, length in sets],
            "mm": 12.4,
            "flow_m3_h": 33.3,
        }
    )
    table["code"] = set_codes(list(zip(table["valve"], table["start"], strict=True)))
    return dataclasses.replace(content, water_plan=plan, timetable=table, **more)


def nights(names: list[str], count: int) -> list[tuple[str, pd.Timestamp, float]]:
    """Open each valve on so many evenings, those of a night half an hour apart."""
    return [
        (name, START + pd.Timedelta(days=night, minutes=30 * (place % 6)), 6.5)
        for night in range(count)
        for place, name in enumerate(names)
    ]


@pytest.fixture
def week() -> Content:
    content = ranch([(f"Q{i:02d}", "prune", 5) for i in range(4)], across=2)
    return planned(content, nights(content.valves["valve"].tolist()[:14], 3))


def test_every_set_is_opened_and_closed_once_with_its_code(week: Content, tmp_path: Path) -> None:
    said = drawn(read(week, tmp_path))
    assert Counter(code for code in said if code in set(week.timetable["code"])) == Counter(
        dict.fromkeys(week.timetable["code"], 2)
    )
    valves = Counter(name for name in said if re.fullmatch(r"Q\d\d-\d", name))
    assert valves == Counter({name: 2 * n for name, n in Counter(week.timetable["valve"]).items()})
    assert said.count("OPEN") == said.count("ABRIR") == len(week.timetable)


def test_every_closing_has_its_hour_and_its_box_stands_below_the_others(
    week: Content, tmp_path: Path
) -> None:
    """Many of them close at one moment; boxes are squares that stand in one place of each of two columns."""
    reader = read(week, tmp_path)
    said = drawn(reader)
    ends = Counter(f"{end:%H:%M}" for end in week.timetable["end"])
    assert max(ends.values()) > 3
    assert said.count("CLOSE / CERRAR") == len(week.timetable)
    assert Counter(text for text, after in pairwise(said) if after == "CLOSE / CERRAR") == ends
    boxes = re.findall(rb"([\d.]+) [\d.]+ 11\.0\d+ -11\.0\d+ re", reader.pages[1].get_contents().get_data())
    assert len(boxes) > 50
    assert len(set(boxes)) == 2


def test_it_is_in_the_order_of_the_clock_by_day_and_pump(week: Content, tmp_path: Path) -> None:
    """16 July 2026 is a Thursday; what runs over midnight is closed on the day after."""
    said = drawn(read(week, tmp_path))
    heads = [text for text in said if text.startswith("Pump ")]
    days = (
        "Thu Jul 16 / jue 16 jul",
        "Fri Jul 17 / vie 17 jul",
        "Sat Jul 18 / sáb 18 jul",
        "Sun Jul 19 / dom 19 jul",
    )
    assert list(dict.fromkeys(heads)) == [f"Pump {n} · {day}" for day in days for n in (1, 2)]
    clocks: dict[str, list[str]] = {}
    head = ""
    for text in said:
        head = text if text in heads else head
        if CLOCK.fullmatch(text):
            clocks.setdefault(head, []).append(text)
    assert all(one <= other for told in clocks.values() for one, other in pairwise(told))
    first = week.timetable["start"].min()
    assert clocks[heads[0]][0] == f"{first:%H:%M}"


def test_depth_and_flow_have_no_more_digits_than_are_known(week: Content, tmp_path: Path) -> None:
    """12.4 mm / 25.4 = 0.488 in; 33.3 m3/h are 146.6 gpm of 0.2271 m3/h; of each two digits."""
    assert "0.49 in · 150 gpm" in drawn(read(week, tmp_path))
    metric = dataclasses.replace(week, ranch=week.ranch.model_copy(update={"units": "metric"}))
    assert "12 mm · 33 m³/h" in drawn(read(metric, tmp_path))


def test_what_stays_closed_stands_on_the_first_page_with_the_reason(week: Content, tmp_path: Path) -> None:
    page = " ".join(read(week, tmp_path).pages[0].extract_text().split())
    dry = sorted(week.water_plan.loc[week.water_plan["hours"] == 0, "valve"])
    told = page.partition("No water this time: leave closed / Sin agua esta vez: dejar cerradas (6)")[2]
    assert "Not enough water / No alcanza el agua:" in told
    whole = set(re.findall(r"(Q\d\d) \(all 5\)", told))
    assert all(name in told or name[:3] in whole for name in dry)


@pytest.mark.parametrize("dry", [0, 7, 200])
def test_every_valve_has_its_place_however_many_get_no_water(dry: int, tmp_path: Path) -> None:
    content = ranch([(f"Q{i:02d}", "prune", 10) for i in range(20)], across=5)
    names = content.valves["valve"].tolist()
    content = planned(content, nights(names[dry:], 1))
    reader = read(content, tmp_path)
    rows = len(reader.pages) - map_pages(parts_of(content))
    whole = " ".join(text_of(reader).split())
    closed = whole.partition(f"dejar cerradas ({dry})")[2] if dry else ""
    blocks = set(re.findall(r"(Q\d\d) \(all 10\)", closed))
    opened = Counter(name for name in drawn(reader, 1, rows) if re.fullmatch(r"Q\d\d-\d+", name))
    assert all(opened[name] == 2 for name in names[dry:])
    assert all(name[:3] in blocks or re.search(rf"{name}\b", closed) for name in names[:dry])


def test_without_a_plan_the_urgent_have_lines_to_write_on_and_the_rest_is_listed(tmp_path: Path) -> None:
    content = ranch([(f"Q{i:02d}", "prune", 5) for i in range(9)], across=3)
    said = drawn(read(content, tmp_path))
    names = [name for name in said if re.fullmatch(r"Q\d\d-\d", name)]
    assert names == content.valves["valve"].tolist()
    urgent = int((content.valves["priority"] <= 2).sum())
    assert 0 < urgent < len(names)
    assert said.count("Hours / Horas") == said.count("Open / Abrir") == said.count("Close / Cerrar") == urgent
    assert "No water" not in text_of(read(content, tmp_path))


def test_all_valves_and_blocks_are_named_on_the_first_page(tmp_path: Path) -> None:
    reader = read(ranch([(f"Q{i}", "prune", 4) for i in range(6)], across=3), tmp_path)
    page = reader.pages[0].extract_text()
    assert all(f"Q{block}-{valve}" in page for block in range(6) for valve in range(1, 5))
    assert all(f"Q{block}" in page for block in range(6))


def test_every_priority_has_a_pattern_of_its_own_in_the_legend(tmp_path: Path) -> None:
    for content, bare in ((small(), False), (unmeasured(small()), True)):
        page = read(content, tmp_path).pages[0].extract_text()
        assert all(f"P{n} " in page for n in (1, 2, 3, 4))
        assert ("not measured" in page) == bare


@pytest.mark.parametrize(("plan", "pages"), [("with", 4), ("without", 3)])
def test_sixty_valves_take_few_pages(plan: str, pages: int, tmp_path: Path) -> None:
    """With a week's plan two sets for most valves, 90 in all; without one."""
    content = ranch([(f"Q{i:02d}", "prune", 5) for i in range(12)], across=4)
    names = content.valves["valve"].tolist()
    sets = nights(names[:12], 7) + nights(names[30:36], 1)
    assert len(read(planned(content, sets) if plan == "with" else content, tmp_path).pages) <= pages


def test_fifteen_hundred_valves_without_a_plan_take_few_pages(tmp_path: Path) -> None:
    assert len(read(large(), tmp_path).pages) < 40


def test_fifteen_hundred_valves_with_two_thousand_seven_hundred_sets_take_few_pages(tmp_path: Path) -> None:
    """1.8 sets a valve over seven nights, of five to eleven hours; what is opened at a moment is together."""
    content = large()
    names = content.valves["valve"].tolist()
    sets = [
        (names[k % 1500], START + pd.Timedelta(days=k * 7 // 2700, minutes=30 * (k % 5)), 5 + 0.5 * (k % 13))
        for k in range(2700)
    ]
    content = planned(content, sets)
    assert len(read(content, tmp_path).pages) < 60


def test_a_long_sheet_has_openings_and_closings_of_a_moment_below_one_heading(tmp_path: Path) -> None:
    content = ranch([(f"Q{i:02d}", "prune", 8) for i in range(5)], across=5)
    content = planned(content, nights(content.valves["valve"].tolist(), 4))
    reader = read(content, tmp_path)
    said = drawn(reader)
    codes = set(content.timetable["code"])
    assert Counter(text for text in said if text in codes) == Counter(dict.fromkeys(codes, 2))
    for moment, word in (("start", "OPEN / ABRIR"), ("end", "CLOSE / CERRAR")):
        together = Counter(zip(content.timetable["pump"], content.timetable[moment], strict=True))
        heads = {(f"{when:%H:%M}", f"{word} ({count})") for (_, when), count in together.items()}
        assert len(heads) > 5
        assert heads <= set(pairwise(said))
    sizes: list[float] = []
    reader.pages[1].extract_text(
        visitor_text=lambda text, *look: sizes.append(look[-1]) if text.strip() else None
    )
    assert min(sizes) >= 8.95


def test_parts_of_a_large_ranch_hold_each_block_once_and_few_enough_valves() -> None:
    content = large()
    content = planned(content, nights(content.valves["valve"].tolist()[:3], 1))
    parts = parts_of(content)
    assert sorted(name for part in parts for name in part) == sorted(content.blocks["block"])
    count = content.valves["block"].value_counts()
    assert max(count[part].sum() for part in parts) <= MOST
    assert parts_of(small()) == []


@pytest.mark.parametrize("languages", [("en",), ("es",), ("en", "es"), ("es", "en")])
def test_it_speaks_the_languages_set(languages, week: Content, tmp_path: Path) -> None:
    content = dataclasses.replace(week, ranch=week.ranch.model_copy(update={"languages": languages}))
    text = " ".join(text_of(read(content, tmp_path)).split())
    for language in ("en", "es"):
        words = Words(language)
        told = [
            words(f"sheet.{key}") for key in ("title", "leak", "blocked", "no_pressure", "call", "no_water")
        ]
        told += [part for n in (1, 2, 3) for part in words(f"sheet.caution_{n}").split(". ")]
        told += [words("sheet.close").upper(), words("sheet.write_number")]
        assert [said in text for said in told] == [language in languages] * len(told)


def test_who_to_call_is_written_or_left_to_write(tmp_path: Path) -> None:
    content = small()
    named = content.ranch.model_copy(update={"contact": "Office 555 0100"})
    assert "Who to call / A quién llamar: Office 555 0100" in text_of(
        read(dataclasses.replace(content, ranch=named), tmp_path)
    )
    assert "Who to call / A quién llamar:\n" in text_of(read(content, tmp_path))


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


def test_nothing_runs_off_the_paper_and_no_type_is_small(week: Content, tmp_path: Path) -> None:
    """Nine points at least, in a column that is 94 mm wide: read in the sun, common practice, no source."""
    for page in read(week, tmp_path).pages:
        spots: list[tuple[float, float, float]] = []
        page.extract_text(
            visitor_text=lambda text, _cm, tm, _font, size, seen=spots: (
                seen.append((tm[4], tm[5], size)) if text.strip() else None
            )
        )
        assert len(spots) > 50
        width, height = float(page.mediabox.width), float(page.mediabox.height)
        assert all(20 < x < width - 20 and 20 < y < height - 20 for x, y, _ in spots)
        assert min(size for _, _, size in spots) >= 8.95


def test_long_names_are_told_in_full(tmp_path: Path) -> None:
    content = small()
    names = content.valves["valve"].tolist()
    said = drawn(read(planned(content, nights(names, 1)), tmp_path))
    assert LONG in " ".join(said)
    assert "Willow <Flat> & Sons" in text_of(read(content, tmp_path))
    assert "<script>wind-3" in text_of(read(content, tmp_path))


def test_the_same_run_gives_the_same_bytes(week: Content, tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        write_crew_sheet(week, tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_the_clock_of_the_ranch_holds_over_its_change(tmp_path: Path) -> None:
    """In California the clock goes back on 1 November 2026 at 2:00: seven hours from 20:00 end at 2:00."""
    content = small()
    start = pd.Timestamp("2026-10-31 20:00", tz=ZONE)
    said = drawn(read(planned(content, [(content.valves["valve"].iloc[0], start, 7.0)]), tmp_path))
    assert [text for text in said if CLOCK.fullmatch(text)] == ["20:00", "02:00"]


def test_valves_to_look_at_say_what_to_look_at(tmp_path: Path) -> None:
    """In full at the first opening, in short at the next; an exclamation mark where a valve stays closed."""
    content = small()
    names = [name for name in content.valves["valve"] if "<" not in name]
    content = planned(content, nights(names[:2], 2))
    plan = content.water_plan
    looked = {names[0]: ("not_relieved",), names[-1]: ("drier_than_block",)}
    plan = plan.assign(inspect=[looked.get(valve, ()) for valve in plan["valve"]])
    reader = read(dataclasses.replace(content, water_plan=plan), tmp_path)
    said = drawn(reader)
    for language in content.ranch.languages:
        words = Words(language)
        assert said.count(f"! {words('look.not_relieved')}") == said.count(f"! {words('look.again')}") == 1
        assert words("look.drier_than_block") not in " ".join(said)
        page = " ".join(reader.pages[0].extract_text().split())
        assert words("sheet.look_list", valves=names[0]) in page
        assert words("sheet.look_closed") in page
    assert f"{names[-1]}!" in reader.pages[0].extract_text()


@pytest.mark.parametrize("why", ["drier_than_block", "not_relieved", "witnesses_apart", "trouble_reported"])
def test_every_reason_to_look_has_words(why: str) -> None:
    assert len({Words(language).known("look", why) for language in ("en", "es")} | {why}) == 3


def test_without_valves_to_look_at_nothing_is_marked(week: Content, tmp_path: Path) -> None:
    text = text_of(read(week, tmp_path))
    assert "Look" not in text
    assert "!" not in text


def test_pulses_are_told_with_their_opening(week: Content, tmp_path: Path) -> None:
    pulsed = week.timetable["valve"].iloc[0]
    on = week.timetable["valve"].eq(pulsed)
    table = week.timetable.assign(
        pulse_on_min=np.where(on, 22.0, np.nan), pulse_off_min=np.where(on, 8.0, np.nan)
    )
    said = drawn(read(dataclasses.replace(week, timetable=table), tmp_path))
    assert said.count("By timer: 22 min open, 8 min closed. No timer, don't open.") == int(on.sum())
    assert said.count("Con temporizador: 22 min abierta, 8 min cerrada. Sin él no abra.") == int(on.sum())


def test_a_guessed_system_is_said_in_both_languages(tmp_path: Path) -> None:
    note = Note.of("system_assumed", "warning", blocks=["North"], count=1)
    content = dataclasses.replace(full(), notes=(note,))
    text = " ".join(text_of(read(content, tmp_path)).split())
    for language in content.ranch.languages:
        assert sentence(note, Words(language))[:40] in text
    assert "micro-sprinklers were taken" not in " ".join(text_of(read(full(), tmp_path)).split())


def test_days_since_water_and_when_it_is_due_have_a_place(tmp_path: Path) -> None:
    """Last watered on 6 July, the visit ended on 15 July; figures of the season go first."""
    content = small()
    assert "9 d / ____" in drawn(read(content, tmp_path))
    valves = content.valves.assign(days_since_water=4.0, due="2026-07-20")
    assert "4 d / Jul 20" in drawn(read(dataclasses.replace(content, valves=valves), tmp_path))
    bare = content.valves.assign(last_irrigated=None)
    assert not any(
        " d / " in text for text in drawn(read(dataclasses.replace(content, valves=bare), tmp_path))
    )


def test_a_plan_without_a_set_leaves_one_page(tmp_path: Path) -> None:
    content = small()
    reader = read(planned(content, []), tmp_path)
    assert len(reader.pages) == 1
    assert "leave closed" in reader.pages[0].extract_text()


def test_the_day_is_that_of_the_visit_where_nothing_is_planned(tmp_path: Path) -> None:
    content = small()
    assert content.visit[0] == dt.date(2026, 7, 14)
    assert "Visit / Visita: Jul 14, 2026 to Jul 15, 2026 / " in text_of(read(content, tmp_path))
