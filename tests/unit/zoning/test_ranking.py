"""From zone means to an order: ties, blocks without readings, change since the visit before."""

import datetime as dt

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from stressmap.core.unsure_sets import UnsureSets, with_unsure
from stressmap.geostat.ordinary_kriging import OrdinarySurface, Variogram
from stressmap.geostat.samples import Places, Samples
from stressmap.zoning.change import (
    VisitMeans,
    compare_visits,
    irrigated_between,
    means_before,
    unread_in_log,
)
from stressmap.zoning.grid_cells import lattice
from stressmap.zoning.mapping import RanchLayout
from stressmap.zoning.ranking import ZoneMeans, classify, last_irrigated, rank_valves, tied_groups, tied_ranks
from stressmap.zoning.urgency import urgency
from stressmap.zoning.value_of_information import (
    WateringDecision,
    area_threshold,
    expected_gain,
    look_again,
    nearest_trees,
    short_walk,
)

RANKINGS = {"below_target", "below_baseline", "tension"}
EDGES = {"prune": (0.0, 2.0, 4.0), "walnut": (0.0, 1.0, 2.0)}


def figures(mean, se) -> ZoneMeans:
    return ZoneMeans(np.array(mean, dtype=float), np.array(se, dtype=float))


def valve_table(measured=(True, True, True)) -> gpd.GeoDataFrame:
    shapes = [shapely.box(i * 100, 0, i * 100 + 100, 100) for i in range(3)]
    table = {
        "valve": ["A1", "A2", "B1"], "block": ["A", "A", "B"], "readings": [2, 0, 1],
        "measured": list(measured), "last_irrigated": [None, None, None],
    }  # fmt: skip
    return gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:32610")


def block_table() -> pd.DataFrame:
    table = {"crop": ["prune", "walnut"], "target_bar": [-12.0, -6.0], "baseline_bar": [-8.0, np.nan]}
    return pd.DataFrame(table, index=pd.Index(["A", "B"], name="block"))


def test_rank_one_is_the_most_urgent_on_its_own_crops_edges():
    ranked = rank_valves(
        valve_table(), block_table(), figures([1.5, 3.0, 2.5], [0.1] * 3), EDGES, "below_target"
    )
    # 2.5 bar is over the walnut's highest edge of 2, 3.0 bar under the prune's of 4
    assert ranked["valve"].tolist() == ["B1", "A2", "A1"]
    assert ranked["rank"].tolist() == [1, 2, 3]
    assert ranked["priority"].tolist() == [1, 2, 3]
    # no limit is known of either: over the highest edge 4 is neared, never reached
    assert ranked["urgency"].tolist() == pytest.approx([4 - np.exp(-0.5), 2.5, 1.75])
    assert ranked["swp_bar"].tolist() == [-8.5, -15.0, -13.5]
    assert ranked["area_ha"].tolist() == [1.0, 1.0, 1.0]


@pytest.mark.parametrize(("rank_by", "swp"), [("below_baseline", -9.5), ("tension", -1.5)])
def test_the_potential_is_told_back_from_the_figure_that_was_mapped(rank_by, swp):
    ranked = rank_valves(valve_table(), block_table(), figures([1.5, 1.0, 0.5], [0.1] * 3), EDGES, rank_by)
    assert ranked["swp_bar"][0] == swp


def test_equals_stand_in_the_order_of_their_names():
    alike = {"prune": (0.0, 2.0, 4.0), "walnut": (0.0, 2.0, 4.0)}
    ranked = rank_valves(valve_table(), block_table(), figures([2, 2, 2], [1] * 3), alike, "below_target")
    assert ranked["valve"].tolist() == ["A1", "A2", "B1"]


def test_blocks_without_a_reading_may_be_left_out_of_the_ranking():
    args = (
        valve_table((True, True, False)),
        block_table(),
        figures([1, 2, 9], [1] * 3),
        EDGES,
        "below_target",
    )
    assert rank_valves(*args)["valve"][0] == "B1"
    ranked = rank_valves(*args, rank_unmeasured=False)
    assert ranked["valve"].tolist() == ["A2", "A1", "B1"]
    assert ranked["rank"].tolist()[:2] == [1, 2]
    assert pd.isna(ranked["rank"][2])


