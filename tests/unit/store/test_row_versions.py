"""Which version a row is, whatever is handed in twice, late or corrected."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from stressmap.store.row_versions import ArrivingRow, decide


def row(bar: float, version: int | None = None, *, withdrawn: bool = False) -> ArrivingRow:
    return ArrivingRow("tree 7", 2, {"pressure_bar": bar}, version, withdrawn)


def take(*rows: ArrivingRow) -> tuple[list[str], dict[int, str]]:
    """Let rows of one key arrive one after another."""
    known: dict[int, str] = {}
    told = []
    for one in rows:
        decided = decide(one, known)
        told.append(decided.outcome)
        if decided.version is not None:
            assert decided.version not in known  # nothing is ever written over
            known[decided.version] = one.digest
    return told, known


def test_the_same_row_twice_is_there_already() -> None:
    assert take(row(12), row(12)) == (["new", "present"], {1: row(12).digest})


def test_what_differs_is_a_correction_and_the_old_one_stays() -> None:
    told, known = take(row(12), row(13), row(12), row(13))
    assert told == ["new", "corrected", "since_corrected", "present"]
    assert known == {1: row(12).digest, 2: row(13).digest}


def test_stated_versions_may_arrive_in_any_order() -> None:
    told, known = take(row(13, 2), row(12, 1), row(12, 1), row(14, 3))
    assert told == ["new", "since_corrected", "since_corrected", "corrected"]
    assert known == {2: row(13).digest, 1: row(12).digest, 3: row(14).digest}


def test_two_contents_of_one_version_are_told_and_both_kept() -> None:
    told, known = take(row(12, 1), row(13, 1), row(12, 1))
    assert told == ["new", "clash", "since_corrected"]
    assert known == {1: row(12).digest, 2: row(13).digest}


def test_what_is_withdrawn_is_a_version_of_its_own() -> None:
    assert row(12).digest != row(12, withdrawn=True).digest
    assert take(row(12, 1), row(12, 2, withdrawn=True))[0] == ["new", "corrected"]


@settings(max_examples=40)
@given(st.lists(st.tuples(st.integers(8, 11), st.none() | st.integers(1, 4)), min_size=1, max_size=8))
def test_handing_everything_in_again_changes_nothing(given_rows: list[tuple[int, int | None]]) -> None:
    rows = [row(float(bar), version) for bar, version in given_rows]
    _, known = take(*rows)
    again, after = take(*rows, *rows)
    assert after == known
    assert set(again[len(rows) :]) <= {"present", "since_corrected"}
    assert {one.digest for one in rows} == set(known.values())
