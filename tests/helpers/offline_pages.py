"""Find what built pages would fetch from a network: ``python tests/helpers/offline_pages.py FOLDER``."""

from __future__ import annotations

import re
import sys
from html.parser import HTMLParser
from pathlib import Path

ADDRESS = re.compile(r"\s*(?:https?:|wss?:|ftp:)?//", re.IGNORECASE)
IN_STYLE = re.compile(r"""(?:url\(|@import)\s*["']?((?:https?:)?//[^"')\s;]+)""", re.IGNORECASE)
FETCHING = {"src", "srcset", "data", "poster", "background", "action", "manifest"}
"""Attributes whose address is fetched, whatever the element; ``href`` is too, but for a link in prose."""


class _Fetched(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._inside = tag
        for name, value in attrs:
            fetched = name in FETCHING or (name.endswith("href") and tag != "a")
            if value and fetched and ADDRESS.match(value):
                self.found.append(f"<{tag} {name}={value}>")
            elif value and name == "style":
                self.found += IN_STYLE.findall(value)

    def handle_data(self, data: str) -> None:
        if self._inside == "style":
            self.found += IN_STYLE.findall(data)


def fetched_by_page(text: str) -> list[str]:
    page = _Fetched()
    page.feed(text)
    return page.found


def fetched_by(folder: Path) -> list[str]:
    found = []
    for path in sorted(folder.rglob("*")):
        if path.suffix in {".html", ".svg"}:
            addresses = fetched_by_page(path.read_text(encoding="utf-8"))
        elif path.suffix == ".css":
            addresses = IN_STYLE.findall(path.read_text(encoding="utf-8"))
        else:
            continue
        found += [f"{path.relative_to(folder)}: {address}" for address in addresses]
    return found


if __name__ == "__main__":
    where = Path(sys.argv[1])
    problems = fetched_by(where)
    sys.stderr.write("".join(f"{problem}\n" for problem in problems))
    pages = len(list(where.rglob("*.html")))
    sys.stdout.write(f"{pages} pages, {len(problems)} network addresses in what they fetch\n")
    sys.exit(1 if problems or not pages else 0)
