"""Conversion of readings' tables to the arrays of ``geostat``; codes are positions in the ranch's tables."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np

from stressmap.core.arrays import Floats
from stressmap.geostat.samples import Places, Samples
from stressmap.quality.tree_identity import tree_codes

CovariateAt = Callable[[Floats], Floats]


def crop_codes(blocks: gpd.GeoDataFrame) -> dict[str, int]:
    """Give each crop of a ranch a code.

    Parameters
    ----------
    blocks : GeoDataFrame
        With ``crop``.

    Returns
    -------
    dict
        Code of each crop, in the order of their names.
    """
    return {name: code for code, name in enumerate(sorted(blocks["crop"].unique()))}


def usable_samples(
    readings: gpd.GeoDataFrame,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    *,
    covariate: CovariateAt | None = None,
) -> Samples:
    """Take the readings that may be used as arrays.

    Parameters
    ----------
    readings : GeoDataFrame
        In the working CRS: ``used``, ``block``, ``valve``, ``tree_id``, ``lon``, ``lat``, ``stress_bar``.
    blocks, valves : GeoDataFrame
        The ranch's; a block or valve-zone code is a position in them.
    covariate : callable, optional
        Gives a covariate at places.

    Returns
    -------
    Samples
        As many as ``used`` is true.
    """
    used = readings[readings["used"]]
    block_code = {name: code for code, name in enumerate(blocks["block"])}
    valve_code = {name: code for code, name in enumerate(valves["valve"])}
    crop = dict(zip(blocks["block"], blocks["crop"], strict=True))
    crop_code = crop_codes(blocks)
    xy = np.column_stack([used.geometry.x, used.geometry.y])
    places = Places(
        xy=xy,
        block=np.array([block_code[b] for b in used["block"]], dtype=np.int64),
        valve=np.array([valve_code.get(v, -1) for v in used["valve"]], dtype=np.int64),
        crop=np.array([crop_code[crop[b]] for b in used["block"]], dtype=np.int64),
        covariate=None if covariate is None else covariate(xy),
    )
    stress = used["stress_bar"].to_numpy(dtype=float)
    return Samples(places, stress, tree_codes(used).to_numpy(dtype=np.int64))