def test_the_interval_and_the_odds_are_those_of_a_normal_error():
    judged = classify(figures([4.5], [0.5]), ["prune"], EDGES).iloc[0]
    assert judged["low_bar"] == pytest.approx(4.5 - 1.644854 * 0.5, abs=1e-6)
    assert judged["high_bar"] == pytest.approx(4.5 + 1.644854 * 0.5, abs=1e-6)
    assert judged["p_first"] == pytest.approx(norm.cdf(1.0))
    assert judged["confidence"] == judged["p_first"]


def test_valves_are_tied_while_the_odds_of_a_swap_are_over_three_in_ten():
    spread = np.hypot(1, 1)
    far = spread * norm.isf(0.3)
    assert tied_groups(figures([5, 5 - 0.99 * far], [1, 1])).tolist() == [1, 1]
    assert tied_groups(figures([5, 5 - 1.01 * far], [1, 1])).tolist() == [0, 0]
    three = figures([5, 5 - 0.9 * far, 5 - 1.2 * far], [1, 1, 1])
    assert tied_groups(three).tolist() == [1, 1, 0]
    # The third is far from the first, but not from the second: that pair is told of too.
    assert tied_ranks(three) == ["1-2", "1-3", "2-3"]
    assert tied_groups(figures([5, 3, 3], [0.1, 0.1, 0.1])).tolist() == [0, 1, 1]
    assert tied_groups(figures([5, 5], [0, 0])).tolist() == [1, 1]
    assert tied_groups(figures([], [])).tolist() == []


def test_change_is_called_only_where_its_interval_leaves_out_zero():
    held = pd.DataFrame({"target_bar": [-12.0] * 3, "baseline_bar": [-8.0] * 3})
    before, now = figures([3, 3, 3], [0.3] * 3), figures([1, 5, 3.5], [0.4] * 3)
    told = compare_visits(VisitMeans(before, held), VisitMeans(now, held))
    assert told["change_bar"].tolist() == [-2.0, 2.0, 0.5]
    assert told["change_se_bar"].tolist() == pytest.approx([0.5] * 3)
    assert told["change"].tolist() == ["relieved", "drier", "no clear change"]


def test_no_change_without_any_error_is_neither_relieved_nor_drier():
    held = pd.DataFrame({"target_bar": [-12.0], "baseline_bar": [-8.0]})
    same = VisitMeans(figures([3], [0.0]), held)
    assert compare_visits(same, same)["change"].tolist() == ["no clear change"]


WATERED, ALLOWED, TREES = st.floats(-12, -4), st.floats(1, 8), st.floats(-3, 12)


@given(WATERED, WATERED, ALLOWED, ALLOWED, TREES, TREES, st.sampled_from(sorted(RANKINGS)))
def test_the_change_of_the_gauge_is_that_of_weather_and_trees(line0, line1, a0, a1, dry0, dry1, rank_by):
    """Whatever is ranked: trees so many bar under their fully watered line at either visit."""
    visits = []
    for line, allowed, dry in ((line0, a0, dry0), (line1, a1, dry1)):
        held = pd.DataFrame({"target_bar": [line - allowed], "baseline_bar": [line]})
        mean = {"below_target": dry - allowed, "below_baseline": dry, "tension": dry - line}[rank_by]
        visits.append(VisitMeans(figures([mean], [0.3]), held))
    told = compare_visits(*visits, rank_by).iloc[0]
    assert told["gauge_change_bar"] == pytest.approx((dry1 - line1) - (dry0 - line0))
    assert told["weather_change_bar"] == pytest.approx(line0 - line1)
    assert told["trees_change_bar"] == pytest.approx(dry1 - dry0)
    assert told["change_bar"] == told["trees_change_bar"]
    assert told["target_change_bar"] == pytest.approx((line0 - a0) - (line1 - a1))
    now = visits[1].figures
    back = means_before(told.to_frame().T.assign(stress_bar=now.mean, stress_se_bar=now.se), rank_by)
    assert back.mean == pytest.approx(visits[0].figures.mean)
    assert back.se == pytest.approx(visits[0].figures.se, abs=1e-6)


