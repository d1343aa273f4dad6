"""Structures that stand along the contour: their lines guide the rows beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan import geodesy

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray
    from pyproj import CRS

    Objects = NDArray[np.object_]

KINDS = ("grass strip", "ditch", "bank", "terrace")
"""Features that are built along the contour."""


def with_standing(
    plots: pd.DataFrame, planted: Objects, features: pd.DataFrame, zone: CRS, crs: CRS
) -> pd.DataFrame:
    """Add the land that is planted and the lines of structures to each plot.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``geometry`` in ``crs``.
    planted : numpy.ndarray
        Land that is planted, in the zone, shape (plots,).
    features : pandas.DataFrame
        ``kind`` and ``geometry`` in the zone of what takes land; those drawn as areas have no line.
    zone : pyproj.CRS
        The UTM zone.
    crs : pyproj.CRS
        CRS of the plots.

    Returns
    -------
    pandas.DataFrame
        The plots with ``planted`` and ``standing``, both in ``crs``: the latter is what lies inside
        each as lines, None where nothing does.
    """
    outlines = plots["geometry"].to_numpy(dtype=object)
    found = np.full(len(outlines), None, dtype=object)
    shapes = features["geometry"].to_numpy(dtype=object)
    wanted = features["kind"].isin(KINDS).to_numpy() & (shapely.get_dimensions(shapes) == 1)
    lines = geodesy.reproject(shapes[wanted], zone, crs)
    plot, line = shapely.STRtree(lines).query(outlines, predicate="intersects")
    order = np.lexsort((line, plot))
    inside = shapely.intersection(lines[line[order]], outlines[plot[order]])
    for at in np.unique(plot):
        parts = shapely.get_parts(inside[plot[order] == at])
        long = parts[shapely.length(parts) > 0]
        if len(long):
            found[at] = shapely.multilinestrings(long)
    return plots.assign(planted=geodesy.reproject(planted, zone, crs), standing=found)
