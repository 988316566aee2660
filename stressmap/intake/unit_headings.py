"""The units that headings, rows of units and single cells are written in."""

from __future__ import annotations

import re
from functools import lru_cache

from stressmap.core.text import without_accents

_WORDS = {
    "bar": "bar bars bares",
    "MPa": "mpa megapascal megapascals megapascales",
    "kPa": "kpa kilopascal kilopascals kilopascales",
    "psi": "psi psig lb_in2 lbs_in2 libras",
    "C": "c degc deg_c celsius centigrade centigrados grados_c gradosc",
    "F": "f degf deg_f fahrenheit grados_f gradosf",
    "%": "% pct percent porcentaje por_ciento",
    "mm": "mm millimeters millimetres milimetros",
    "in": "in inch inches pulgadas pulg",
    "m": "m meter meters metre metres metro metros",
    "ft": "ft feet foot pies",
    "m/s": "m_s ms_1 m_sec m_s_1",
    "km/h": "km_h kmh kph km_hr",
    "mph": "mph mi_h",
    "W/m2": "w_m2 wm2 w_m_2 w_sq_m watts_m2",
    "MJ/m2": "mj_m2 mjm2 mj_m_2",
    "Ly": "ly langley langleys",
    "Ly/day": "ly_day ly_d langley_day langleys_day",
    "min": "min mins minute minutes minuto minutos",
    "h": "h hr hrs hour hours hora horas",
    "mm/h": "mm_h mm_hr mmh mm_hour",
    "in/h": "in_h in_hr inh in_hour",
    "m3/h": "m3_h m3_hr m3h",
    "gpm": "gpm gal_min",
    "L/s": "l_s lps",
    "ha": "ha hectares hectareas",
    "acre": "acre acres ac",
    "deg": "deg degrees dd decimal_degrees grados grados_decimales",
}
UNITS: dict[str, str] = {word: unit for unit, words in _WORDS.items() for word in words.split()}
"""Every spelling, normalised, -> the unit as this package writes it."""

_SUPERSCRIPT = str.maketrans({"²": "2", "³": "3", "₂": "2", "⁻": "-", "¹": "1"})


@lru_cache(maxsize=4096)
def normal(text: str) -> str:
    """Reduce a heading or unit to lower-case letters, digits and single underscores.

    Parameters
    ----------
    text : str
        As written.

    Returns
    -------
    str

    Examples
    --------
    >>> normal("  Presión (MPa) "), normal("Tree #"), normal("N° de Árbol"), normal("ºC")
    ('presion_mpa', 'tree_no', 'no_de_arbol', 'c')
    """
    lowered = text.translate(_SUPERSCRIPT).casefold()
    lowered = re.sub(r"\bn[°º]\s*", "no ", lowered)
    lowered = re.sub(r"(?<=\bt)º|º\s*(?=[cf]\b)", " ", lowered).replace("#", " no ").replace("%", " % ")
    lowered = lowered.replace("\u03c8", " psi ")
    plain = without_accents(lowered)
    return re.sub(r"[^a-z0-9%]+", "_", plain).strip("_")


def apart(text: str) -> str:
    """Put blanks into a heading that joins its words by capitals.

    Parameters
    ----------
    text : str
        As written.

    Returns
    -------
    str

    Examples
    --------
    >>> apart("TreeID"), apart("bagMinutes"), apart("PressureMPa")
    ('Tree ID', 'bag Minutes', 'Pressure MPa')
    """
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", text)


def unit_in(text: str) -> str | None:
    """Tell which unit a text is, brackets or not.

    Parameters
    ----------
    text : str
        As written: ``"(MPa)"``, ``"°F"``, ``"W/m²"``.

    Returns
    -------
    str or None
        As this package writes it; None if it is no unit.

    Examples
    --------
    >>> unit_in("[MPa]"), unit_in("°F"), unit_in("W/m²"), unit_in("tree")
    ('MPa', 'F', 'W/m2', None)
    """
    return UNITS.get(normal(text))


def split_unit(heading: str) -> tuple[str, str | None]:
    """Split a heading into its name and the unit it ends with.

    Parameters
    ----------
    heading : str
        As written.

    Returns
    -------
    name : str
        Normalised, ``""`` if the heading is a unit only.
    unit : str or None
        As this package writes it.

    Examples
    --------
    >>> split_unit("SWP (MPa)"), split_unit("pressure_mpa"), split_unit("wind_m_s"), split_unit("psi")
    (('swp', 'MPa'), ('pressure', 'MPa'), ('wind', 'm/s'), ('', 'psi'))
    >>> split_unit("tree")
    ('tree', None)
    """
    parts = normal(heading).split("_")
    for size in (3, 2, 1):
        unit = UNITS.get("_".join(parts[-size:]))
        if unit and len(parts) >= size:
            name = parts[:-size]
            joins = name[:-1] if name and name[-1] in {"in", "en"} else name
            return "_".join(joins), unit
    return "_".join(parts), None