def test_without_weather_the_change_of_the_gauge_is_taken_as_the_trees():
    held = pd.DataFrame({"target_bar": [-12.0], "baseline_bar": [np.nan]})
    told = compare_visits(VisitMeans(figures([1], [0.1]), held), VisitMeans(figures([2], [0.1]), held)).iloc[
        0
    ]
    assert np.isnan(told["weather_change_bar"])
    assert (told["gauge_change_bar"], told["trees_change_bar"]) == (1.0, 1.0)


EDGE_TRIPLES = st.tuples(st.floats(-2, 2), st.floats(0.2, 3), st.floats(0.2, 3)).map(
    lambda t: (t[0], t[0] + t[1], t[0] + t[1] + t[2])
)


@given(
    st.lists(st.tuples(st.floats(-10, 25), st.booleans()), min_size=2, max_size=8),
    EDGE_TRIPLES,
    EDGE_TRIPLES,
    st.floats(-5, 20) | st.just(float("nan")),
)
def test_no_lower_priority_is_ever_more_urgent(zones, prune, walnut, limit):
    mean = np.array([bar for bar, _ in zones])
    crops = ["walnut" if nut else "prune" for _, nut in zones]
    judged = classify(
        figures(mean, [0.5] * len(zones)),
        crops,
        {"prune": prune, "walnut": walnut},
        np.full(len(zones), limit),
    )
    place, level = judged["urgency"].to_numpy(), judged["priority"].to_numpy()
    ahead = place[:, None] > place[None, :] + 1e-9
    assert (level[:, None] <= level[None, :])[ahead].all()
    past = judged["past_limit"].to_numpy()
    assert (past[:, None] >= past[None, :])[ahead].all()
    assert (judged.loc[judged["past_limit"], "priority"] == 1).all()


def test_urgency_is_the_place_on_the_crops_own_edges():
    """docs/contract.md: 1, 2 and 3 at the edges, 4 at the limit, straight between."""
    edges, limit = (1.0, 2.0, 4.0), np.full(6, 10.0)
    assert urgency([1.0, 2.0, 4.0, 10.0, 1.5, 7.0], edges, limit).tolist() == [1.0, 2.0, 3.0, 4.0, 1.5, 3.5]
    judged = classify(figures([10.0, 10.1], [0.1, 0.1]), ["prune"] * 2, {"prune": edges}, np.full(2, 10.0))
    assert judged["past_limit"].tolist() == [False, True]


def test_a_zone_past_its_limit_stands_before_any_of_a_crop_without_one():
    mean = np.array([30.0, 11.0])
    judged = classify(figures(mean, [0.5, 0.5]), ["walnut", "prune"], EDGES, np.array([np.nan, 10.0]))
    assert judged["past_limit"].tolist() == [False, True]
    assert judged["urgency"][1] > judged["urgency"][0]


def test_the_error_of_the_lines_slope_counts_in_a_change():
    """A fifth of what the line moved, as one standard error (docs/references.md names it a judgement)."""
    mild, hot = (pd.DataFrame({"target_bar": [b - 4.0], "baseline_bar": [b]}) for b in (-6.0, -8.0))
    told = compare_visits(VisitMeans(figures([1], [0.3]), mild), VisitMeans(figures([1], [0.4]), hot))
    assert told["change_se_bar"].tolist() == pytest.approx([np.hypot(0.5, 0.2 * 2.0)])


def test_the_error_of_urgency_is_that_of_the_figure_in_steps_of_its_scale():
    """Edges are 2 bar apart for prune and 1 bar for walnut: an error of 0.25 bar is 1/8 and 1/4 of a step."""
    judged = classify(figures([1.0, 0.5], [0.25, 0.25]), ["prune", "walnut"], EDGES)
    assert judged["urgency_se"].tolist() == pytest.approx([0.125, 0.25])


