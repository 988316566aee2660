"""Rows of a file: as many as were used and told, each told once."""

import pytest

from stressmap.core.notes import NoteList
from stressmap.core.row_counts import RowCounts, ToldRow


def test_rows_are_those_used_and_those_told_the_first_reason_first() -> None:
    told = [ToldRow.of(7, "late"), ToldRow.of(3, "no_time"), ToldRow.of(7, "no_time")]
    counts = RowCounts.of("a.csv", "irrigation", range(2, 8), told)
    assert (counts.rows, counts.used) == (6, 4)
    assert [(one.row, one.code) for one in counts.left_out] == [(3, "no_time"), (7, "late")]


@pytest.mark.parametrize(("rows", "used", "told"), [(3, 3, [2]), (3, 1, [2]), (3, 1, [2, 2])])
def test_a_row_that_disappears_or_is_told_twice_is_a_defect(rows: int, used: int, told: list[int]) -> None:
    with pytest.raises(ValueError, match=r"a\.csv: 3 rows"):
        RowCounts("a.csv", "weather", rows, used, tuple(ToldRow.of(row, "late") for row in told))


def test_counts_go_upwards_with_the_notes_and_take_the_short_name() -> None:
    counts = RowCounts.of("/home/me/a.csv [May]", "weather", [2], [])
    inner, outer = NoteList(), NoteList()
    inner.count(counts)
    assert outer.keep(inner.beside(5)) == 5
    assert outer.beside(None).counts == (counts,)
    assert counts.renamed({"/home/me/a.csv": "a.csv"}).file == "a.csv [May]"


def test_a_later_stage_leaves_rows_out_and_what_was_told_before_stays() -> None:
    counts = RowCounts.of("a.csv", "readings", range(2, 8), [ToldRow.of(3, "no_time"), ToldRow.of(4, "late")])
    later = counts.leaving([ToldRow.of(6, "short_bag"), ToldRow.of(4, "no_value")])
    assert (later.rows, later.used) == (6, 3)
    assert [(one.row, one.code) for one in later.left_out] == [(3, "no_time"), (4, "late"), (6, "short_bag")]
