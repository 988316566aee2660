"""The field form on a phone: installed once, then without a network, through reloads and a killed browser."""

from __future__ import annotations

import base64
import datetime as dt
import functools
import io
import json
import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from helpers import small_ranch
from helpers.chromium_pages import PHONE, Page, started
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.common.by import By
from selenium.webdriver.support.wait import WebDriverWait

from stressmap.core import settings
from stressmap.core.sources import InputSource
from stressmap.intake.photographed_codes import tables_in
from stressmap.intake.readings import read_readings
from stressmap.jobs.form import form

ZONE = dt.timezone(dt.timedelta(hours=-7))
START = dt.datetime(2026, 7, 14, 13, 5, tzinfo=ZONE)
FINGER_PX = 56
ONLY_HERE = "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE localhost"
CLOCK = """
const real = Date.now.bind(Date), began = real();
window.moved = 0;
Date.now = () => %d + (real() - began) + window.moved;
const watch = performance.now.bind(performance);
let steps = 0;
performance.now = () => watch() + 1000 * (window.hasty ? steps : (steps += 1));
"""
"""The clock is the test's, ``moved`` [ms] sets it forward; taps that are not ``hasty`` are a second apart."""


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@contextmanager
def served(folder: Path, port: int = 0) -> Iterator[int]:
    """Serve a folder on this machine alone; afterwards nobody answers there."""
    server = ThreadingHTTPServer(("127.0.0.1", port), functools.partial(_Quiet, directory=str(folder)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@pytest.fixture(scope="module")
def ranch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_ranch.write(tmp_path_factory.mktemp("ranch"))


@pytest.fixture(scope="module")
def folder(ranch: Path) -> Path:
    plan = ranch.parent / "timetable.csv"
    plan.write_text(
        "code,valve,block,start,end\n"
        "B2C3D,N1,North Shed,2026-07-14 12:00,2026-07-14 20:00\n"
        "K3T7P,S2,South Shed,2026-07-14 14:00,2026-07-14 22:00\n"
    )
    made = ranch.parent / "form"
    form(ranch, made, timetable=plan)
    return made


class Phone:
    """A browser in a hand: its clock and place are the test's, its taps are counted."""

    def __init__(self, profile: Path, port: int, at: dt.datetime = START) -> None:
        self.profile, self.taps = profile, 0
        self.page: Page = started(profile, ONLY_HERE)
        self.page.size(*PHONE)
        self.address = f"http://localhost:{port}/"
        self.page.cdp("Browser.grantPermissions", permissions=["geolocation"], origin=self.address)
        script = CLOCK % round(at.timestamp() * 1000)
        self.page.cdp("Page.addScriptToEvaluateOnNewDocument", source=script)

    def stand_at(self, tree: dict[str, Any], accuracy: float = 4) -> None:
        self.page.cdp(
            "Emulation.setGeolocationOverride",
            latitude=tree["lat"], longitude=tree["lon"], accuracy=accuracy,
        )  # fmt: skip

    def open(self) -> None:
        self.page.driver.get(self.address)
        self.wait("document.querySelector('#tabs button')")

    def wait(self, expression: str) -> Any:
        return WebDriverWait(self.page.driver, 20).until(lambda _: self.page.js(f"return {expression}"))

    def tap(self, selector: str, text: str = "") -> None:
        """Tap what is shown, once; the next tap waits until it is there."""
        all_of = f"[...document.querySelectorAll({json.dumps(selector)})]"
        found = f"{all_of}.find(e => e.innerText.includes({json.dumps(text)}) && !e.disabled)"
        self.wait(found)
        self.page.js(f"{found}.scrollIntoView({{block: 'center'}})")
        x, y = self.page.js(
            f"const r = {found}.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]"
        )
        self.page.tap(x, y)
        self.taps += 1

    def type_number(self, text: str) -> None:
        for key in text:
            self.tap(f'[data-key="{key}"]')

    def text(self, selector: str = "#screen") -> str:
        return self.page.text(selector)

    def says(self, text: str, selector: str = "#screen") -> bool:
        return bool(
            self.wait(
                f"document.querySelector({json.dumps(selector)}).innerText.includes({json.dumps(text)})"
            )
        )

    def later(self, minutes: float) -> None:
        self.page.js("window.moved += arguments[0]", minutes * 60_000)

    def start_day(self) -> None:
        if not self.page.driver.find_elements(By.ID, "day-crew"):
            return
        self.page.js("document.querySelector('#day-crew').value = 'Ana'")
        self.page.js("document.querySelector('#day-chamber').value = 'K1'")
        self.tap("#screen form .main")
        self.wait("!document.querySelector('#day-crew')")

    def kill(self) -> None:
        """End it as a dead battery does."""
        os.kill(int(str((self.profile / "SingletonLock").readlink()).rsplit("-", 1)[1]), signal.SIGKILL)
        try:
            self.page.driver.quit()
        except WebDriverException:
            self.page.driver.service.stop()


def trees(folder: Path) -> list[dict[str, Any]]:
    return json.loads((folder / "data.json").read_text(encoding="utf-8"))["trees"]


BAG, READ = "#screen .rows .main[aria-label^='Bag on']", "#screen .bag .main"


def test_all_is_there_without_network_after_a_reload_a_killed_browser_and_a_renewed_form(
    ranch: Path, folder: Path, tmp_path: Path
) -> None:
    tree = trees(folder)[0]
    with served(folder) as port:
        phone = Phone(tmp_path / "profile", port)
        phone.stand_at(tree)
        phone.open()
        state = phone.page.driver.execute_async_script(
            "const done = arguments[0]; navigator.serviceWorker.ready.then(r => done(r.active.scriptURL))"
        )
        assert state == f"{phone.address}service_worker.js"
        phone.wait("navigator.serviceWorker.controller")
    phone.page.network(on=False)
    phone.open()
    phone.start_day()
    phone.says("North Shed" if tree["block"] == "North Shed" else "South Shed", "#where")
    phone.taps = 0
    phone.tap(BAG, "Bag on")
    phone.says("bag on at 13:05", "#said")
    phone.tap(BAG, "Bag on")
    phone.wait("document.querySelectorAll('#screen .bag').length === 2")
    phone.taps -= 1  # the second tree's
    assert phone.page.js("return document.querySelector('.bag .left').innerText") in {"10:00", "9:59", "9:58"}
    phone.later(12)
    phone.says("ready")
    phone.tap(READ, "Read")
    phone.type_number("13.5")
    phone.tap("#save")
    phone.says("13.5 bar stored", "#said")
    assert phone.taps <= 8
    phone.kill()

    phone = Phone(tmp_path / "profile", port, START + dt.timedelta(minutes=14))
    try:
        phone.open()  # Nobody answers at the address any more.
        phone.says("bag on 13:05")
        assert "ready" in phone.text()
        phone.tap("#done summary")
        phone.says("13.5 bar")
        assert phone.page.js("return document.querySelectorAll('#screen .bag').length") == 1
        assert phone.text("[data-tab=hand_over] .badge") == "1"
        stops = tmp_path / "round.csv"
        stops.write_text("action,clock,tree_id,block\nbag,12:50,T9,South Shed\nread,13:10,T9,South Shed\n")
        form(ranch, tmp_path / "renewed", round_file=stops)
        with served(tmp_path / "renewed", port):
            phone.open()
            phone.says("A newer form has arrived", "#said")
        phone.tap("#undo")
        phone.says("Next in the round")
        phone.says("bag 12:50, read 13:10")
        phone.says("1 tree read today")
    finally:
        phone.page.driver.quit()


@pytest.fixture(scope="module")
def phone(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Phone]:
    with served(folder) as port:
        held = Phone(tmp_path_factory.mktemp("phone"), port)
        try:
            held.stand_at(trees(folder)[0])
            held.open()
            held.start_day()
            yield held
        finally:
            held.page.driver.quit()


def home(phone: Phone) -> None:
    phone.open()
    phone.start_day()
    phone.wait("document.querySelector('#where').innerText.includes('Shed')")


def read_next(phone: Phone, number: str) -> None:
    phone.tap(BAG, "Bag on")
    phone.wait("document.querySelector('#said').innerText.includes('bag on at')")
    phone.later(11)
    phone.tap(READ, "Read")
    phone.type_number(number)
    phone.tap("#save")


def handed(phone: Phone, *, everything: bool = False) -> dict[str, str]:
    """Hand over by a share sheet of the test's; give the files by what they hold."""
    home(phone)
    phone.page.js(
        "window.shared = null; navigator.canShare = () => true;"
        "navigator.share = async ({files}) => {"
        " window.shared = await Promise.all(files.map(async f => [f.name, f.type, await f.text()])); }"
    )
    phone.tap("[data-tab=hand_over]")
    if everything:
        phone.tap("#everything")
    phone.tap("#share")
    files = phone.wait("window.shared")
    phone.says("handed over", "#said")
    assert {kind for _, kind, _ in files} == {"text/csv"}
    return {name.split("_2026")[0]: text for name, _, text in files}


def test_what_is_handed_over_is_read_as_it_was_measured(phone: Phone, folder: Path, ranch: Path) -> None:
    home(phone)
    tree = trees(folder)[0]
    read_next(phone, "13.5")
    phone.says("stored", "#said")
    first = handed(phone)
    assert set(first) == {"readings"}
    home(phone)
    phone.tap("#done summary")
    phone.tap("#done .who")
    phone.tap("#screen .choice button", "Second")
    phone.type_number("13.9")
    phone.tap("#save")
    phone.says("stored", "#said")
    second = handed(phone)
    again = handed(phone, everything=True)
    assert again["readings"] == second["readings"]
    one, other = (pd.read_csv(io.StringIO(files["readings"])) for files in (first, second))
    assert one["reading_id"].tolist() == other["reading_id"].tolist()
    assert one["version"].item() < other["version"].item()
    read = read_readings(
        InputSource.of_bytes(second["readings"].encode(), "r.csv"), settings.load(ranch)
    ).value
    (row,) = read.to_dict("records")
    assert (row["tree_id"], row["pressure_bar"], row["recheck_bar"]) == (tree["tree_id"], 13.5, 13.9)
    assert (row["crew"], row["chamber"], row["block"]) == ("Ana", "K1", tree["block"])
    assert (row["lon"], row["lat"], row["gps_accuracy_m"]) == (tree["lon"], tree["lat"], 4)
    assert row["bag_minutes"] == pytest.approx(11, abs=0.5)
    assert row["time"].tz_convert(ZONE).strftime("%Y-%m-%d %H") == "2026-07-14 13"


def test_it_warns_at_the_tree_and_never_refuses(phone: Phone) -> None:
    home(phone)
    read_next(phone, "40")
    phone.says("read again?")
    phone.tap("#read-again")
    phone.type_number("14")
    phone.tap("#save")
    phone.says("14.0 bar stored", "#said")
    phone.tap(BAG, "Bag on")
    phone.tap(READ, "Read")
    phone.says("Bag too short: 10 min are up at 13:")
    phone.type_number("14")
    phone.later(11)
    phone.wait("!document.querySelector('#doubts').innerText")
    phone.later(180)
    phone.tap("#save")
    phone.says("14.0 bar stored", "#said")
    phone.tap(BAG, "Bag on")
    phone.tap(READ, "Read")
    phone.says("Outside 13:00-15:00")
    phone.tap("#withdraw")
    phone.says("taken back", "#said")
    phone.tap("#undo")
    phone.says("In bags")
    phone.tap("#done summary")
    phone.tap("#done .who")
    phone.tap("#bag-again")
    phone.says("Read already today at", "#said")


def test_a_tree_not_in_the_list_is_added_in_two_taps_with_its_place(phone: Phone) -> None:
    home(phone)
    phone.taps = 0
    phone.tap("#new-tree")
    phone.tap("#add-tree")
    assert phone.taps == 2
    phone.says("N1: bag on at", "#said")
    home(phone)
    phone.says("N1")


def test_valve_times_by_the_clock_and_what_was_not_planned(phone: Phone) -> None:
    home(phone)
    phone.tap("[data-tab=valves]")
    phone.says("K3T7P")
    phone.tap("#screen .rows .main", "Opened")
    phone.says("N1 opened", "#said")
    phone.later(30)
    phone.tap("#screen .rows .main", "Closed")
    phone.says("N1 closed", "#said")
    phone.tap("#other-set")
    phone.tap("#screen .rows .main[aria-label='Opened S1']")
    phone.says("S1 opened", "#said")
    phone.tap("#screen .rows button.who", "S1")
    phone.tap("[data-trouble=leak]")
    phone.page.js("document.querySelector('#start-clock').value = '12:34'")
    phone.tap("#save-set")
    phone.says("open since 12:34")
    table = pd.read_csv(io.StringIO(handed(phone, everything=True)["valve_times"])).set_index("valve")
    assert table.loc["N1", "code"] == "B2C3D"
    opened, closed = (pd.Timestamp(table.loc["N1", name]) for name in ("start", "end"))
    assert (closed - opened).total_seconds() == pytest.approx(30 * 60, abs=60)
    assert table.loc["N1", "planned_start"] == "2026-07-14T12:00:00-07:00"
    assert table.loc["S1", ["start", "trouble"]].tolist() == ["2026-07-14T12:34:00-07:00", "leak"]
    assert table.loc["S1", ["code", "end"]].isna().all()


def test_what_the_phone_could_not_store_is_said_and_not_shown_as_done(phone: Phone) -> None:
    home(phone)
    bags = phone.page.js("return document.querySelectorAll('#screen .bag').length")
    phone.page.js(
        "IDBObjectStore.prototype.add = () => { throw new DOMException('full', 'QuotaExceededError'); }"
    )
    phone.tap(BAG, "Bag on")
    phone.says("NOT STORED (QuotaExceededError)", "#said")
    home(phone)
    assert phone.page.js("return document.querySelectorAll('#screen .bag').length") == bags


def test_a_glove_that_taps_twice_bags_one_tree(phone: Phone) -> None:
    home(phone)
    bags = phone.page.js("return document.querySelectorAll('#screen .bag').length")
    twice = f"const key = document.querySelector({json.dumps(BAG)}); key.click(); key.click()"
    phone.page.js(f"window.hasty = true; {twice}")
    phone.says("bag on at", "#said")
    assert phone.page.js("return document.querySelectorAll('#screen .bag').length") == bags + 1


def test_where_nothing_can_be_shared_files_are_saved_and_text_is_shown(phone: Phone, tmp_path: Path) -> None:
    home(phone)
    read_next(phone, "13")
    phone.says("stored", "#said")
    phone.page.js("navigator.canShare = undefined")
    phone.page.cdp("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(tmp_path))
    phone.tap("[data-tab=hand_over]")
    phone.tap("#files")
    phone.tap("a[download]", "readings_2026-07-14")
    WebDriverWait(phone.page.driver, 20).until(lambda _: list(tmp_path.glob("readings_2026-07-14_*.csv")))
    saved = next(tmp_path.glob("readings_*.csv")).read_text(encoding="utf-8")
    phone.tap("#screen .wide", "Not yet")
    phone.tap("#codes")
    phone.says("Code 1 of 1")
    picture = base64.b64decode(phone.page.cdp("Page.captureScreenshot", format="png")["data"])
    (table,) = tables_in(InputSource.of_bytes(picture, "screen.png"))
    assert table.filled().decode() == saved
    phone.tap("#codes-done")
    phone.tap("#screen .wide", "Not yet")
    phone.tap("#text")
    assert phone.wait("document.querySelector('#screen textarea').value") == saved
    assert ",13,,bar," in saved
    phone.tap("#arrived")
    phone.says("handed over", "#said")
    phone.wait("!document.querySelector('#screen #share, #screen #files')")


SCREENS = {
    "trees": [], "tree": ["#screen .rows .who:not(div)"], "new tree": ["#new-tree"], "reading": [READ],
    "note": [READ, "#note"], "doubt": [READ, "[data-key='9']", "[data-key='0']", "#save"], "day": ["#who"],
    "valves": ["[data-tab=valves]"], "set": ["[data-tab=valves]", "#screen .rows .who"],
    "another set": ["[data-tab=valves]", "#other-set"], "hand over": ["[data-tab=hand_over]"],
    "codes": ["[data-tab=hand_over]", "#codes"], "arrived": ["[data-tab=hand_over]", "#text"],
}  # fmt: skip


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_screen_can_be_read_pressed_and_spoken(phone: Phone, language: str) -> None:
    """What axe-core 4.14 (assets/axe, Mozilla Public License 2.0) finds, and keys smaller than a glove."""
    phone.page.js("localStorage.clear()")
    home(phone)
    phone.tap(BAG)
    phone.wait("document.querySelector('#screen .bag')")
    phone.page.js(f"localStorage.setItem('stressmap-form language', '{language}')")
    for name, taps in SCREENS.items():
        home(phone)
        for selector in taps:
            phone.tap(selector)
        assert phone.page.violations() == [], name
        small = phone.page.js(
            "return [...document.querySelectorAll('button, summary, input')]"
            ".map(e => [e.outerHTML, e.getBoundingClientRect()])"
            ".filter(([, r]) => r.width && Math.min(r.width, r.height) < arguments[0]).map(([html]) => html)",
            FINGER_PX,
        )
        assert small == [], name
        assert phone.page.js("return document.documentElement.scrollWidth") <= PHONE[0], name
    assert [told for told in phone.page.complaints() if "favicon" not in told] == []
