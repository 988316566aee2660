"""What is advised for a valve zone, in words: when it is due, how often, to what peak, all as ranges."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Any

import pandas as pd

from stressmap.core import season_schemas
from stressmap.core.schemas import hold
from stressmap.output.text.words import Language, Words, text_of
from stressmap.output.view.due_words import WIDE_DAYS
from stressmap.season.calendar_days import HORIZON_DAYS, days_ago

LEAST_SOONER = 0.5
"""Days by which a hot week must bring the water forward to be told."""
WIDE_BAR = 3.0
"""Hardly ever is the 90 % range of stress wider in a zone that was read of late: as seen on the demo."""


def season_tables(
    due: pd.DataFrame, tables: Mapping[str, pd.DataFrame], alarmed: Collection[int] = ()
) -> dict[str, pd.DataFrame]:
    """Give the tables of a season as they leave the program.

    Parameters
    ----------
    due : DataFrame
        Of a :class:`stressmap.season.season.Season`.
    tables : mapping of str to DataFrame
        Its ``course``, ``cycles`` and ``blocks``.
    alarmed : collection of int
        Positions of the valve zones that were watered and not relieved.

    Returns
    -------
    dict of str to DataFrame
        ``season``, ``cycles``, ``due``, ``season_blocks``.
    """
    found = due.to_dict("records")
    told = due.assign(
        **{
            f"advice_{language}": [advice(row, language, alarmed=row.get("zone") in alarmed) for row in found]
            for language in ("en", "es")
        }
    )
    schemas = {
        "season": (tables["course"], season_schemas.COURSE),
        "cycles": (tables["cycles"], season_schemas.CYCLES),
        "due": (told, season_schemas.DUE),
        "season_blocks": (tables["blocks"], season_schemas.SEASON_BLOCKS),
    }
    return {name: hold(table[list(schema.columns)], schema) for name, (table, schema) in schemas.items()}


def advice(row: Mapping[Any, Any], language: Language, *, alarmed: bool = False) -> str:
    """Say what is advised for a valve zone.

    Parameters
    ----------
    row : mapping
        Of the season's table of what is due.
    language : str
        ``"en"`` or ``"es"``.
    alarmed : bool
        Whether it was watered and not relieved: then the valve is looked at before anything else.

    Returns
    -------
    str
        A sentence or some.

    Examples
    --------
    >>> row = {"known": True, "stress_low_bar": 4.2, "stress_high_bar": 6.9, "allowed_bar": 4.0,
    ...     "days_left": 0.0, "days_left_high": 0.0, "interval_days": math.nan}
    >>> advice(row, "en")
    'Overdue: stress is 4.2 to 6.9 bar, 4 is allowed. Water now.'
    """
    first = _say(language, "due.alarmed") if alarmed else ""
    when = _when(row, language)
    # Of a valve that is due, a turn longer than the usual one would read as a reason to wait; of one that was
    # watered and not relieved, none can be told.
    turn = "" if alarmed else _turn(row, language)
    said = [_last_water(row, language), when] if _past(row) else [when, turn]
    sentences = [first, *said, _narrower(row, language), _peak(row, language), _hot(row, language)]
    return " ".join(sentence for sentence in sentences if sentence)


def _say(language: Language, key: str, /, **values: object) -> str:
    return text_of(f"advice_{language}", key, values)


def _known(row: Mapping[Any, Any], name: str) -> bool:
    value = row.get(name)
    return isinstance(value, int | float) and math.isfinite(value)


def _past(row: Mapping[Any, Any]) -> bool:
    """Tell whether it is overdue or due now."""
    return bool(row["known"]) and _known(row, "days_left") and row["days_left"] <= 0.0


def _last_water(row: Mapping[Any, Any], language: Language) -> str:
    if not _known(row, "days_since_water"):
        return ""
    return _say(language, "due.last_water", days=days_ago(row["days_since_water"]))


def _bars(row: Mapping[Any, Any], language: Language) -> dict[str, str]:
    words = Words(language)
    allowed = float(row["allowed_bar"])
    return {
        "low": words.number(row["stress_low_bar"]),
        "high": words.number(row["stress_high_bar"]),
        "allowed": words.number(allowed, 0 if allowed == round(allowed) else 1),
    }


def _when(row: Mapping[Any, Any], language: Language) -> str:
    if not row["known"]:
        return _say(language, "due.unknown")
    if _past(row):
        sure = _known(row, "days_left_high") and row["days_left_high"] <= 0.0
        return _say(language, "due.overdue" if sure else "due.now", **_bars(row, language))
    if not _known(row, "days_left_low"):
        return _say(language, "due.not_yet")
    return _coming(row, language)


def _coming(row: Mapping[Any, Any], language: Language) -> str:
    """Say when it is due, as far as that lies within three weeks."""
    words = Words(language)
    told: dict[str, object] = {"low": math.floor(row["days_left_low"]), "early": words.day(row["due_early"])}
    if not _known(row, "days_left"):
        now = told["low"] == 0
        return _say(
            language, "due.later_now" if now else "due.later", **(_bars(row, language) if now else told)
        )
    told["due"], wide = words.day(row["due"]), _is_wide(row)
    if not _known(row, "days_left_high"):
        return _say(language, "due.wide_open" if wide else "due.open", **told)
    told |= {"high": math.ceil(row["days_left_high"]), "late": words.day(row["due_late"])}
    return _say(language, "due.wide" if wide else "due.between", **told)


def _is_wide(row: Mapping[Any, Any]) -> bool:
    """Tell whether the days left are known within more than two weeks only."""
    if not (row["known"] and _known(row, "days_left_low")):
        return False
    late = row["days_left_high"] if _known(row, "days_left_high") else float(HORIZON_DAYS)
    return bool(late - row["days_left_low"] > WIDE_DAYS)


def _narrower(row: Mapping[Any, Any], language: Language) -> str:
    """Say what would narrow a wide range: a tree read where none was of late, or just before its water."""
    if not _is_wide(row):
        return ""
    words = Words(language)
    if row["stress_high_bar"] - row["stress_low_bar"] > WIDE_BAR:
        low, high = (words.number(row[f"stress_{end}_bar"]) for end in ("low", "high"))
        return _say(language, "due.read_a_tree", low=low, high=high)
    if not _known(row, "drying_low"):
        return ""
    low, high = (words.number(row[f"drying_{end}"], 2) for end in ("low", "high"))
    return _say(language, "due.read_again", low=low, high=high)


def _turn(row: Mapping[Any, Any], language: Language) -> str:
    if not (_known(row, "interval_days") and _known(row, "interval_low_days")):
        return ""
    usual, low = Words(language).number(row["interval_days"], 0), math.floor(row["interval_low_days"])
    if not _known(row, "interval_high_days"):
        return _say(language, "due.every_open", low=low, usual=usual)
    return _say(language, "due.every", low=low, high=math.ceil(row["interval_high_days"]), usual=usual)


def _peak(row: Mapping[Any, Any], language: Language) -> str:
    if not (_known(row, "interval_days") and _known(row, "peak_low_bar")):
        return ""
    low, high = (Words(language).number(row[f"peak_{end}_bar"]) for end in ("low", "high"))
    return _say(language, "due.peak", low=low, high=high)


def _hot(row: Mapping[Any, Any], language: Language) -> str:
    if not (_known(row, "days_left") and _known(row, "days_left_hot")):
        return ""
    sooner = row["days_left"] - row["days_left_hot"]
    return _say(language, "due.hot", days=max(1, round(sooner))) if sooner >= LEAST_SOONER else ""
