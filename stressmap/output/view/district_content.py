"""What the files of a district are made from: its ranches, their valve zones ranked over all, what failed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import shapely

from stressmap.core.district_schemas import DISTRICT_PROBLEMS, DISTRICT_VALVES, NUMBERS
from stressmap.core.notes import Note, NoteList
from stressmap.core.ranch_result import RanchResult
from stressmap.core.schemas import columns_of, hold
from stressmap.core.units import M2_PER_HA
from stressmap.output.text.words import Language
from stressmap.output.view.ranch_folders import WGS84, MappedRanch, read_ranches, titles_of

if TYPE_CHECKING:
    from typing import Literal

    from stressmap.water.shared_volume import SharedVolume

PROBLEM_COLUMNS = columns_of(DISTRICT_PROBLEMS)


@dataclass(frozen=True)
class DistrictContent:
    """All that the files of a district show.

    Parameters
    ----------
    name : str
        Of the district.
    languages : tuple of str
        Of its page, the first being the reader's own.
    results : tuple of RanchResult
        Every ranch, in the order of the district's list.
    titles : tuple of str
        A name for each of them, no two alike.
    ranches : tuple of MappedRanch
        Those that were mapped.
    valves : GeoDataFrame
        With the columns of ``district.csv`` and geometry in WGS 84, by rank over all.
    problems : DataFrame
        With the columns of ``problems.csv``.
    shared : SharedVolume or None
        The water that they share.
    notes : tuple of Note
        What there is to say of all of them together.
    """

    name: str
    languages: tuple[Language, ...]
    results: tuple[RanchResult, ...]
    titles: tuple[str, ...]
    ranches: tuple[MappedRanch, ...]
    valves: gpd.GeoDataFrame
    problems: pd.DataFrame
    shared: SharedVolume | None = None
    notes: tuple[Note, ...] = ()

    @property
    def title_of(self) -> dict[str, str]:
        """The title of each ranch by its folder."""
        return {one.slug: title for one, title in zip(self.results, self.titles, strict=True)}

    @property
    def units(self) -> Literal["us", "metric"]:
        """Those of most ranches; metric where as many have the others."""
        count = Counter(ranch.units for ranch in self.ranches)
        return "us" if count["us"] > count["metric"] else "metric"


def district_content(
    name: str,
    languages: Sequence[Language],
    results: Sequence[RanchResult],
    shared: SharedVolume | None = None,
) -> DistrictContent:
    """Read the ranches' folders and rank all valve zones together.

    Parameters
    ----------
    name : str
        Of the district.
    languages : sequence of str
        Of its page.
    results : sequence of RanchResult
        What came of each ranch; one whose folder cannot be read counts as failed.
    shared : SharedVolume, optional
        The water that they share.

    Returns
    -------
    DistrictContent
    """
    ranches, told = read_ranches(results)
    notes = NoteList()
    if len({ranch.rank_by for ranch in ranches}) > 1:
        notes.say("district_mixed_measures")
    return DistrictContent(
        name,
        tuple(languages),
        tuple(told),
        tuple(titles_of(told)),
        tuple(ranches),
        ranked_over_all(ranches),
        problems_table(told),
        shared,
        tuple(notes),
    )


def ranked_over_all(ranches: Sequence[MappedRanch]) -> gpd.GeoDataFrame:
    """Rank the valve zones of all ranches by urgency, as each ranch ranks its own.

    Parameters
    ----------
    ranches : sequence of MappedRanch
        With their valve zones.

    Returns
    -------
    GeoDataFrame
        With the columns of ``district.csv`` and ``geometry`` (WGS 84): those with a rank first, by priority,
        urgency, ranch and valve; a zone without a rank in its ranch has none here.
    """
    parts = [ranch.valves.assign(ranch=ranch.title, ranch_rank=ranch.valves["rank"]) for ranch in ranches]
    parts = [part for part in parts if len(part)]
    columns = [*columns_of(DISTRICT_VALVES), "geometry"]
    if not parts:
        return gpd.GeoDataFrame({name: [] for name in columns}, geometry="geometry", crs=WGS84)
    whole = pd.concat([pd.DataFrame(part).reindex(columns=columns).astype(object) for part in parts])
    for name in NUMBERS:
        whole[name] = whole[name].astype(float)
    whole = whole.astype({"priority": int, "readings": int, "visits_used": int, "tied_group": int})
    whole = whole.astype({"past_limit": bool, "measured": bool})
    ranked = whole["rank"].notna()
    whole = whole.assign(_last=~ranked, _wet=-whole["urgency"])
    whole = whole.sort_values(
        ["_last", "priority", "_wet", "ranch", "valve"], ignore_index=True, kind="stable"
    ).drop(columns=["_last", "_wet"])
    last = int(ranked.sum())
    place = pd.array([i + 1 if i < last else None for i in range(len(whole))], dtype="Int64")
    own = pd.array([None if pd.isna(one) else int(one) for one in whole["ranch_rank"]], dtype="Int64")
    whole = whole.assign(rank=place, ranch_rank=own)
    hold(pd.DataFrame(whole.drop(columns="geometry")), DISTRICT_VALVES)
    return gpd.GeoDataFrame(whole, geometry="geometry", crs=WGS84)


def problems_table(results: Sequence[RanchResult]) -> pd.DataFrame:
    """List what kept ranches from being mapped.

    Parameters
    ----------
    results : sequence of RanchResult
        Of a district.

    Returns
    -------
    DataFrame
        With the columns of ``problems.csv``, by ranch in the order of the list; no row where none failed.
    """
    listed = [
        (title, one.where, one.row, one.column, one.what, one.remedy)
        for result, title in zip(results, titles_of(results), strict=True)
        if result.failed
        for one in result.problems
    ]
    table = pd.DataFrame(listed, columns=list(PROBLEM_COLUMNS), dtype=object)
    return hold(table, DISTRICT_PROBLEMS)


def blocks_of(ranch: MappedRanch) -> gpd.GeoDataFrame:
    """Give the blocks of a ranch with the figures of their valve zones.

    Parameters
    ----------
    ranch : MappedRanch
        With blocks and valves.

    Returns
    -------
    GeoDataFrame
        In the working CRS: ``ranch``, ``block``, ``crop``, ``readings``, ``area_ha``, ``valves``,
        ``priority`` (of its most urgent valve zone), ``measured``, ``past_limit``, ``urgency`` (the
        greatest), ``stress_bar`` (mean by area), ``first_valve`` (the most urgent).
    """
    valves = ranch.valves
    weighed = valves.assign(
        _sum=valves["stress_bar"].astype(float) * valves["area_ha"].astype(float),
        _past=valves["past_limit"].astype(bool) & valves["measured"].astype(bool),
    ).sort_values(["block", "priority", "urgency", "valve"], ascending=[True, True, False, True])
    groups = weighed.groupby("block", sort=False)
    figures = pd.DataFrame(
        {
            "valves": groups.size(),
            "priority": groups["priority"].first(),
            "measured": groups["measured"].any(),
            "past_limit": groups["_past"].any(),
            "urgency": groups["urgency"].max(),
            "stress_bar": groups["_sum"].sum() / groups["area_ha"].sum(),
            "first_valve": groups["valve"].first(),
        }
    )
    own = figures.reindex(ranch.blocks["block"]).reset_index(drop=True)
    blocks = ranch.blocks[["block", "crop", "readings", "geometry"]].reset_index(drop=True)
    table = pd.concat([blocks, own], axis=1)
    table.insert(0, "ranch", ranch.title)
    table = table.assign(
        area_ha=table.geometry.area / M2_PER_HA,
        valves=table["valves"].fillna(0).astype(int),
        priority=table["priority"].fillna(4).astype(int),
        measured=table["measured"].astype("boolean").fillna(value=False).astype(bool),
        past_limit=table["past_limit"].astype("boolean").fillna(value=False).astype(bool),
    )
    return gpd.GeoDataFrame(table, geometry="geometry", crs=ranch.blocks.crs)


def outline_of(blocks: gpd.GeoDataFrame) -> shapely.MultiPolygon:
    """Join the blocks of a ranch to one shape.

    Parameters
    ----------
    blocks : GeoDataFrame
        Of one ranch.

    Returns
    -------
    MultiPolygon
    """
    joined = shapely.union_all(shapely.make_valid(blocks.geometry.to_numpy()))
    return shapely.MultiPolygon([p for p in shapely.get_parts(joined) if p.geom_type == "Polygon"])