def test_irrigation_between_visits_is_looked_up_in_the_log():
    zone = "America/Los_Angeles"
    log = pd.DataFrame(
        {
            "valve": ["A1", "A2", "A1"],
            "start": pd.to_datetime(["2026-07-02 20:00", "2026-06-20 20:00", "2026-08-01 20:00"]).tz_localize(
                zone
            ),
            "end": pd.to_datetime(["2026-07-03 06:00", "2026-06-21 06:00", "2026-08-02 06:00"]).tz_localize(
                zone
            ),
        }
    )
    since, until = pd.Timestamp("2026-06-26", tz=zone), pd.Timestamp("2026-07-14", tz=zone)
    assert irrigated_between(["A1", "A2", "B1"], log, since, until) == [True, False, None]
    assert irrigated_between(["A1"], None, since, until) == [None]
    assert last_irrigated(["A1", "A2", "B1"], log, until) == [log["end"][0], log["end"][1], None]


@pytest.mark.parametrize(
    ("first", "last", "known"),
    [
        ("2026-06-01", "2026-07-20", False),  # kept throughout, no entry
        ("2026-06-01", "2026-06-20", None),  # ended before the time asked for
        ("2026-07-12", "2026-07-20", None),  # begun after it
    ],
)
def test_a_valve_is_not_called_dry_by_a_log_that_does_not_reach(first, last, known):
    zone = "America/Los_Angeles"
    start = pd.to_datetime([first, last]).tz_localize(zone)
    log = pd.DataFrame({"valve": ["A1", "B1"], "start": start, "end": start + pd.Timedelta(hours=8)})
    since, until = pd.Timestamp("2026-07-01", tz=zone), pd.Timestamp("2026-07-10", tz=zone)
    assert irrigated_between(["A1", "Z9"], log, since, until) == [known, None]


@pytest.mark.parametrize(
    ("day", "known", "said"),
    [
        (dt.date(2026, 7, 5), None, True),
        (None, None, True),
        (dt.date(2026, 6, 30), None, True),  # the night before may run into the time asked for
        (dt.date(2026, 6, 10), False, True),  # after its last set, before the time asked for
        (dt.date(2026, 5, 30), False, False),
        (dt.date(2026, 7, 12), False, False),
    ],
)
def test_a_row_of_the_log_that_could_not_be_used_leaves_open_whether_a_valve_ran(day, known, said):
    zone = "America/Los_Angeles"
    start = pd.to_datetime(["2026-06-01", "2026-07-05", "2026-07-20"]).tz_localize(zone)
    log = pd.DataFrame({"valve": ["A1", "B1", "B1"], "start": start, "end": start + pd.Timedelta(hours=8)})
    with_unsure(log, UnsureSets.of([("A1", day), ("B1", day)]))
    since, until = pd.Timestamp("2026-07-01", tz=zone), pd.Timestamp("2026-07-10", tz=zone)
    assert irrigated_between(["A1", "B1"], log, since, until) == [known, True]
    assert ("A1" in unread_in_log(["A1", "B1"], log, until.date(), since.date())) is said


def test_change_is_called_beyond_one_and_six_tenths_of_its_error():
    """The 90 % interval is 1.645 standard errors either way, whatever their size."""
    for se in (0.5, 3.0):
        step = np.array([-1.66, -1.63, 1.63, 1.66]) * se
        held = pd.DataFrame({"target_bar": [-12.0] * 4, "baseline_bar": [-8.0] * 4})
        before, now = figures([0] * 4, [0] * 4), figures(step, [se] * 4)
        told = compare_visits(VisitMeans(before, held), VisitMeans(now, held))
        assert told["change"].tolist() == ["relieved", "no clear change", "no clear change", "drier"]


