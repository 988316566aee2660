"""How a quantity is written: one table of units and decimals for every paper, the terminal and the map.

The map's scripts get the same table with the page (:func:`page_rules`) and follow the same three rules, so
that a figure reads alike wherever it stands; a test holds the two together. Digits and steps are common
practice, no source.

1. **Unit and decimals** go by size: the first row of :data:`SCALES` that the quantity reaches. A US volume is
   in acre-feet from a tenth of one on and in gallons below, so that neither a canal's week nor a small set
   takes seven digits or none.
2. **Rounding** is that of schoolbooks, half away from zero, on the number as it is written in decimals, less
   the last digits in which a division errs: 0.575 is 58 %, though 0.575 / 0.01 is 57.49999999999999.
3. **A part of a whole** (``chance``, ``share``) is never written as nothing or as all of it unless it is. A
   chance has no decimals, and is under 1 % or over 99 % at its ends;
   a share, the part of an amount, has one below ten per cent.
"""

from __future__ import annotations

import math
from typing import Any, Literal, NamedTuple

from stressmap.core.units import (
    BAR_PER,
    HA_PER_ACRE,
    M3_H_PER,
    M3_PER,
    M3_PER_GALLON,
    M_PER_FOOT,
    M_S_PER_MPH,
    MM_PER_INCH,
    System,
)
from stressmap.output.text.words import Words, half_up

Kind = Literal[
    "volume", "flow", "depth", "rate", "area", "length", "speed", "pressure", "gauge", "deficit", "hours",
    "chance", "share",
]  # fmt: skip
"""Volume [m3], flow [m3/h], depth [mm], application rate [mm/h], area [ha], length [m], speed of the wind
[m/s], pressure [bar], the same as a gauge in psi shows it [bar], vapour pressure deficit [kPa], hours [h] in
a narrow column (else :func:`duration`), chance and share of a whole [1]."""


class Scale(NamedTuple):
    """A row of the table.

    Parameters
    ----------
    least : float
        Size from which on it holds, in our unit.
    unit : str
        Unit shown, a name in the section ``unit`` of the words.
    factor : float
        How much of our unit is in one of it.
    digits : int
        Decimals.
    """

    least: float
    unit: str
    factor: float
    digits: int


ACRE_FT, GPM = M3_PER["acre-ft"], M3_H_PER["gpm"]
PRECISION = 12
"""Significant digits of a division that are sure."""

KNOWN = 2
"""Digits of a planned quantity."""

ANY = 1e-12
"""Anything over nothing."""

# 9.95 is what one decimal rounds to 10.0; nothing at all needs no decimals.
_BAR = (Scale(0.0, "bar", 1.0, 1),)
_PSI = (Scale(0.0, "psi", BAR_PER["psi"], 0),)
_KPA = (Scale(0.0, "kPa", 1.0, 1),)
_HOURS = (Scale(0.0, "h", 1.0, 1),)
_CHANCE = (Scale(0.0, "%", 0.01, 0),)
_SHARE = (Scale(0.0995, "%", 0.01, 0), Scale(ANY, "%", 0.01, 1), Scale(0.0, "%", 0.01, 0))

