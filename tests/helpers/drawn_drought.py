"""A drawn ranch in a drought: all of it "water first", the driest of it past what the crop bears."""

import dataclasses

from helpers.drawn_content import LABELS, full
from stressmap.output.view.content import Content

PAST = 3
"""Valve zones past the limit."""


def drought() -> Content:
    """The full drawn ranch with weather, every valve zone of the first priority and three past the limit."""
    content = full()
    count = len(content.valves)
    valves = content.valves.assign(
        priority=1, label_en=LABELS[1][0], label_es=LABELS[1][1],
        stress_bar=[9.0 - 0.5 * k for k in range(count)],
        past_limit=[k < PAST for k in range(count)], urgency=[4.6 - 0.2 * k for k in range(count)],
        allowance_bar=4.0, gauge_change_bar=content.valves["change_bar"] + 1.7, weather_change_bar=1.7,
        trees_change_bar=content.valves["change_bar"], target_change_bar=1.2,
    )  # fmt: skip
    zones = content.zones.assign(priority=1, label_en=LABELS[1][0], label_es=LABELS[1][1])
    return dataclasses.replace(content, valves=valves, zones=zones, vpd_kpa=3.4, usual_vpd_kpa=2.9)
