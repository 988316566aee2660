"""Parts of what the files of a run are made from."""

from __future__ import annotations

from typing import Any

import geopandas as gpd

from stressmap.intake.inputs import Inputs
from stressmap.output.view.content import Raster
from stressmap.zoning.grid_cells import Lattice
from stressmap.zoning.mapping import Mapped


def risers_of(inputs: Inputs) -> dict[str, Any]:
    """Give where the risers of valves are, of those that the valve file has.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.

    Returns
    -------
    dict of str to Point
        In the working CRS, by valve.
    """
    known = inputs.valves[inputs.valves["riser_lon"].notna()]
    degrees = gpd.GeoSeries(gpd.points_from_xy(known["riser_lon"], known["riser_lat"]), crs="EPSG:4326")
    return dict(zip(known["valve"], degrees.to_crs(inputs.crs), strict=True))


def raster_of(inputs: Inputs, grid: Lattice, mapped: Mapped) -> Raster:
    """Give the mapped cells with their place.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    grid : Lattice
        Of the ranch.
    mapped : Mapped
        From :func:`stressmap.zoning.mapping.map_blocks`.

    Returns
    -------
    Raster
    """
    return Raster(
        crs=inputs.crs.to_string(),
        west=grid.west,
        north=grid.north,
        cell_m=grid.cell_m,
        shape=grid.shape,
        row=mapped.row,
        col=mapped.col,
        stress_bar=mapped.stress_bar,
        stress_se_bar=mapped.stress_se_bar,
    )
