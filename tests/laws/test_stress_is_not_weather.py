"""Stress is the trees', not the weather's and not the season's: what holds on every date, crop, age and day.

Simulated truth: every tree stands a drawn number of bars below what a fully watered tree of its crop shows.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.indices import add_figures, block_figures
from stressmap.agronomy.orchard import Orchard, settle
from stressmap.agronomy.visit_weather import UsualWeather
from stressmap.core.settings import Settings, Water
from stressmap.water.crop_water_use import ReferenceEt
from stressmap.water.requirement import Requirement, RequirementFacts, requirements
from stressmap.zoning.priorities import priority
from stressmap.zoning.ranking import ZoneMeans, rank_valves

ZONE = "America/Los_Angeles"
CROPS = ("almond", "prune", "walnut")
AIR = st.tuples(st.floats(15.0, 45.0), st.floats(5.0, 90.0))
"""Temperature [°C] and humidity [%] of an afternoon."""
SEASON = st.dates(dt.date(2026, 1, 1), dt.date(2026, 12, 20))


def chosen(rank_by: str = "below_target") -> Settings:
    return Settings.model_validate(
        {
            "ranch": {"name": "Invented Ranch", "timezone": ZONE},
            "files": {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")},
            "map": {"rank_by": rank_by},
        }
    )


def orchard(
    *crops: str,
    planted: float = 2005.0,
    south: bool = False,
    own: dict[str, object] | None = None,
    **more: object,
) -> Orchard:
    """Settle a block a crop, A, B and so on, north or south of the equator."""
    north = 6_200_000.0 if south else 4_300_000.0
    blocks = gpd.GeoDataFrame(
        {"block": list("ABC")[: len(crops)], "crop": crops, "planted": planted, "harvest": None} | more,
        geometry=[
            shapely.box(6e5 + 500 * i, north, 6e5 + 500 * i + 400, north + 400) for i in range(len(crops))
        ],
        crs="EPSG:32719" if south else "EPSG:32610",
    )
    profiles = load_profiles({} if own is None else {crops[0]: own}, "ranch.toml")
    return settle(blocks, profiles, blocks_file="blocks.geojson").value


def visit(
    grown: Orchard,
    day: dt.date,
    air: list[tuple[float, float]],
    below: np.ndarray,
    blocks: str | list[str] = "A",
) -> pd.DataFrame:
    """Read trees that stand so many bar below their line, each in the air given for it."""
    temp, humidity = (np.array(column) for column in zip(*air, strict=True))
    start = pd.Timestamp(day).tz_localize(ZONE) + pd.Timedelta(hours=13)
    table = pd.DataFrame(
        {
            "row": np.arange(2, len(below) + 2),
            "block": blocks,
            "swp_bar": np.full(len(below), -1.0),
            "time": [start + pd.Timedelta(minutes=int(m)) for m in np.linspace(0, 119, len(below))],
            "temp_c": temp,
            "rh_pct": humidity,
        }
    )
    line = add_figures(table, grown, None, chosen("tension")).value["baseline_bar"]
    return table.assign(swp_bar=line.to_numpy() - below)


def stress(grown: Orchard, table: pd.DataFrame, rank_by: str = "below_target") -> np.ndarray:
    return add_figures(table, grown, None, chosen(rank_by)).value["stress_bar"].to_numpy()


def need_of(
    grown: Orchard, day: dt.date, table: pd.DataFrame, log: pd.DataFrame | None = None, days: int = 7
) -> Requirement:
    """Work out the need of one valve zone over the block from the mean of its readings."""
    figured = add_figures(table, grown, None, chosen()).value
    held = block_figures(grown, (day, day), figured, chosen())
    mean = ZoneMeans(np.array([figured["stress_bar"].mean()]), np.array([0.4]))
    zone = gpd.GeoDataFrame(
        {
            "valve": ["V"],
            "block": ["A"],
            "readings": [len(table)],
            "measured": [True],
            "last_irrigated": [None],
        },
        geometry=[shapely.box(0, 0, 200, 200)],
        crs="EPSG:32610",
    )
    crop = grown.blocks["crop"][0]
    edges = {crop: grown.profiles[crop].edges.below_target}
    ranked = rank_valves(zone, held, mean, edges, "below_target")
    facts = RequirementFacts(
        water=Water(),
        orchard=grown,
        rank_by="below_target",
        visit_end=day,
        start=day + dt.timedelta(days=1),
        next_turn=day + dt.timedelta(days=1 + days),
        eto=ReferenceEt({}, 6.0, "set"),
        log=log,
    )
    bare = {"rate_mm_h": 1.5, "flow_m3_h": np.nan, "min_hours": np.nan, "max_hours": np.nan, "pump": None}
    data = pd.DataFrame([{"valve": "V", "block": "A", **bare}])
    blocks = grown.blocks.assign(weight=1.0, irrigation="drip", soil=None)
    return requirements(ranked, data, blocks, facts)[0]


HARVESTS = {"almond": ("08-05", "08-30"), "prune": ("08-10", "09-05"), "walnut": ("09-15", "10-10")}
VARIETIES = {"almond": ("Nonpareil",), "prune": ("",), "walnut": ("Chandler", "Serr", "")}


def southern(harvest: str) -> str:
    """Give the same day half a year on, no later than a month's 28th: every month has that day."""
    month, day = map(int, harvest.split("-"))
    return f"{(month + 5) % 12 + 1:02d}-{min(day, 28):02d}"