SCALES: dict[Kind, dict[System, tuple[Scale, ...]]] = {
    "volume": {
        "us": (
            Scale(99.995 * ACRE_FT, "acre-ft", ACRE_FT, 1),
            Scale(0.1 * ACRE_FT, "acre-ft", ACRE_FT, 2),
            Scale(ANY, "gal", M3_PER_GALLON, 0),
            Scale(0.0, "acre-ft", ACRE_FT, 0),
        ),
        "metric": (Scale(9.95, "m3", 1.0, 0), Scale(0.05, "m3", 1.0, 1), Scale(0.0, "m3", 1.0, 0)),
    },
    "flow": {
        "us": (Scale(9.95 * GPM, "gpm", GPM, 0), Scale(0.0, "gpm", GPM, 1)),
        "metric": (Scale(0.0, "m3/h", 1.0, 1),),
    },
    "depth": {
        "us": (Scale(0.0, "in", MM_PER_INCH, 2),),
        "metric": (Scale(9.95, "mm", 1.0, 0), Scale(0.05, "mm", 1.0, 1), Scale(0.0, "mm", 1.0, 0)),
    },
    "rate": {
        "us": (Scale(0.0, "in/h", MM_PER_INCH, 3),),
        "metric": (Scale(0.0, "mm/h", 1.0, 2),),
    },
    "area": {
        "us": (Scale(0.0, "acres", HA_PER_ACRE, 1),),
        "metric": (Scale(0.0, "ha", 1.0, 2),),
    },
    "length": {
        "us": (Scale(0.0, "ft", M_PER_FOOT, 0),),
        "metric": (Scale(0.0, "m", 1.0, 0),),
    },
    "speed": {
        "us": (Scale(0.0, "mph", M_S_PER_MPH, 1),),
        "metric": (Scale(0.0, "m/s", 1.0, 1),),
    },
    "pressure": {"us": _BAR, "metric": _BAR},
    "gauge": {"us": _PSI, "metric": _PSI},
    "deficit": {"us": _KPA, "metric": _KPA},
    "hours": {"us": _HOURS, "metric": _HOURS},
    "chance": {"us": _CHANCE, "metric": _CHANCE},
    "share": {"us": _SHARE, "metric": _SHARE},
}
PARTS: tuple[Kind, ...] = ("chance", "share")
"""Parts of a whole: never written as nothing or as all of it unless they are."""


def scale_of(value: float, kind: Kind, system: System) -> Scale:
    """Choose unit and decimals.

    Parameters
    ----------
    value : float
        The quantity in our unit, see :data:`Kind`.
    kind : str
        Which quantity.
    system : str
        ``"us"`` or ``"metric"``.

    Returns
    -------
    Scale

    Examples
    --------
    >>> scale_of(12_000.0, "volume", "us").unit, scale_of(12.0, "volume", "us").unit
    ('acre-ft', 'gal')
    """
    return next(scale for scale in SCALES[kind][system] if abs(value) >= scale.least)


def quantity(value: float | None, kind: Kind, words: Words) -> str:
    """Write a quantity in the units people see.

    Parameters
    ----------
    value : float or None
        In our unit, see :data:`Kind`; None and NaN give the word for "no data".
    kind : str
        Which quantity.
    words : Words
        Language and units.

    Returns
    -------
    str

    Examples
    --------
    >>> quantity(12_000.0, "volume", Words("en", "us")), quantity(12_000.0, "volume", Words("en", "metric"))
    ('9.73 acre-ft', '12,000 m³')
    >>> quantity(100.0, "volume", Words("es", "us")), quantity(41.0, "depth", Words("es", "us"))
    ('26,417 gal', '1.61 pulg')
    >>> quantity(0.999, "chance", Words("en")), quantity(0.004, "share", Words("en"))
    ('over 99 %', '0.4 %')
    """
    if value is None or value != value:  # noqa: PLR0124 - NaN is what differs from itself
        return words("measure.no_data")
    scale = scale_of(value, kind, words.units)
    number = float(f"{value / scale.factor:.{PRECISION}g}")
    bound = _bound(number, kind)
    if kind in PARTS:
        number = _inside(number, scale.digits)
    said = f"{words.number(number, scale.digits)} {words(f'unit.{scale.unit}')}"
    return words(f"measure.{bound}", value=said) if bound else said


