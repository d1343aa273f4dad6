"""A run without a single plot is refused, with the rows' own reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely
from pyproj import Transformer

from districtplan.errors import Fault, InputError
from districtplan.intake.zone import holds, zone_that_fits

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.grid import Grid

TOLD = 10


def require_some(
    plots: pd.DataFrame, set_aside: pd.DataFrame, name: str, zone: CRS | None = None
) -> pd.DataFrame:
    """Refuse to go on without plots.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots that can be used.
    set_aside : pandas.DataFrame
        ``source_row, plot_id, reason, remedy`` of the others.
    name : str
        Name of the plots file, as in the plan.
    zone : pyproj.CRS | None, default None
        UTM zone by which they would lie on the raster, if another than the file states.

    Returns
    -------
    pandas.DataFrame
        The plots.

    Raises
    ------
    InputError
        If there is no plot; with the reasons of the first ten rows.
    """
    if len(plots):
        return plots
    reasons = [
        Fault(f"{name} row {row.source_row}, plot {row.plot_id}", str(row.reason), str(row.remedy))
        for row in set_aside.head(TOLD).itertuples()
    ]
    if zone is not None:
        reasons.insert(0, _in_zone(name, zone))
    many = f"none of its {len(set_aside)} rows can be used" if len(set_aside) else "has no rows"
    raise InputError(Fault(name, many, "The reasons of the first rows follow"), *reasons)


def require_zone(outlines: NDArray[np.object_], name: str, crs: CRS, grid: Grid) -> None:
    """Refuse plots that all lie off the raster, and would lie on it in another UTM zone.

    Parameters
    ----------
    outlines : numpy.ndarray
        Outlines of the plots, at least one.
    name : str
        Name of the plots file, as in the plan.
    crs : pyproj.CRS
        CRS that the file states.
    grid : districtplan.grid.Grid
        Grid of the raster.

    Raises
    ------
    InputError
        If that is so; the message names the zone.
    """
    places = shapely.get_coordinates(shapely.centroid(outlines))
    x, y = Transformer.from_crs(crs, grid.crs, always_xy=True).transform(*places.T)
    if not holds(grid, x, y).any() and (fits := zone_that_fits(outlines, crs, grid)) is not None:
        raise InputError(_in_zone(name, fits))


def _in_zone(name: str, zone: CRS) -> Fault:
    return Fault(
        name,
        f"its plots lie off the raster, and would lie on it in {zone.name}",
        f"Assign the zone in a GIS (EPSG:{zone.to_epsg()}) if that is right, export again",
    )
