"""``[names]`` of a ``ranch.toml``."""

from __future__ import annotations

import re

from pydantic import Field, field_validator

from stressmap.core.setting_types import Part


class Names(Part):
    """``[names]``: names of blocks and valve zones by the rows of their outlines, the first being row 2."""

    blocks: dict[str, str] = Field(default={}, max_length=5000)
    valves: dict[str, str] = Field(default={}, max_length=5000)

    @field_validator("blocks", "valves")
    @classmethod
    def _rows_named(cls, value: dict[str, str]) -> dict[str, str]:
        for row, name in value.items():
            if not re.fullmatch(r"[1-9]\d{0,5}", row):
                msg = f'{row!r} is no row of an outline; write 3 = "North", the first outline being row 2'
                raise ValueError(msg)
            if not name.split():
                msg = f"the name of row {row} is empty; write the name, or remove the line"
                raise ValueError(msg)
        return {row: " ".join(name.split()) for row, name in value.items()}
