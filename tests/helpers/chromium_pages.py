"""A real Chromium, cut off from every network, that tells what the page asked for and complained about."""

import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

from helpers.paths import ASSETS

PHONE = (390, 844)
DESK = (1280, 800)
ARGUMENTS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage",
    "--disable-default-apps", "--disable-extensions", "--no-default-browser-check",
    "--force-color-profile=srgb",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--hide-scrollbars",
)  # fmt: skip


def programs() -> tuple[str, str]:
    """Find the browser and its driver; their absence skips, but fails where CI is set."""
    browser = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    driver = shutil.which("chromedriver")
    if browser and driver:
        return browser, driver
    reason = "chromium and chromedriver are not installed, so the map cannot be looked at in a real browser"
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


class Page:
    """One open page and what a test asks of it."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver

    def open(
        self, path: Path, size: tuple[int, int] = PHONE, *, dark: bool = False, touch: bool = False
    ) -> None:
        self.driver.get_log("performance")
        self.driver.get_log("browser")
        self.cdp("Emulation.setEmulatedMedia", features=[
            {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        ])  # fmt: skip
        self.cdp("Emulation.setTouchEmulationEnabled", enabled=touch)
        self.size(*size)
        self.driver.get(path.as_uri())

    def violations(self) -> list[str]:
        """What axe-core 4.14 (assets/axe, Mozilla Public License 2.0) finds."""
        if not self.js("return 'axe' in window"):
            self.js((ASSETS / "axe" / "axe.min.js").read_text(encoding="utf-8"))
        return self.driver.execute_async_script(
            "const done = arguments[0];"
            "axe.run(document, {resultTypes: ['violations']})"
            ".then(r => done(r.violations.map(v => v.id + ': ' + v.nodes[0].html)))"
        )

    def size(self, width: int, height: int, scale: float = 1) -> None:
        self.cdp(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=scale, mobile=False,
        )  # fmt: skip

    def cdp(self, command: str, **parameters: Any) -> Any:
        return self.driver.execute_cdp_cmd(command, parameters)

    def network(self, *, on: bool) -> None:
        speed = -1 if on else 0
        self.cdp(
            "Network.emulateNetworkConditions",
            offline=not on, latency=0, downloadThroughput=speed, uploadThroughput=speed,
        )  # fmt: skip

    def js(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def asked_for(self) -> list[str]:
        """Every address asked for since the page was opened, the page itself and embedded data aside.

        What the browser's own start page asks for may arrive late in the log; it is not the page's.
        """
        sent = []
        for entry in self.driver.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            asked = message["params"]
            if message["method"] == "Network.requestWillBeSent" and not asked["documentURL"].startswith(
                "chrome://"
            ):
                sent.append(asked["request"]["url"])
        assert any(url.startswith("file:") for url in sent), "the log holds not even the page itself"
        here = self.driver.current_url.split("#")[0]
        return [url for url in sent if url.split("#")[0] != here and not url.startswith("data:")]

    def complaints(self) -> list[str]:
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def text(self, selector: str) -> str:
        return self.js("return document.querySelector(arguments[0]).innerText", selector)

    def tap(self, x: float, y: float) -> None:
        for kind in ("mousePressed", "mouseReleased"):
            self.cdp("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def press(self, key: str, code: int, text: str = "") -> None:
        more = {"text": text} if text else {}
        self.cdp("Input.dispatchKeyEvent", type="keyDown", key=key, windowsVirtualKeyCode=code, **more)
        self.cdp("Input.dispatchKeyEvent", type="keyUp", key=key, windowsVirtualKeyCode=code)


@contextmanager
def chromium() -> Iterator[Page]:
    with tempfile.TemporaryDirectory(prefix="stressmap-browser-", ignore_cleanup_errors=True) as profile:
        page = started(Path(profile))
        try:
            page.cdp("Network.enable")
            page.network(on=False)
            yield page
        finally:
            page.driver.quit()


def started(profile: Path, *more: str) -> Page:
    """Start it with a profile of its own; later arguments stand before earlier ones."""
    browser, driver_path = programs()
    options = Options()
    options.binary_location = browser
    for argument in (*ARGUMENTS, f"--user-data-dir={profile}", *more):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return Page(webdriver.Chrome(options=options, service=Service(driver_path)))
