"""What is said before any figure, and how many trees stand behind one."""

import dataclasses

import numpy as np
import pytest
from helpers.drawn_content import full, ranch, unmeasured

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, standing_words, trees_words, turns
from stressmap.output.view.first_look import commonest, first_look, thin_blocks
from stressmap.output.view.trees_behind import trees_used

EN, ES = Words("en", "metric"), Words("es", "metric")


def known_weather(content: Content) -> Content:
    return dataclasses.replace(content, vpd_kpa=3.4, usual_vpd_kpa=3.2)


def all_first(content: Content, past: int) -> Content:
    """The same with every valve of priority 1, the first of them past what the crop bears."""
    flags = np.arange(len(content.valves)) < past
    return dataclasses.replace(content, valves=content.valves.assign(priority=1, past_limit=flags))


def said(content: Content, words: Words = EN) -> list[str]:
    return first_look(content, turns(content), words)


def turn(trees: int, block_trees: int, **row: object) -> Turn:
    return Turn(dict(row), "1", 1, "c", None, None, [], trees=trees, block_trees=block_trees)


def test_nothing_is_said_where_priorities_differ_and_the_weather_is_known() -> None:
    assert said(known_weather(full())) == []


@pytest.mark.parametrize(
    ("words", "expected"), [(EN, "heat is not taken out"), (ES, "el calor no está descontado")]
)
def test_without_weather_heat_is_not_taken_out(words: Words, expected: str) -> None:
    (line,) = said(full(), words)
    assert expected in line


def test_one_priority_nearly_everywhere_sends_to_the_first_three() -> None:
    content = all_first(known_weather(full()), 0)
    names = ", ".join(content.valves["valve"][:3])
    assert said(content) == [
        f"Most of the area is P1 (100 %): the order inside it tells more. Look at {names} first."
    ]


def test_zones_past_the_limit_are_named_before_the_others() -> None:
    content = all_first(known_weather(full()), 2)
    a, b = content.valves["valve"][:2]
    (line,) = said(content)
    assert line.endswith(f"Look first at what is past what the crop bears: {a}, {b}.")


def test_more_than_three_past_the_limit_are_counted() -> None:
    content = all_first(known_weather(full()), 5)
    (line,) = said(content)
    assert line.endswith(" and 2 more.")


def test_zones_past_the_limit_are_told_where_no_priority_has_most_of_the_area() -> None:
    content = known_weather(full())
    content = dataclasses.replace(content, valves=content.valves.assign(past_limit=[True] + [False] * 7))
    assert said(content) == [f"Past what the crop bears: {content.valves['valve'][0]}. Look at these first."]


def test_half_of_the_area_is_not_most_of_it() -> None:
    halves = [dataclasses.replace(turn(1, 3, area_ha=2.0), priority=p) for p in (1, 4)]
    assert commonest(halves) is None
    assert commonest([*halves, turn(1, 3, area_ha=1.0)]) == (1, 0.6)


def test_a_guess_is_never_said_to_be_past_the_limit() -> None:
    content = unmeasured(all_first(full(), 8))
    guessed = [one for one in turns(content) if one.priority is None]
    assert guessed
    assert not any(one.past_limit for one in guessed)


def test_two_leaves_of_a_tree_are_one_tree() -> None:
    content = full()
    names = content.readings["tree_id"].where(content.readings["used"])
    first = names.dropna().iloc[0]
    twice = content.readings[names == first]
    before = trees_used(content.readings, "valve")[twice["valve"].iloc[0]]
    doubled = content.readings.iloc[[*range(len(content.readings)), twice.index[0]]].reset_index(drop=True)
    assert trees_used(doubled, "valve")[twice["valve"].iloc[0]] == before


def test_readings_left_out_are_no_trees_behind_a_figure() -> None:
    content = full()
    none_used = content.readings.assign(used=False)
    assert trees_used(none_used, "block") == {}


@pytest.mark.parametrize(
    ("trees", "block", "expected"),
    [
        (3, 9, "3 trees"),
        (1, 9, "one tree"),
        (0, 9, "no tree: from its neighbours"),
        (2, 2, "2 trees, only 2 in the block"),
        (0, 1, "no tree: from its neighbours, only 1 in the block"),
        (0, 0, "no tree in the block"),
    ],
)
def test_trees_behind_a_figure_in_words(trees: int, block: int, expected: str) -> None:
    assert trees_words(turn(trees, block), EN) == expected


def test_blocks_under_three_trees_are_named_with_the_published_practice() -> None:
    """Published counts of trees.

    Ten for each irrigation block: The Pressure Chamber in Prunes, university fruit and nut education page,
    selecting trees. Three to five at least: Norcal walnut crop OK on water, farm press, 2013, text.
    """
    content = ranch([("Thin", "prune", 2), ("Fair", "prune", 2)], across=2, a_block=5)
    mine = content.readings["block"] == "Thin"
    thin = content.readings["used"] & (~mine | (mine.cumsum() <= 3))
    content = dataclasses.replace(content, readings=content.readings.assign(used=thin))
    assert thin_blocks(content, EN) == [
        "Under 3 trees: Thin (2). Published practice: 10 trees a block, 3 to 5 at least."
    ]


def test_past_the_limit_stands_in_place_of_the_priority() -> None:
    assert standing_words(turn(1, 3, past_limit=True), EN) == "P1 past what the crop bears"
    assert standing_words(turn(1, 3, past_limit=False), EN) == "P1 water first"
