"""What a planned round is good for, on a simulated season; docs/benchmarks.md has many."""

from __future__ import annotations

from helpers.drawn_rounds import shown
from helpers.drawn_seasons import Season


def test_a_planned_round_tells_more_than_reading_where_the_map_is_most_doubtful() -> None:
    """Over many seasons the lead is ten standard errors in relief (0.275 ± 0.025): one season shows it."""
    found = shown(9023, Season(earlier=2), ("planned", "doubtful"))
    (planned, planned_error, _), (doubtful, doubtful_error, _) = found["planned"], found["doubtful"]
    assert planned > doubtful + 0.1
    assert planned_error < doubtful_error
