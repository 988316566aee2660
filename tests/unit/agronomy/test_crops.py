"""Crop profiles: built-in figures with sources, a ranch's own laid over them, and what is refused."""

import tomllib
from itertools import pairwise
from typing import Any

import pytest

from stressmap.agronomy import crops
from stressmap.agronomy.crop_names import profile_name
from stressmap.core.errors import SettingsError

BUILT_IN = ["almond", "prune", "walnut"]
LEVELS_ONLY = ["cherry", "olive", "pistachio", "table grape"]


def load(**overrides: Any) -> dict[str, crops.CropProfile]:
    return crops.load_profiles(overrides, "ranch.toml")


def message(**overrides: Any) -> str:
    with pytest.raises(SettingsError) as caught:
        load(**overrides)
    return str(caught.value)


def test_prune_has_the_figures_of_its_sources() -> None:
    prune = load()["prune"]
    assert prune.season_target == (("05-01", -6.0), ("08-01", -14.0))
    assert prune.baseline is not None
    assert (prune.baseline.intercept_bar, prune.baseline.slope_bar_per_kpa) == (-4.1, -1.2)
    assert crops.edges_for(prune, "below_target") == (0.0, 2.0, 4.0)


def test_no_line_is_borrowed() -> None:
    profiles = load()
    assert sorted(name for name, profile in profiles.items() if profile.baseline) == BUILT_IN
    assert sorted(set(profiles) - set(BUILT_IN)) == LEVELS_ONLY


@pytest.mark.parametrize("crop", BUILT_IN)
def test_every_number_of_a_built_in_profile_has_a_source_and_standing(crop: str) -> None:
    table = tomllib.loads((crops.BUILT_IN / f"{crop}.toml").read_text(encoding="utf-8"))
    numbered = {"season_target", "baseline", "young", "stages", "crop_coefficient", "roots", "levels"}
    numbered |= {"allowance", "limit_bar", "usual_harvest", "cut_off", "young.allowance_bar"}
    numbered |= {f"edges.{ranking}" for ranking in table["edges"]}
    numbered |= {"crop_coefficient.young_kc_mid"}
    numbered |= {"too_wet", "varieties", "stress_coefficient", "limit_within"} & set(table)
    assert numbered <= set(table["sources"])
    plain = {"name", "also", "title", "sources", "edges", "cautions"}
    assert set(table) - plain <= numbered
    assert all("standing" in entry for entry in [*table["levels"], *table["cautions"]])


@pytest.mark.parametrize("crop", LEVELS_ONLY)
def test_every_number_of_a_crop_with_levels_only_has_a_source(crop: str) -> None:
    path = crops.BUILT_IN / f"{crop.replace(' ', '_')}.toml"
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    assert set(table) - {"name", "also", "title", "sources", "edges", "cautions"} <= set(table["sources"])
    assert {f"edges.{ranking}" for ranking in table.get("edges", {})} <= set(table["sources"])
    assert {level["standing"] for level in table["levels"]} == {"read"}


@pytest.mark.parametrize(
    ("crop", "depths", "depletion"),
    [
        ("prune", (1.0, 2.0), 0.50),
        ("almond", (1.0, 2.0), 0.40),
        ("walnut", (1.7, 2.4), 0.50),
        ("pistachio", (1.0, 1.5), 0.40),
        ("cherry", (1.0, 2.0), 0.50),
        ("table grape", (1.0, 2.0), 0.35),
    ],
)
def test_roots_are_the_least_of_the_published_range(
    crop: str, depths: tuple[float, float], depletion: float
) -> None:
    """FAO Irrigation and Drainage Paper 56, 1998, table 22 (from memory; stone fruit cross-checked).

    Its footnote has the smaller depths for scheduling, the larger for rainfed trees (from memory).
    """
    roots = load()[crop].roots
    assert roots.depth_m == depths[0]
    assert roots.depletion_fraction == depletion


@pytest.mark.parametrize("crop", BUILT_IN)
@pytest.mark.parametrize("rank_by", ["below_target", "below_baseline", "tension"])
def test_built_in_crops_have_edges_for_every_ranking(crop: str, rank_by: Any) -> None:
    low, middle, high = crops.edges_for(load()[crop], rank_by)
    assert low < middle < high


@pytest.mark.parametrize("crop", [*BUILT_IN, *LEVELS_ONLY])
def test_levels_of_a_scale_follow_one_another_without_gap(crop: str) -> None:
    for scale in ("absolute", "below_baseline"):
        levels = [level for level in load()[crop].levels if level.scale == scale]
        ranges = [(level.from_bar, level.to_bar) for level in levels]
        assert all(end == begin for (_, end), (begin, _) in pairwise(ranges))