def known(value: float | None, kind: Kind, words: Words) -> str:
    """Write a planned quantity to two digits: rates, flows and evenness are not known better.

    Parameters
    ----------
    value : float or None
        In our unit, see :data:`Kind`; None and NaN give the word for "no data".
    kind : str
        Which quantity.
    words : Words
        Language and units.

    Returns
    -------
    str

    Examples
    --------
    >>> known(2199.5, "volume", Words("en", "metric")), known(2199.5, "volume", Words("en", "us"))
    ('2,200 m³', '1.8 acre-ft')
    >>> known(32.3, "depth", Words("en", "us")), known(9.96, "depth", Words("en", "metric"))
    ('1.3 in', '10 mm')
    """
    if value is None or value != value or value == 0:  # noqa: PLR0124 - NaN is what differs from itself
        return quantity(value, kind, words)
    scale = scale_of(value, kind, words.units)
    number = float(f"{value / scale.factor:.{KNOWN}g}")
    digits = max(0, KNOWN - 1 - math.floor(math.log10(abs(number))))
    return f"{words.number(number, min(digits, scale.digits))} {words(f'unit.{scale.unit}')}"


def _bound(percent: float, kind: Kind) -> str:
    """Tell whether a chance is ``"under"`` one per cent or ``"over"`` 99 as written, else ``""``."""
    if kind != "chance" or not 0 < percent < 100:
        return ""
    shown = half_up(percent, 0)
    return "under" if shown == 0 else "over" if shown == 100 else ""


def _inside(percent: float, digits: int) -> float:
    """Keep what is something from reading as nothing, and what is not all from reading as all."""
    size, shown = abs(percent), half_up(abs(percent), digits)
    if size > 0 and shown == 0:
        size = 10.0**-digits
    elif size < 100 <= shown:
        size = 100 - 10.0**-digits
    return size if percent >= 0 else -size


def volume(cubic_metres: float | None, words: Words) -> str:
    """Write a volume of water [m3]."""
    return quantity(cubic_metres, "volume", words)


def depth(millimetres: float | None, words: Words) -> str:
    """Write a depth of water [mm]."""
    return quantity(millimetres, "depth", words)


def area(hectares: float | None, words: Words) -> str:
    """Write an area [ha]."""
    return quantity(hectares, "area", words)


def bar(value: float | None, words: Words) -> str:
    """Write a pressure [bar]."""
    return quantity(value, "pressure", words)


def reading(pressure_bar: float | None, gauge: str, words: Words) -> str:
    """Write a pressure that was read [bar], and beside it what the crew's gauge showed where that is in psi.

    Parameters
    ----------
    pressure_bar : float or None
        In bar.
    gauge : str
        Unit of the gauge.
    words : Words
        Language and units.

    Returns
    -------
    str

    Examples
    --------
    >>> reading(12.5, "bar", Words("en")), reading(12.5, "psi", Words("es"))
    ('12.5 bar', '12.5 bar (181 psi)')
    """
    shown = bar(pressure_bar, words)
    if gauge != "psi" or pressure_bar is None or pressure_bar != pressure_bar:  # noqa: PLR0124 - NaN
        return shown
    return f"{shown} ({quantity(pressure_bar, 'gauge', words)})"


def percent(chance: float | None, words: Words) -> str:
    """Write a chance [1] as per cent."""
    return quantity(chance, "chance", words)


def duration(hours: float, words: Words) -> str:
    """Write a length of time [h], to the minute.

    Examples
    --------
    >>> duration(10.5, Words("en"))
    '10 h 30 min'
    """
    minutes = int(half_up(hours * 60, 0))
    return words("unit.hours", hours=minutes // 60, minutes=f"{minutes % 60:02d}")


def page_rules(system: System) -> dict[str, Any]:
    """Give the table to the map's scripts.

    Parameters
    ----------
    system : str
        ``"us"`` or ``"metric"``.

    Returns
    -------
    dict
        ``scales``: by kind, rows of least, unit, factor, digits; ``parts``: kinds that are parts of a whole.
    """
    return {
        "scales": {kind: [list(scale) for scale in scales[system]] for kind, scales in SCALES.items()},
        "parts": list(PARTS),
    }
