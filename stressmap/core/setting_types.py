"""The kinds of value that stand in ``ranch.toml``, each read strictly."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    WithJsonSchema,
)

from stressmap.core.units import M3_H_PER, M3_PER, MM_PER, parse_month_day, read_quantity

CLOCK = r"([01]\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?|24:00"
DAY = r"\d{4}-\d{2}-\d{2}"


class Part(BaseModel):
    """Base of the tables of ``ranch.toml``: frozen, and no key that is not known."""

    # A part is read within its whole: a validator of its own, built as the module loads, is seldom wanted.
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)


def _check_month_day(text: str) -> str:
    parse_month_day(text)
    return text


def _parse_clock(value: object) -> object:
    if isinstance(value, dt.time) and value.tzinfo is None:
        return value
    if isinstance(value, str) and re.fullmatch(CLOCK, value):
        return dt.time.max if value == "24:00" else value
    msg = f'{value!r} is not a time of day; write it as "13:00"'
    raise ValueError(msg)


def _parse_day(value: object) -> object:
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    if isinstance(value, str) and re.fullmatch(DAY, value):
        return value
    msg = f"{value!r} is not a day; write it as 2026-07-14"
    raise ValueError(msg)


def _quantity(units: dict[str, float]) -> BeforeValidator:
    """Return a validator that reads ``"120000 m3"`` into the base unit of ``units``."""

    def read(value: object) -> object:
        if not isinstance(value, str):
            msg = f"{value!r} has no unit; write a number and one of {', '.join(units)}, in quotes"
            raise ValueError(msg)
        return read_quantity(value, units)

    return BeforeValidator(read)


def _nameable(path: Path) -> Path:
    if "\0" in str(path):
        msg = "no file has such a name; write the path of a file"
        raise ValueError(msg)
    return path


def _as_list(value: object) -> object:
    """Take one path for a list of one; refuse an empty list and an empty path."""
    paths = (value,) if isinstance(value, (str, Path)) else value
    if not isinstance(paths, (list, tuple)) or not all(isinstance(one, (str, Path)) for one in paths):
        msg = f"{value!r} is no path; write a file, a list of files or a folder, each in quotes"
        raise ValueError(msg)
    if not paths or not all(str(one) for one in paths):
        msg = f"{'a path in it' if paths else 'the list'} is empty; write a file, a list of files or a folder"
        raise ValueError(msg)
    return tuple(paths)


def _text_schema(pattern: str) -> WithJsonSchema:
    """Say what a text looks like before it is read, for the JSON Schema of ``ranch.toml``."""
    return WithJsonSchema({"type": "string", "pattern": f"^({pattern})$"})


def _quantity_schema(units: dict[str, float]) -> WithJsonSchema:
    return _text_schema(rf"\s*[-+]?[0-9].*?({'|'.join(re.escape(unit) for unit in units)})\s*")


Number = Annotated[float, Strict()]
Whole = Annotated[int, Strict()]
Switch = Annotated[bool, Strict()]
Day = Annotated[dt.date, BeforeValidator(_parse_day), _text_schema(DAY)]
InputFile = Annotated[Path, AfterValidator(_nameable)]
SeveralFiles = Annotated[
    tuple[InputFile, ...],
    BeforeValidator(_as_list),
    WithJsonSchema({"type": ["string", "array"], "items": {"type": "string", "minLength": 1}, "minItems": 1}),
]
"""A file, a list of files, or a folder of them: as a tuple in any case."""
Clock = Annotated[dt.time, BeforeValidator(_parse_clock), _text_schema(CLOCK)]
MonthDay = Annotated[str, AfterValidator(_check_month_day), _text_schema(r"\d{1,2}-\d{1,2}")]
VolumeM3 = Annotated[float, _quantity(M3_PER), Field(gt=0), _quantity_schema(M3_PER)]
FlowM3H = Annotated[float, _quantity(M3_H_PER), Field(gt=0), _quantity_schema(M3_H_PER)]
DepthMM = Annotated[float, _quantity(MM_PER), Field(gt=0), _quantity_schema(MM_PER)]
Share = Annotated[Number, Field(gt=0, le=1)]
Systems = Literal["drip", "micro_sprinkler", "sprinkler", "flood"]
