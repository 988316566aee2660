"""The paper of a measuring round, read back by a PDF library that had no part in writing it."""

from __future__ import annotations

import re

import pypdf

CLOCK = re.compile(r"\d\d:\d\d")


def written(reader: pypdf.PdfReader) -> list[str]:
    """Give what is written, in the order in which it is written."""
    found: list[str] = []
    for page in reader.pages:
        page.extract_text(visitor_text=lambda text, *_: found.append(text.strip()))
    return [line for text in found for line in text.split("\n") if line.strip()]


def actions(reader: pypdf.PdfReader) -> list[tuple[str, str, int]]:
    """Give clock, word and stop of every row: a clock is followed by the words and the number."""
    lines, found = written(reader), []
    for at, line in enumerate(lines):
        if CLOCK.fullmatch(line):
            number = next(int(text) for text in lines[at + 2 : at + 4] if text.isdigit())
            found.append((line, lines[at + 1], number))
    return found