def ran(day: dt.date, days_ago: int | None) -> pd.DataFrame | None:
    """Give a log with one set of twelve hours so many days before, or none."""
    if days_ago is None:
        return None
    end = pd.Timestamp(day - dt.timedelta(days=days_ago)).tz_localize(ZONE) + pd.Timedelta(hours=8)
    return pd.DataFrame(
        {"valve": ["V"], "start": [end - pd.Timedelta(hours=12)], "end": [end], "mm": [np.nan]}
    )


@settings(deadline=None, max_examples=60)
@given(st.data(), st.sampled_from(CROPS), SEASON, st.lists(AIR, min_size=1, max_size=4))
def test_trees_on_their_fully_watered_line_can_always_wait(
    data: st.DataObject, crop: str, day: dt.date, air: list[tuple[float, float]]
) -> None:
    """On every date, of every crop, variety, age and harvest, north and south, whatever the log says."""
    south = data.draw(st.booleans())
    harvest = data.draw(st.none() | st.sampled_from(HARVESTS[crop]))
    grown = orchard(
        crop,
        planted=float(data.draw(st.integers(2000, 2026))),
        south=south,
        harvest=southern(harvest) if harvest and south else harvest,
        variety=data.draw(st.sampled_from(VARIETIES[crop])),
    )
    table = visit(grown, day, air, np.zeros(len(air)))
    edges = grown.profiles[crop].edges.below_target
    assert (priority(stress(grown, table), edges) == 4).all()
    need = need_of(grown, day, table, ran(day, data.draw(st.none() | st.integers(0, 60))))
    assert need.need_mm <= need.etc_until_mm + 1e-9
    assert need.short_mm <= 0.0


@settings(deadline=None, max_examples=20)
@given(SEASON, AIR, AIR, st.lists(st.floats(-1.0, 14.0), min_size=3, max_size=3))
def test_zones_of_several_crops_stand_in_one_order_in_any_weather(
    day: dt.date, mild: tuple[float, float], hot: tuple[float, float], below: list[float]
) -> None:
    """The same trees: the same ranks, priorities and limits, on a mild and on a hot day."""
    grown = orchard(*CROPS)
    edges = {crop: grown.profiles[crop].edges.below_target for crop in CROPS}
    zones = gpd.GeoDataFrame(
        {"valve": list("ABC"), "block": list("ABC"), "readings": 1, "measured": True, "last_irrigated": None},
        geometry=list(grown.blocks.geometry),
        crs=grown.blocks.crs,
    )
    told = []
    for air in (mild, hot):
        table = visit(grown, day, [air] * 3, np.array(below), list("ABC"))
        figured = add_figures(table, grown, None, chosen()).value
        held = block_figures(grown, (day, day), figured, chosen())
        means = ZoneMeans(figured["stress_bar"].to_numpy().round(9), np.full(3, 0.5))
        told.append(rank_valves(zones, held, means, edges, "below_target"))
    for name in ("valve", "rank", "priority", "past_limit"):
        assert told[0][name].tolist() == told[1][name].tolist(), name