@pytest.mark.parametrize(
    ("start", "end", "ran"),
    [
        ("2026-07-01 20:00", "2026-07-02 00:00", False),  # ends as the earlier visit does
        ("2026-07-01 20:00", "2026-07-02 00:01", True),
        ("2026-07-09 23:59", "2026-07-11 06:00", True),
        ("2026-07-10 00:00", "2026-07-11 06:00", False),  # begins as the later visit does
        ("2026-06-01 00:00", "2026-08-01 00:00", True),
    ],
)
def test_a_set_counts_if_any_of_it_lies_between_the_visits(start, end, ran):
    zone = "America/Los_Angeles"
    log = pd.DataFrame(
        {"valve": ["A1"], "start": [pd.Timestamp(start, tz=zone)], "end": [pd.Timestamp(end, tz=zone)]}
    )
    days = [pd.Timestamp(day, tz=zone) for day in ("2026-06-30", "2026-07-01", "2026-07-10", "2026-07-11")]
    others = pd.DataFrame({"valve": ["B1", "B1"], "start": days[::2], "end": days[1::2]})
    log = pd.concat([log, others], ignore_index=True)
    since, until = pd.Timestamp("2026-07-02", tz=zone), pd.Timestamp("2026-07-10", tz=zone)
    assert irrigated_between(["A1"], log, since, until) == [ran]


@pytest.mark.parametrize(("distance", "spread"), [(0.0, 1.0), (0.7, 0.4), (-1.3, 2.0)])
def test_what_knowing_more_is_worth_is_the_expected_loss_avoided(distance, spread):
    """The definition, integrated numerically: expected gain of choosing after the mean has moved."""
    density = norm(distance, spread).pdf
    after = quad(
        lambda m: max(m, 0.0) * density(m), distance - 12 * spread, distance + 12 * spread, points=[0.0]
    )[0]
    assert expected_gain([distance], [spread])[0] == pytest.approx(after - max(distance, 0.0), abs=1e-9)


def test_the_cut_lies_where_the_share_of_the_area_is_used_up():
    assert area_threshold(np.array([5.0, 4.0, 1.0]), np.array([1.0, 1.0, 2.0]), 0.5) == 2.5
    assert area_threshold(np.array([5.0]), np.array([1.0]), 0.25) == 5.0


def test_the_walk_is_no_longer_than_the_best_of_all_orders():
    from itertools import permutations

    points = np.random.default_rng(3).uniform(0, 100, (7, 2))

    def length(order):
        return np.hypot(*(points[list(order)][1:] - points[list(order)][:-1]).T).sum()

    best = min(length(order) for order in permutations(range(7)))
    assert sorted(short_walk(points)) == list(range(7))
    assert length(short_walk(points)) <= 1.05 * best


def test_one_looks_again_where_the_choice_is_open_not_where_least_is_known():
    """Two equal blocks; in one the valve stands at the cut, the other is far from it and unknown."""
    shapes = [shapely.box(i * 300, 0, i * 300 + 200, 200) for i in range(2)]
    blocks = gpd.GeoDataFrame(
        {"block": ["open", "settled"], "crop": "prune"}, geometry=shapes, crs="EPSG:32610"
    )
    valves = gpd.GeoDataFrame(
        {"valve": ["o", "s"], "block": blocks["block"]}, geometry=shapes, crs="EPSG:32610"
    )
    xy = np.array([[100.0, 100.0], [100.0, 60.0], [400.0, 100.0]])
    code = np.array([0, 0, 1])
    samples = Samples(Places(xy, code, code, np.zeros(3, dtype=int)), np.array([3.0, 3.2, 9.0]), np.arange(3))
    surface = OrdinarySurface(samples, Variogram(1.0, 100.0, 0.3))
    stakes = WateringDecision(figures([3.1, 9.0], [0.5, 1.5]), np.ones(2), 3.0)
    chosen = look_again(surface, RanchLayout(blocks, valves, lattice(blocks, 10.0)), stakes, count=4)
    assert set(chosen["valve"]) == {"o"}
    assert chosen["order"].tolist() == [1, 2, 3, 4]
    assert shapes[0].buffer(-15).covers(chosen.geometry.union_all())
    assert not chosen.geometry.duplicated().any()


