"""Which valves of a season stand first: past what is allowed, then watered and not relieved, by how far."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from stressmap.output.view.rows import rows
from stressmap.season.due_table import counts_of, past_today
from stressmap.season.not_relieved import Alarm
from stressmap.season.season import Season

NAMED = 5
"""Valves named beside a count."""


def past_first(season: Season) -> list[dict[str, Any]]:
    """Give the rows of what is due that are past what is allowed by today, those that surely are first."""
    surely, unsure = past_today(season.due)
    return [*rows(season.due[surely]), *rows(season.due[unsure])]


def counts_with_names(season: Season) -> dict[str, object]:
    """Count what is due how soon and the alarms, and name the first of what is past what is allowed.

    Parameters
    ----------
    season : Season
        So far.

    Returns
    -------
    dict of str to object
        As :func:`stressmap.season.due_table.counts_of` gives, ``overdue`` and ``now`` as text with up to
        :data:`NAMED` valves, and ``alarms``.
    """
    counts: dict[str, object] = {**counts_of(season.due, (season.next_visit - season.today).days)}
    surely, unsure = past_today(season.due)
    told = {"overdue": _named(season.due[surely]), "now": _named(season.due[unsure])}
    return counts | told | {"alarms": len(season.alarms)}


def _named(due: pd.DataFrame) -> str:
    """Write a count with the first of its valves.

    Examples
    --------
    >>> _named(pd.DataFrame({"valve": ["A", "B"]})), _named(pd.DataFrame({"valve": []}))
    ('2 (A, B)', '0')
    """
    names = [str(valve) for valve in due["valve"].head(NAMED)] + ["…"] * (len(due) > NAMED)
    return f"{len(due)} ({', '.join(names)})" if names else "0"


def alarms_by_standing(season: Season) -> list[Alarm]:
    """Put alarms whose driest valve stands furthest above what is allowed first, those not known last."""
    over = _over(season.due.set_index("zone"))
    return sorted(
        season.alarms, key=lambda alarm: -max((over.get(z, -1e9) for z in alarm.zones), default=-1e9)
    )


def standing_of_valves(season: Season) -> Mapping[Any, float]:
    """Give how far each valve stands above what is allowed [bar]."""
    return _over(season.due.set_index("valve"))


def _over(due: pd.DataFrame) -> dict[Any, float]:
    return (due["stress_bar"] - due["allowed_bar"]).astype(float).fillna(-1e9).to_dict()
