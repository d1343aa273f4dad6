"""Land beside flow lines that rows keep clear of, where the raster can place it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan import geodesy

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Objects = NDArray[np.object_]

NOT_PLACED = shapely.Polygon()
"""Stands for a strip that is there, but nobody knows where."""
CORNERS = 4
"""Sides of a quarter of a round end."""


def strips(
    plots: pd.DataFrame, ground: pd.DataFrame, lines: Objects, grid_crs: CRS, plan: Plan
) -> Objects:
    """Give the strip along flow lines in each plot.

    Where a line lies is known to half a cell, and to what the raster's error shifts it: an error of
    1 m moves it by as much as the ground takes to fall 1 m. A strip is placed only where the sum of
    both is within the plan's limit.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``area_ha``, ``longitude_deg``, ``latitude_deg`` and ``geometry``, the last in
        the UTM zone.
    ground : pandas.DataFrame
        ``plot_id``, ``cells``, ``raster_share`` and ``slope_used_pct`` of the same plots.
    lines : numpy.ndarray
        Flow lines in the zone, shape (lines,).
    grid_crs : pyproj.CRS
        The zone.
    plan : Plan
        Its sections ``water`` and ``elevation``.

    Returns
    -------
    numpy.ndarray
        Polygons, shape (plots,): None where no flow line runs, empty where one does that can't be
        placed.
    """
    found = np.full(len(plots), None, dtype=object)
    place = plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
    half = plan.water.strip_width_m / 2 * geodesy.point_scale(grid_crs, *place)
    outlines = plots["geometry"].to_numpy(dtype=object)
    plot, line = shapely.STRtree(lines).query(outlines, predicate="dwithin", distance=half)
    placed = place_m(plots, ground, plan.elevation.vertical_error_m) <= plan.water.strip_place_max_m
    found[plot[~placed[plot]]] = NOT_PLACED
    order = np.lexsort((line, plot))
    order = order[placed[plot[order]]]
    plot, line = plot[order], line[order]
    # A flow line may be kilometres long: only what is near the plot is made a strip.
    near = shapely.box(*(shapely.bounds(outlines[plot]) + _around(2 * half[plot])).T)
    pieces, owner = shapely.get_parts(shapely.intersection(lines[line], near), return_index=True)
    # A line that only touches a corner of the box adds a point.
    long = shapely.get_dimensions(pieces) == 1
    touched, together = np.unique(plot[owner[long]], return_inverse=True)
    shapes = np.asarray(shapely.multilinestrings(pieces[long], indices=together), dtype=object)
    found[touched] = shapely.buffer(shapes, half[touched], quad_segs=CORNERS)
    return found


def place_m(plots: pd.DataFrame, ground: pd.DataFrame, vertical_error_m: float) -> Floats:
    """Tell how far a flow line may lie from where the raster shows it.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``area_ha``.
    ground : pandas.DataFrame
        ``plot_id``, ``cells``, ``raster_share`` and ``slope_used_pct`` of the same plots.
    vertical_error_m : float
        Error of the heights [m].

    Returns
    -------
    numpy.ndarray
        Half a cell, and the error over the slope, shape (plots,) [m].
    """
    ground = ground.set_index("plot_id").loc[plots["plot_id"]]
    covered = 10_000 * plots["area_ha"].to_numpy() * ground["raster_share"].to_numpy()
    cell = np.sqrt(covered / ground["cells"].to_numpy())
    slope = ground["slope_used_pct"].to_numpy() / 100
    shift = np.full(len(plots), np.inf if vertical_error_m > 0 else 0.0)
    np.divide(vertical_error_m, slope, out=shift, where=slope > 0)
    away: Floats = cell / 2 + shift
    return away


def _around(reach: Floats) -> Floats:
    return np.column_stack([-reach, -reach, reach, reach])
