"""Contours of a smoothed surface, followed on a lattice of square meshes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import contourpy
import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry as Shape

    Floats = NDArray[np.float64]

STEP_M = 1.0
"""Step of the lattice [m]."""
STEPS_MAX = 400
"""Most steps along its longer side: over wider land the step grows."""


def lattice_over(land: Shape) -> tuple[Floats, Floats, float]:
    """Lay a lattice over land, and a step beyond it.

    Parameters
    ----------
    land : shapely.Polygon | shapely.MultiPolygon
        The land, in a plane of metres.

    Returns
    -------
    x, y : numpy.ndarray
        Its columns and rows [m].
    step_m : float
        Its step [m].
    """
    west, south, east, north = land.bounds
    step_m = max(STEP_M, max(east - west, north - south) / STEPS_MAX)
    x = west + step_m * np.arange(-1, np.ceil((east - west) / step_m) + 2)
    y = south + step_m * np.arange(-1, np.ceil((north - south) / step_m) + 2)
    return x, y, step_m


def traced(x: Floats, y: Floats, heights_m: Floats) -> Callable[[float], list[shapely.LineString]]:
    """Make what follows contours.

    Parameters
    ----------
    x, y : numpy.ndarray
        Columns and rows of the lattice [m].
    heights_m : numpy.ndarray
        Heights at its crossings, shape (y, x) [m].

    Returns
    -------
    Callable[[float], list[shapely.LineString]]
        Gives the contours of a height over the whole lattice.
    """
    generator = contourpy.contour_generator(
        x, y, heights_m, name="serial", line_type=contourpy.LineType.Separate
    )
    return lambda height: [shapely.LineString(np.asarray(line)) for line in generator.lines(height)]
