"""Conversions between what people write and what the program works in (SI and bar).

Factors are exact by definition where the unit is: inch 25.4 mm, US gallon 231 cubic inches, acre 43,560
square feet, pound-force per square inch 6894.757 Pa (NIST Special Publication 811, appendix B; from memory).
"""

from __future__ import annotations

BAR_PER: dict[str, float] = {"bar": 1.0, "MPa": 10.0, "kPa": 0.01, "psi": 0.06894757293168361}
"""Bars in one of each pressure unit that a readings file may use."""

M2_PER_HA = 10_000.0
HA_PER_ACRE = 0.40468564224
MM_PER_INCH = 25.4
M3_PER_GALLON = 0.003785411784
M_PER_FOOT = 0.3048
M3_PER: dict[str, float] = {
    "m3": 1.0,
    "ML": 1000.0,
    "acre-ft": 43_560.0 * M_PER_FOOT**3,
    "acre-in": 43_560.0 * M_PER_FOOT**3 / 12.0,
}
"""Cubic metres in one of each volume unit."""

M3_H_PER: dict[str, float] = {"m3/h": 1.0, "L/s": 3.6, "gpm": M3_PER_GALLON * 60.0}
"""Cubic metres an hour in one of each flow unit."""


def fahrenheit_to_celsius(temp_f: float) -> float:
    """Convert a temperature.

    Parameters
    ----------
    temp_f : float or array of float
        Temperature [°F].

    Returns
    -------
    float or array of float
        Temperature [°C].

    Examples
    --------
    >>> fahrenheit_to_celsius(212.0)
    100.0
    """
    return (temp_f - 32.0) / 1.8
