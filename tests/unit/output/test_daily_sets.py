"""Sets told in one line stand for the sets there are: nothing lost, nothing added."""

import datetime as dt

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stressmap.output.view.daily_sets import Spell, spells

ZONE = "America/Los_Angeles"


def at(text: str) -> pd.Timestamp:
    return pd.Timestamp(text, tz=ZONE)


def told(spell: Spell) -> list[tuple[pd.Timestamp, dt.time, int]]:
    """Opening, clock of closing and days until then of every set that a line stands for."""
    nights = (spell.end.date() - spell.start.date()).days
    days = [spell.start + pd.DateOffset(days=k) for k in range(spell.count)]
    assert days[-1] == spell.last
    return [(day, spell.end.time(), nights) for day in days]


@given(
    st.lists(
        st.tuples(st.integers(1, 20), st.sampled_from([5, 20, 21]), st.sampled_from([3, 10, 27, 34])),
        unique_by=lambda one: one[:2],
        max_size=25,
    )
)
def test_lines_stand_for_just_the_sets_there_are(drawn: list[tuple[int, int, int]]) -> None:
    starts = sorted((at(f"2026-10-{day:02d} {hour:02d}:00"), hours) for day, hour, hours in drawn)
    sets = [{"start": start, "end": start + pd.Timedelta(hours=hours)} for start, hours in starts]
    found = spells(sets)
    assert sorted(one for spell in found for one in told(spell)) == [
        (one["start"], one["end"].time(), (one["end"].date() - one["start"].date()).days) for one in sets
    ]
    assert all(spell.count == 1 or spell.count >= 3 for spell in found), "two alike stay two dates"


def test_a_set_that_ends_a_night_later_is_no_set_of_the_row() -> None:
    """The same clocks every evening, but the third runs on over the next day."""
    hours = [10, 10, 34, 10, 10]
    starts = [at(f"2026-07-{16 + k} 20:00") for k in range(5)]
    sets = [{"start": s, "end": s + pd.Timedelta(hours=h)} for s, h in zip(starts, hours, strict=True)]
    assert [(one.count, (one.end - one.start).total_seconds() / 3600) for one in spells(sets)] == [
        (1, 10), (1, 10), (1, 34), (1, 10), (1, 10),
    ]  # fmt: skip


@pytest.mark.parametrize(("nights", "lines"), [(2, 2), (3, 1), (4, 1)])
def test_three_nights_alike_make_one_line(nights: int, lines: int) -> None:
    starts = [at(f"2026-07-{16 + k} 20:00") for k in range(nights)]
    assert len(spells([{"start": s, "end": s + pd.Timedelta(hours=10)} for s in starts])) == lines


@pytest.mark.parametrize(
    "starts",
    [
        ["2026-07-16 20:00", "2026-07-17 20:00"],
        ["2026-07-16 20:00", "2026-07-18 20:00", "2026-07-20 20:00"],
        ["2026-07-16 20:00", "2026-07-17 20:30", "2026-07-18 20:00"],
    ],
)
def test_what_is_not_daily_is_told_set_by_set(starts: list[str]) -> None:
    found = spells([{"start": at(text), "end": at(text) + pd.Timedelta(hours=3)} for text in starts])
    assert [one.count for one in found] == [1] * len(starts)