@settings(deadline=None, max_examples=20)
@given(
    st.sampled_from(CROPS),
    SEASON,
    AIR,
    AIR,
    st.lists(st.floats(-1.0, 14.0), min_size=2, max_size=6),
    st.sampled_from(["below_target", "below_baseline"]),
)
def test_the_same_trees_rank_and_need_alike_on_a_mild_and_on_a_hot_day(
    crop: str,
    day: dt.date,
    mild: tuple[float, float],
    hot: tuple[float, float],
    below: list[float],
    rank_by: str,
) -> None:
    grown, trees = orchard(crop), np.array(below)
    one, other = (visit(grown, day, [air] * len(trees), trees) for air in (mild, hot))
    np.testing.assert_allclose(stress(grown, one, rank_by), stress(grown, other, rank_by), atol=1e-9)
    needs = [need_of(grown, day, table) for table in (one, other)]
    assert abs(needs[0].need_mm - needs[1].need_mm) < 1e-6


@settings(deadline=None, max_examples=20)
@given(
    st.sampled_from(CROPS),
    SEASON,
    st.lists(AIR, min_size=3, max_size=6),
    st.sampled_from(["below_target", "tension"]),
)
def test_the_drift_of_an_afternoon_is_not_taken_for_stress(
    crop: str, day: dt.date, air: list[tuple[float, float]], rank_by: str
) -> None:
    """Trees that stand alike below their line get one figure, whenever in the window they were read."""
    grown = orchard(crop)
    table = visit(grown, day, air, np.full(len(air), 5.0))
    assert np.ptp(stress(grown, table, rank_by)) < 1e-9


@settings(deadline=None, max_examples=20)
@given(st.floats(-12.0, -1.0), st.floats(-20.0, -1.0), SEASON, st.floats(0.5, 5.0))
def test_no_season_of_a_ranch_makes_a_tree_on_its_line_dry(
    spring: float, harvest: float, day: dt.date, usual_kpa: float
) -> None:
    """However wet the ranch's own absolute targets are, with weather they allow the crop's least."""
    grown = orchard("prune", own={"season_target": [["04-01", spring], ["09-01", harvest]]})
    days = pd.date_range("2026-01-01", "2026-12-31", freq="D").to_numpy().astype("datetime64[D]")
    settled = replace(grown, usual=UsualWeather(days, np.full(len(days), usual_kpa)))
    table = visit(settled, day, [(38.0, 20.0)], np.zeros(1))
    assert stress(settled, table)[0] <= -2.0  # the driest published spring band of prune begins 2 bar below


def test_a_week_in_which_the_line_falls_and_the_trees_stay_leaves_priorities_as_they_are() -> None:
    """The line of prune falls 1.7 bar where the deficit rises by 1.41 kPa; the target moves by under 0.3."""
    grown = orchard("prune")
    below = np.linspace(-1.0, 11.0, 52)
    first, second = dt.date(2026, 6, 22), dt.date(2026, 6, 29)
    mild = visit(grown, first, [(32.0, 40.0)] * 52, below)
    hot = visit(grown, second, [(37.0, 32.0)] * 52, below)
    fell = (mild["swp_bar"] - hot["swp_bar"]).to_numpy()
    np.testing.assert_allclose(fell, 1.7, atol=0.1)
    edges = grown.profiles["prune"].edges.below_target
    shares = [(priority(stress(grown, table), edges) == 1).sum() for table in (mild, hot)]
    assert abs(int(shares[0]) - int(shares[1])) <= 2


def test_a_hot_june_day_on_the_line_gives_no_water_for_a_shortage() -> None:
    grown = orchard("prune")
    day = dt.date(2026, 6, 24)
    need = need_of(grown, day, visit(grown, day, [(41.0, 15.0)] * 5, np.zeros(5)))
    assert need.need_mm < need.etc_until_mm
    assert need.short_mm < 0.0
