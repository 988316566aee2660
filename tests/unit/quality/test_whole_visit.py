"""Readings that are wrong together: places cut short or shared, figures all alike."""

import numpy as np
import pandas as pd
import pytest
from helpers import invented_ranch as ranch
from helpers.told import english

from stressmap.quality.whole_visit import remarks

BLOCKS = ranch.blocks()
CLEAN = ranch.readings(BLOCKS, per_block=6)


def said(**columns: object) -> list[str]:
    table = CLEAN.assign(**columns)
    out = ranch.assess(table, BLOCKS, keep=["unit_suspect", "impossible_value"])
    return english(remarks(out[out["used"]]))


def test_clean_readings_pass() -> None:
    assert said() == []


def test_places_cut_to_three_decimals_are_said() -> None:
    coarse, *_ = said(lon=CLEAN["lon"].round(3), lat=CLEAN["lat"].round(3))
    assert coarse == (
        "The positions have 3 decimals of a degree only, about 365 ft: readings may be put into the wrong "
        "valve zone, and the map shows nothing finer. Give five decimals or more."
    )


def test_places_of_four_decimals_pass() -> None:
    assert said(lon=CLEAN["lon"].round(4), lat=CLEAN["lat"].round(4)) == []


@pytest.mark.parametrize("named", [True, False])
def test_all_trees_on_one_spot_are_said(named: bool) -> None:  # noqa: FBT001
    names = CLEAN["tree_id"] if named else None
    told = said(lon=CLEAN.loc[0, "lon"], lat=CLEAN.loc[0, "lat"], tree_id=names)
    assert told == [
        "24 trees stand on 1 spot (row 2, 3, 4, 5, 6, 7, 8, 9 and 16 more). The map cannot tell how stress "
        "lies between them; write down where each tree stands."
    ]


def test_two_trees_on_one_spot_and_two_leaves_of_a_tree_pass() -> None:
    table = pd.concat([CLEAN, CLEAN.iloc[:6].assign(pressure_bar=lambda t: t["pressure_bar"] + 0.3)])
    table = table.assign(row=range(2, len(table) + 2)).reset_index(drop=True)
    table.loc[1, ["lon", "lat"]] = table.loc[0, ["lon", "lat"]].tolist()
    out = ranch.assess(table, BLOCKS)
    assert list(remarks(out[out["used"]])) == []
    nameless = out.assign(tree_id=None)
    assert list(remarks(nameless[nameless["used"]])) == []


@pytest.mark.parametrize("bar", [70.0, 12.0])
def test_a_whole_ranch_at_one_figure_is_said(bar: float) -> None:
    assert said(pressure_bar=bar, recheck_bar=np.nan) == [
        f"All 24 readings are {bar:.1f} bar. Trees are never all alike: the gauge at its stop, or one figure "
        "filled down the column? Do not water by this."
    ]


def test_a_crew_with_a_gauge_in_psi_is_told_its_stop_in_psi() -> None:
    """70 bar are 1,015 psi: 14.5038 each (NIST Special Publication 811, appendix B.8)."""
    told = said(pressure_bar=70.0, recheck_bar=np.nan, unit="psi")
    assert told[0].startswith("All 24 readings are 70.0 bar (1,015 psi). Trees are never all alike:")


def test_of_four_readings_nothing_is_said() -> None:
    few = CLEAN.iloc[:4].assign(pressure_bar=70.0, tree=0, lon=-121.0, lat=38.0)
    assert list(remarks(few)) == []
    assert len(list(remarks(CLEAN.iloc[:5].assign(pressure_bar=70.0, tree=0, lon=-121.0, lat=38.0)))) > 1
