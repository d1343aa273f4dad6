"""How far off a plot's area is when its outline's points are.

The area of a polygon changes with its points by

    dA/dx_i = (y_i+1 - y_i-1) / 2,    dA/dy_i = (x_i-1 - x_i+1) / 2,

so that errors of standard deviation s along each axis, alike over a distance L, give it the
variance s² (g'Rg) with R_ij = exp(-d_ij / L). With independent corners a square of side a has
sqrt(2) a s.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import tables

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

PAIRS_AT_ONCE = 2_000_000
"""Pairs of points that are held at once."""


def area_errors(kits: pd.DataFrame, area_ha: Floats) -> pd.DataFrame:
    """Tell the standard error of each plot's area.

    Parameters
    ----------
    kits : pandas.DataFrame
        ``plot_id`` and ``area_error_share`` of the plots.
    area_ha : numpy.ndarray
        Their areas, shape (plots,) [ha].

    Returns
    -------
    pandas.DataFrame
        ``plot_id`` and ``area_se_ha``.
    """
    found = pd.DataFrame(
        {
            "plot_id": kits["plot_id"].to_numpy(),
            "area_se_ha": kits["area_error_share"].to_numpy() * area_ha,
        }
    )
    return tables.check(found, ("plot_id", *tables.made_by("area error")))


def area_sd_m2(outlines: NDArray[np.object_], error_m: float, alike_m: float) -> Floats:
    """Give the standard error of areas.

    Parameters
    ----------
    outlines : numpy.ndarray
        Polygons in a grid of metres, shape (plots,).
    error_m : float
        Error of a point along each axis, one standard deviation [m].
    alike_m : float
        Distance over which errors are alike; 0 where each point has its own [m].

    Returns
    -------
    numpy.ndarray
        Standard errors, shape (plots,) [m²].
    """
    points, change, plot = _changes(outlines)
    counts = np.bincount(plot, minlength=len(outlines))
    starts = np.cumsum(counts) - counts
    variance = np.zeros(len(outlines))
    for count in np.unique(counts[counts > 0]):
        those = np.flatnonzero(counts == count)
        step = max(PAIRS_AT_ONCE // int(count) ** 2, 1)
        for first in range(0, len(those), step):
            some = those[first : first + step]
            places = starts[some][:, None] + np.arange(count)
            variance[some] = _quadratic(points[places], change[places], alike_m)
    sd: Floats = error_m * np.sqrt(np.maximum(variance, 0.0))
    return sd


def _changes(outlines: NDArray[np.object_]) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Give all points, how the area changes with each, and the plot that it is of."""
    turned = shapely.orient_polygons(outlines)
    parts, plot_of_part = shapely.get_parts(turned, return_index=True)
    rings, part_of_ring = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    # The last point of a ring is its first again.
    last = np.append(ring[1:] != ring[:-1], True)
    xy, ring = xy[~last], ring[~last]
    first = np.append(True, ring[1:] != ring[:-1])
    begin = np.flatnonzero(first)
    end = np.append(begin[1:], len(ring)) - 1
    after, before = np.arange(len(ring)) + 1, np.arange(len(ring)) - 1
    after[end], before[begin] = begin, end
    across = (xy[after] - xy[before]) / 2
    return xy, np.column_stack([across[:, 1], -across[:, 0]]), plot_of_part[part_of_ring[ring]]


def _quadratic(points: Floats, change: Floats, alike_m: float) -> Floats:
    """Give g'Rg of plots with equally many points, shape (plots,)."""
    if alike_m == 0:
        own: Floats = (change**2).sum(axis=(1, 2))
        return own
    rows = max(PAIRS_AT_ONCE // points.shape[1], 1)
    found = np.zeros(len(points))
    for start in range(0, points.shape[1], rows):
        some = slice(start, start + rows)
        apart = np.linalg.norm(points[:, some, None] - points[:, None, :], axis=-1)
        alike = np.exp(-apart / alike_m)
        found += np.einsum("pik,pij,pjk->p", change[:, some], alike, change, optimize=True)
    return found
