"""``[water]``: how water may be given - sets, rests, hours, pumps, sources and people.

What is left out is taken from :mod:`stressmap.water.set_rules`, where each figure has its source.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import Field, field_validator

from stressmap.core.setting_types import Clock, Day, FlowM3H, Number, Part, Systems, VolumeM3, Whole

Clocks = tuple[dt.time, dt.time]
DEAR_HOURS: Clocks = (dt.time(16), dt.time(21))
"""Hours of dear power in summer on the local clock: usual agricultural peak, from memory, no text read."""


class WateringManners(Part):
    """The keys of ``[water]`` on how water may be given.

    ``dear_hours`` left empty are no hours. ``sources`` are volumes by name; a valve names its source, or its
    pump is called as one. ``crews`` left out: one for every sixty valves.
    """

    rest_hours: Number | None = Field(default=None, ge=0)
    walnut_wet_hours: Number = Field(default=24.0, gt=0, le=72)
    least_set_mm: dict[Systems, Number] = Field(default={})
    most_set_mm: dict[Systems, Number] = Field(default={})
    most_set_hours: dict[Systems, Number] = Field(default={})
    days_apart: dict[Systems, Number] = Field(default={})
    sets_a_week: dict[Systems, Annotated[Whole, Field(ge=1)]] = Field(default={})
    intake_mm_h: Number | None = Field(default=None, gt=0)
    pulse_minutes: Number = Field(default=30.0, ge=5, le=120)
    sources: dict[str, VolumeM3] = Field(default={})
    source_days: dict[str, tuple[Day, ...]] = Field(default={})
    reserve: VolumeM3 | None = None
    pump_least: dict[str, FlowM3H] = Field(default={})
    pump_starts: Whole | None = Field(default=None, ge=1)
    dear_hours: tuple[Clock, ...] = DEAR_HOURS
    crews: Whole | None = Field(default=None, ge=1)
    crew_valves: Whole = Field(default=6, ge=1)
    travel_minutes: Number = Field(default=5.0, ge=0, le=30)
    salinity_ds_m: Number | None = Field(default=None, ge=0)

    @field_validator("dear_hours")
    @classmethod
    def _none_or_two(cls, value: tuple[dt.time, ...]) -> tuple[dt.time, ...]:
        if len(value) not in {0, 2} or (value and value[0] == value[1]):
            msg = 'write two hours of the clock as ["16:00", "21:00"], or [] for none'
            raise ValueError(msg)
        return value

    @field_validator("least_set_mm", "most_set_mm", "most_set_hours", "days_apart", "sets_a_week")
    @classmethod
    def _not_negative(cls, value: dict[str, float]) -> dict[str, float]:
        for name, figure in value.items():
            if figure < 0:
                msg = f"{name} is {figure:g}, but it cannot be under zero; correct it"
                raise ValueError(msg)
        return value
