"""The allowance of a block day by day through a year, for tests of published bands and of laws."""

from __future__ import annotations

import pandas as pd

from stressmap.agronomy.allowance import allowances
from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.hemisphere import at_latitude

NORTH, SOUTH = 38.0, -34.0


def course(
    crop: str,
    *,
    variety: str | None = None,
    harvest: str | None = None,
    planted: float = 2000.0,
    latitude: float = NORTH,
    first: str = "2026-01-01",
    last: str = "2026-12-31",
) -> pd.Series:
    """Return the allowance [bar] of each day, indexed by day."""
    days = pd.date_range(first, last, freq="D")
    places = pd.DataFrame(
        {"block": "A", "crop": crop, "harvest": harvest, "planted": planted, "variety": variety},
        index=range(len(days)),
    )
    profiles = at_latitude(load_profiles({}, "ranch.toml"), latitude).value
    return pd.Series(allowances(places, days, profiles), index=days)


def outside(found: pd.Series, first: str, last: str, low: float, high: float) -> list[str]:
    """Return the days of a period (``MM-DD``, of 2026) on which a course lies outside a band."""
    inside = found[f"2026-{first}" : f"2026-{last}"]
    assert len(inside) > 0
    return [f"{day:%m-%d}" for day, bar in inside.items() if not low - 1e-9 <= bar <= high + 1e-9]
