"""``[round]``: how a measuring round is walked."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from stressmap.core.setting_types import Number, Part, Whole


def _read_place(value: object) -> object:
    if isinstance(value, str) and value.strip():
        return value.strip()
    if isinstance(value, (list, tuple)) and len(value) == 2:
        lon, lat = value
        sound = all(isinstance(part, (int, float)) and not isinstance(part, bool) for part in value)
        if sound and abs(lon) <= 180 and abs(lat) <= 90:
            return float(lon), float(lat)
    remedy = "write [longitude, latitude] in degrees, or the name of a point in [files] roads"
    msg = f"{value!r} is no place; {remedy}"
    raise ValueError(msg)


Start = Annotated[
    tuple[float, float] | str,
    BeforeValidator(_read_place),
    WithJsonSchema({"type": ["array", "string"], "items": {"type": "number"}, "minItems": 2, "maxItems": 2}),
]
"""Longitude and latitude, or the name of a point in the file of roads."""


class RoundSettings(Part):
    """``[round]``: crews, trees, and how long things take.

    One reading takes 1.5 to 3 minutes, a bag 30 seconds to one minute; one walks 3 to 4.5 km/h (0.8 to
    1.25 m/s) with a chamber on soft ground and drives 10 to 15 km/h (2.8 to 4.2 m/s) between blocks (all from
    memory). Whoever bags a round before the window opens reads 18 to 28 trees in two hours (worked out from
    these times); with ``before_minutes`` as it stands, about 15. Leaves are bagged for
    10 minutes at the least and up to two hours (university fruit and nut education page, "Using the Pressure
    Chamber").
    """

    crews: Whole = Field(default=1, ge=1, le=20)
    trees: Whole = Field(default=40, ge=1, le=400)
    before_minutes: Number = Field(default=20.0, ge=0, le=120)
    most_bagged_minutes: Number = Field(default=120.0, gt=0, le=1440)
    bag_seconds: Number = Field(default=45.0, ge=0, le=3600)
    read_seconds: Number = Field(default=150.0, ge=0, le=3600)
    walk_m_s: Number = Field(default=1.0, gt=0, le=3)
    drive_m_s: Number = Field(default=3.5, ge=0, le=15)
    start_seconds: Number = Field(default=30.0, ge=0, le=600)
    chambers: Whole | None = Field(default=None, ge=1, le=20)
    start: Start | None = None

    @model_validator(mode="after")
    def _driving_pays(self) -> RoundSettings:
        if 0 < self.drive_m_s < self.walk_m_s:
            msg = (
                f"drive_m_s ({self.drive_m_s:g}) is slower than walk_m_s ({self.walk_m_s:g}); write 0 to walk"
            )
            raise ValueError(msg)
        return self
