"""Write anew what is derived from the code: lists of files, and the JSON Schema of ranch.toml.

Call it as ``python docs/generate.py``.
"""

from __future__ import annotations

import re
from pathlib import Path

from stressmap.output.outputs import described
from stressmap.output.staging.ranch_schema import NAME, made_text
from stressmap.output.text.words import Words

REPOSITORY = Path(__file__).parents[1]
SCHEMA = REPOSITORY / "stressmap" / "output" / "staging" / "templates" / NAME


def files_list() -> str:
    """Give the table of all files that the jobs write, in Markdown."""
    rows = ["| file | for |", "| --- | --- |"]
    for names, words in described(Words("en")):
        rows.append(f"| {', '.join(f'`{name}`' for name in names)} | {words} |")
    return "\n".join(rows)


BLOCKS = {"README.md": files_list}


def with_block(text: str, block: str) -> str:
    """Put a block between the two marks of a page."""
    begin, end = "<!-- files: written by docs/generate.py -->", "<!-- end of files -->"
    pattern = re.compile(f"({re.escape(begin)}\n).*?(\n{re.escape(end)})", flags=re.DOTALL)
    new, count = pattern.subn(lambda found: f"{found[1]}{block}{found[2]}", text)
    if count != 1:
        msg = f"the page does not hold {begin!r} and {end!r} once"
        raise ValueError(msg)
    return new


def generated() -> dict[Path, str]:
    """Give every derived text by its file."""
    pages = {REPOSITORY / name: make() for name, make in BLOCKS.items()}
    derived = {page: with_block(page.read_text(encoding="utf-8"), block) for page, block in pages.items()}
    return derived | {SCHEMA: made_text()}


if __name__ == "__main__":
    for page, text in generated().items():
        page.write_text(text, encoding="utf-8", newline="\n")
