"""A run without a single plot is refused, with the rows' own reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    import pandas as pd
    from pyproj import CRS

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
        fits = f"its plots lie off the raster, and would lie on it in {zone.name}"
        remedy = f"Assign the zone in a GIS (EPSG:{zone.to_epsg()}) if that is right, export again"
        reasons.insert(0, Fault(name, fits, remedy))
    many = f"none of its {len(set_aside)} rows can be used" if len(set_aside) else "has no rows"
    raise InputError(Fault(name, many, "The reasons of the first rows follow"), *reasons)