def test_no_place_is_asked_twice_however_noisy_a_reading_is() -> None:
    """Where one reading settles little, the best place stays the best: it is asked once all the same."""
    shape = shapely.box(0, 0, 200, 200)
    blocks = gpd.GeoDataFrame({"block": ["A"], "crop": "prune"}, geometry=[shape], crs="EPSG:32610")
    xy = np.array([[50.0, 50.0], [100.0, 150.0], [150.0, 30.0]])
    code = np.zeros(3, dtype=np.int64)
    samples = Samples(Places(xy, code, code, code), np.array([3.0, 3.2, 2.9]), np.arange(3))
    surface = OrdinarySurface(samples, Variogram(1.0, 100.0, 9.0))
    ground = RanchLayout(blocks, blocks.assign(valve="A"), lattice(blocks, 10.0))
    chosen = look_again(surface, ground, WateringDecision(figures([3.0], [1.0]), np.ones(1), 3.0), count=10)
    assert len(chosen) == 5, "five places are tried in a valve zone"
    assert not chosen.geometry.duplicated().any()


def test_a_block_all_edge_has_no_place_to_ask_and_others_have():
    """Thirty metres wide, its middle is 15 m from the road: no tree there is asked."""
    shapes = [shapely.box(0, 0, 300, 30), shapely.box(400, 0, 600, 200)]
    blocks = gpd.GeoDataFrame(
        {"block": ["strip", "wide"], "crop": "prune"}, geometry=shapes, crs="EPSG:32610"
    )
    valves = gpd.GeoDataFrame(
        {"valve": ["s", "w"], "block": blocks["block"]}, geometry=shapes, crs="EPSG:32610"
    )
    xy = np.array([[50.0, 15.0], [450.0, 100.0], [550.0, 60.0]])
    code = np.array([0, 1, 1])
    samples = Samples(Places(xy, code, code, np.zeros(3, dtype=int)), np.array([3.0, 3.2, 2.8]), np.arange(3))
    surface = OrdinarySurface(samples, Variogram(1.0, 100.0, 0.3))
    ground = RanchLayout(blocks, valves, lattice(blocks, 10.0))
    chosen = look_again(
        surface, ground, WateringDecision(figures([3.0, 3.0], [1.0, 1.0]), np.ones(2), 3.0), count=3
    )
    assert chosen["valve"].tolist() == ["w"] * 3


def test_nothing_is_asked_where_nothing_is_open():
    shapes = [shapely.box(0, 0, 200, 200)]
    blocks = gpd.GeoDataFrame({"block": ["A"], "crop": "prune"}, geometry=shapes, crs="EPSG:32610")
    xy = np.array([[50.0, 50.0], [100.0, 150.0], [150.0, 30.0]])
    code = np.zeros(3, dtype=np.int64)
    samples = Samples(Places(xy, code, code, code), np.array([3.0, 3.2, 9.0]), np.arange(3))
    surface = OrdinarySurface(samples, Variogram(1.0, 100.0, 0.3))
    ground = RanchLayout(blocks, blocks.assign(valve="A"), lattice(blocks, 10.0))
    assert len(look_again(surface, ground, WateringDecision(figures([5.0], [0.0]), np.ones(1), 1.0))) == 0


def test_a_place_is_named_after_the_nearest_tree_of_its_own_valve_zone():
    places = gpd.GeoDataFrame(
        {"valve": ["A", "A", "B", "C"]},
        geometry=gpd.points_from_xy([0, 100, 0, 0], [0, 0, 0, 0]),
        crs="EPSG:32610",
    )
    trees = gpd.GeoDataFrame(
        {
            "tree_id": ["far", "near", None, "other", "edge", "lost"],
            "valve": ["A", "A", "A", "B", "A", "C"],
            "used": [True, False, True, True, True, False],
        },
        geometry=[*gpd.points_from_xy([9, 5, 1, 3, 112], [0] * 5), None],
        crs="EPSG:32610",
    )
    assert nearest_trees(places, trees) == ["near", "edge", "other", None]
    assert nearest_trees(places, trees.iloc[:0]) == [None] * 4