@pytest.mark.parametrize(
    ("crop", "scale", "bar", "level"),
    [
        # the sources named under [sources.levels] of each crop; read
        ("prune", "absolute", -7.0, "minimal"),
        ("prune", "absolute", -8.0, "minimal to mild"),
        ("prune", "absolute", -14.0, "mild to moderate"),
        ("prune", "absolute", -18.0, "moderate to high"),
        ("prune", "absolute", -45.0, "severe"),  # from memory only
        ("prune", "below_baseline", -9.0, "avoid for long"),
        ("almond", "absolute", -11.0, "mild"),
        ("almond", "below_baseline", -5.0, "ideal range over the season"),
        ("walnut", "absolute", -5.0, "low to mild"),
        ("walnut", "below_baseline", -2.5, "best just before watering"),
    ],
)
def test_levels_in_words(crop: str, scale: Any, bar: float, level: str) -> None:
    found = crops.level_of(load()[crop], scale, bar)
    assert found is not None
    assert found.level.en == level
    assert found.level.said("es")


def test_the_scales_are_not_converted_into_each_other() -> None:
    assert crops.level_of(load()["walnut"], "below_baseline", -9.0) is None


def test_wetter_than_the_line_is_marked_for_walnut_only() -> None:
    marked = [name for name, profile in load().items() if profile.too_wet]
    assert marked == ["walnut"]


def test_a_key_of_the_ranch_replaces_the_built_in_one_and_says_so() -> None:
    prune = load(
        prune={"season_target": [["05-15", -7.0], ["08-20", -15.0]], "edges": {"tension": [9, 13, 17]}}
    )["prune"]
    assert prune.season_target == (("05-15", -7.0), ("08-20", -15.0))
    assert prune.edges.tension == (9.0, 13.0, 17.0)
    assert prune.edges.below_baseline == (2.0, 4.0, 6.0)
    assert prune.is_own("season_target")
    assert prune.is_own("edges.tension")
    assert not prune.is_own("edges.below_baseline")


def test_a_replaced_line_is_no_longer_provisional() -> None:
    walnut = load(walnut={"baseline": {"intercept_bar": -3.0, "slope_bar_per_kpa": -0.6}})["walnut"]
    assert walnut.baseline is not None
    assert not walnut.baseline.provisional


def test_a_new_crop_needs_no_line() -> None:
    cherry = load(cherry={"edges": {"tension": [8, 12, 15]}})["cherry"]
    assert cherry.baseline is None
    assert crops.edges_for(cherry, "tension") == (8.0, 12.0, 15.0)
    assert crops.edges_for(cherry, "tension", (1.0, 2.0, 3.0)) == (1.0, 2.0, 3.0)


def test_fresh_plum_is_no_prune_and_takings_of_edges_are_ours() -> None:
    profiles = load()
    assert profile_name("plum", profiles) is None
    assert profile_name("Ciruelo pasa", profiles) == "prune"
    for crop in ("prune", "almond", "walnut"):
        standings = {key: source.standing for key, source in profiles[crop].sources.items()}
        assert {standings[f"edges.{rank_by}"] for rank_by in crops.Edges.model_fields} == {"derived"}


def test_a_ranking_without_edges_names_crop_and_remedies() -> None:
    fig = load(fig={"season_target": [["05-01", -8.0]]})["fig"]
    with pytest.raises(SettingsError) as caught:
        crops.edges_for(fig, "tension", where="config/my_ranch.toml")
    assert str(caught.value) == (
        "config/my_ranch.toml, column crops.fig.edges.tension: fig has no edges for rank_by = "
        "'tension'. Write [crops.fig] edges = { tension = [..., ..., ...] } or [map] "
        "edges_bar, three rising numbers in bar."
    )


IN_BAR = 'Write potentials in bar, negative, as [["05-01", -6.0], ["08-01", -14.0]].'
AT = "ranch.toml, column crops.prune."


