"""Write anew what is derived from the code: lists of files, and the JSON Schema of ranch.toml.

Call it as ``python docs/generate.py``.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

from stressmap.output.district_outputs import district_described
from stressmap.output.outputs import described
from stressmap.output.round_outputs import round_described
from stressmap.output.staging.ranch_schema import NAME, made_text, ranch_schema
from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.round_words import RoundWords
from stressmap.output.text.words import Words

REPOSITORY = Path(__file__).parents[1]
SCHEMA = REPOSITORY / "stressmap" / "output" / "staging" / "templates" / NAME


def files_list() -> str:
    """Give the table of all files that the jobs write, in Markdown."""
    rows = ["| file | for |", "| --- | --- |"]
    for names, words in described(Words("en")):
        rows.append(f"| {', '.join(f'`{name}`' for name in names)} | {words} |")
    return "\n".join(rows)


def round_list() -> str:
    """Give the table of the files of a measuring round, in Markdown."""
    rows = ["| file | for |", "| --- | --- |"]
    rows += [f"| `{name}` | {words} |" for name, words in round_described(RoundWords("en"))]
    return "\n".join(rows)


def district_list() -> str:
    """Give the table of the files of a district's overview, in Markdown."""
    rows = ["| file | for |", "| --- | --- |"]
    rows += [f"| `{name}` | {words} |" for name, words in district_described(DistrictWords(Words("en")))]
    return "\n".join(rows)


def keys_list() -> str:
    """Give the table of all keys of ``ranch.toml``, in Markdown."""
    rows = ["| key | default | meaning |", "| --- | --- | --- |"]
    for table, inside in ranch_schema()["properties"].items():
        rows.append(f"| `[{table}]` | | {inside['description']} |")
        own = inside.get("properties") or inside.get("additionalProperties", {}).get("properties", {})
        place = f"[{table}.<name>]" if table == "crops" else f"[{table}]"
        for key, about in own.items():
            default = f"`{json.dumps(about['default'])}`" if about.get("default") not in (None, []) else ""
            rows.append(f"| `{place} {key}` | {default} | {about['description']} |")
    return "\n".join(rows)


BLOCKS = {
    "README.md": {"files": files_list, "round": round_list, "district": district_list},
    "docs/contract.md": {"files": files_list, "keys": keys_list, "round": round_list},
}


def with_block(text: str, name: str, block: str) -> str:
    """Put a block between the two marks of a page."""
    begin, end = f"<!-- {name}: written by docs/generate.py -->", f"<!-- end of {name} -->"
    pattern = re.compile(f"({re.escape(begin)}\n).*?(\n{re.escape(end)})", flags=re.DOTALL)
    new, count = pattern.subn(lambda found: f"{found[1]}{block}{found[2]}", text)
    if count != 1:
        msg = f"the page does not hold {begin!r} and {end!r} once"
        raise ValueError(msg)
    return new


def generated() -> dict[Path, str]:
    """Give every derived text by its file."""
    derived = {SCHEMA: made_text()}
    for name, blocks in BLOCKS.items():
        text = (REPOSITORY / name).read_text(encoding="utf-8")
        for block, make in blocks.items():
            text = with_block(text, block, make())
        derived[REPOSITORY / name] = text
    return derived


if __name__ == "__main__":
    for page, text in generated().items():
        page.write_text(text, encoding="utf-8", newline="\n")
