"""Codes of planned sets: each once, the same in a renewed plan, and slips of the pen found.

A weighted sum modulo a prime is the rule of the ten-digit ISBN (ISO 2108:1992, Annex on the check digit;
weights 10 to 1, modulo 11; from memory). Here the property is held by trying every slip.
"""

from __future__ import annotations

import pandas as pd

from stressmap.core.set_codes import (
    ALPHABET,
    LENGTH,
    MODULUS,
    check_character,
    is_code,
    plain_code,
    set_codes,
)

ZONE = "America/Los_Angeles"


def week(valves: int, days: int) -> list[tuple[str, pd.Timestamp]]:
    first = pd.Timestamp("2026-07-16 06:00", tz=ZONE)
    return [
        (f"V{v:04d}", first + pd.Timedelta(days=d, hours=v % 12)) for v in range(valves) for d in range(days)
    ]


def test_the_alphabet_has_no_character_that_a_hand_writes_like_another() -> None:
    assert not set(ALPHABET) & set("0O1ILU")
    assert not set(ALPHABET) & set("AEIOU")  # no word, no month, no power of ten
    assert len(set(ALPHABET)) == len(ALPHABET) < MODULUS == 29  # a prime, on which the check rests


def test_the_check_is_the_one_worked_out_by_hand() -> None:
    # 3 has the value 1, the weights are 5 to 2: 5 + 4 + 3 + 2 = 14, and 15 more make 29
    assert check_character("3333") == ALPHABET[15] == "K"
    # 4 has the value 2: 5 * 0 + 4 * 0 + 3 * 0 + 2 * 2 = 4, and 25 more make 29
    assert check_character("2224") == ALPHABET[25] == "X"
    # K has the value 15: 2 * 15 = 30 leaves 1, and the 28 that it needs no character has
    assert check_character("222K") is None


def test_no_two_sets_of_a_large_week_have_one_code() -> None:
    codes = set_codes(week(1500, 7))
    assert len(set(codes)) == len(codes) == 10_500
    assert all(is_code(code) and len(code) == LENGTH for code in codes)


def test_every_wrong_character_and_every_swap_of_neighbours_is_found() -> None:
    for code in set_codes(week(20, 5)):
        wrong = {code[:at] + char + code[at + 1 :] for at in range(LENGTH) for char in ALPHABET} - {code}
        swaps = {code[:at] + code[at + 1] + code[at] + code[at + 2 :] for at in range(LENGTH - 1)} - {code}
        assert len(wrong) == LENGTH * 27
        assert not any(map(is_code, wrong | swaps))


def test_a_code_that_is_too_short_too_long_or_of_other_characters_is_none() -> None:
    code = set_codes(week(1, 1))[0]
    assert not any(map(is_code, ("", code[:-1], code + code[-1], code[:-1] + "0", code.lower())))
    assert plain_code(f" {code[:2]}-{code[2:].lower()} ") == code


def test_the_same_set_has_the_same_code_in_a_renewed_plan() -> None:
    sets = week(60, 7)
    before = dict(zip(sets, set_codes(sets), strict=True))
    renewed = [one for at, one in enumerate(reversed(sets)) if at % 3] + [
        (valve, opening + pd.Timedelta(minutes=30)) for valve, opening in sets[:40]
    ]
    after = dict(zip(renewed, set_codes(renewed), strict=True))
    both = before.keys() & after.keys()
    assert len(both) == 280
    assert all(before[one] == after[one] for one in both)


def test_another_opening_or_another_valve_has_another_code() -> None:
    opening = pd.Timestamp("2026-11-01 08:30", tz="UTC").tz_convert(ZONE)  # the clock shows this hour twice
    sets = [("V1", opening), ("V1", opening + pd.Timedelta(hours=1)), ("V11", opening)]
    assert len(set(set_codes(sets))) == 3