@pytest.mark.parametrize(
    ("own", "said"),
    [
        (
            {"basline": {}},
            "ranch.toml: unknown key 'crops.prune.basline'. Did you mean 'baseline'? Known here: allowance, "
            "also, baseline, cautions, crop_coefficient, cut_off, edges, harvest, hemisphere, levels, "
            "limit_bar, limit_within, mm_per_bar, name, roots, season_target, sources, stages, "
            "stress_coefficient, title, too_wet, "
            "usual_harvest, varieties, young.",
        ),
        (
            {"baseline": {"intercept": -4.1, "slope_bar_per_kpa": -1.2}},
            "ranch.toml: the key 'crops.prune.baseline.intercept_bar' is missing. Add it beside the other "
            "keys "
            "of that table.\nranch.toml: unknown key 'crops.prune.baseline.intercept'. Did you mean "
            "'intercept_bar'? Known here: intercept_bar, provisional, slope_bar_per_kpa, vpd_range_kpa.",
        ),
        (
            {"season_target": [["05-01", 6.0]]},
            f"{AT}season_target.0.1: input should be less than or equal to 0 (it is 6.0). {IN_BAR}",
        ),
        (
            {"season_target": [["13-01", -6.0]]},
            f"{AT}season_target.0.0: '13-01' is not a day of the year. Write month and day as \"05-01\".",
        ),
        (
            {"season_target": [["08-01", -6.0], ["05-01", -9.0], ["09-01", -9.0]]},
            f"{AT}season_target: the points are not in the order of the season. Begin with the first of the "
            "season.",
        ),
        (
            {"allowance": {"points": [["04-01", 1.0]], "least_bar": 2.0}},
            f"{AT}allowance: 1 bar on 04-01 is under least_bar = 2. Raise it or lower that.",
        ),
        (
            {"allowance": {"points": [["04-01", -2.0]]}},
            f"{AT}allowance.points.0.1: input should be greater than or equal to 0 (it is -2.0). Write bars "
            'below the fully watered line as points = [["04-01", 2.0], ["08-05", 6.0]].',
        ),
        (
            {"cut_off": {"least_days": 14, "most_days": 7}},
            f"{AT}cut_off: most_days = 7 is under least_days = 14. Exchange the two.",
        ),
        (
            {"edges": {"tension": [8, 6, 12]}},
            f"{AT}edges.tension: [8.0, 6.0, 12.0] does not rise. Write three rising numbers such as [0, 2, "
            "4].",
        ),
        (
            {"baseline": {"intercept_bar": -4.1, "slope_bar_per_kpa": 1.2}},
            f"{AT}baseline.slope_bar_per_kpa: input should be less than or equal to 0 (it is 1.2). Correct "
            f"it.",
        ),
    ],
)
def test_what_a_profile_does_not_know_is_refused(own: dict[str, Any], said: str) -> None:
    assert message(prune=own) == said


def test_several_wrong_crops_are_all_said() -> None:
    assert len(message(prune={"x": 1}, cherry={"y": 2}).splitlines()) == 2


def test_crop_names_in_capitals_are_the_same_crop() -> None:
    assert load(Prune={"season_target": [["05-01", -7.0]]})["prune"].season_target == (("05-01", -7.0),)


def test_a_variety_is_known_by_any_spelling_and_the_ranch_goes_before_it() -> None:
    walnut = load()["walnut"]
    chandler = walnut.varieties["Chandler"].allowance
    assert crops.for_variety(walnut, " chandler ").allowance == chandler
    for unknown in ("Hartley", None, float("nan"), ""):
        assert crops.for_variety(walnut, unknown) is walnut
    own = load(walnut={"allowance": {"points": [["05-01", 2.0]]}})["walnut"]
    assert crops.for_variety(own, "Chandler").allowance == own.allowance


def test_a_variety_of_the_ranch_has_what_the_ranch_wrote() -> None:
    vina = {"also": ["viña"], "baseline": {"intercept_bar": -3.0, "slope_bar_per_kpa": -1.0}}
    walnut = load(walnut={"varieties": {"Vina": vina}})["walnut"]
    found = crops.for_variety(walnut, "Viña")
    assert found.baseline is not None
    assert found.baseline.intercept_bar == -3.0
    assert found.allowance == walnut.allowance


@pytest.mark.parametrize("written", ["table grape", "Table_Grape", "TABLE GRAPE"])
def test_a_crop_of_two_words_is_known_by_any_spelling(written: str) -> None:
    grape = load(**{written: {"edges": {"tension": [6, 8, 10]}}})["table grape"]
    assert grape.edges.tension == (6.0, 8.0, 10.0)
    assert grape.levels
    assert profile_name("Uva de mesa", load()) == "table grape"


def test_a_crop_with_levels_only_names_them_where_it_has_no_edges() -> None:
    with pytest.raises(SettingsError) as caught:
        crops.edges_for(load()["pistachio"], "tension")
    assert str(caught.value) == (
        "ranch.toml, column crops.pistachio.edges.tension: pistachio has no edges for rank_by = 'tension'. "
        "Write [crops.pistachio] edges = { tension = [..., ..., ...] } or [map] edges_bar, three rising "
        "numbers in bar (of pistachio 15, 20 bar of tension are published)."
    )
