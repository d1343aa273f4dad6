"""Outlines with x and y the wrong way round, known by where all the others lie."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Objects = NDArray[np.object_]
    Floats = NDArray[np.float64]

OTHERS_MIN = 4
"""Outlines that must agree before one is held against them."""
FAR_TIMES = 10
"""How many times the district's own size an outline must lie off it."""
TURNED = "longitude and latitude, or east and north, stood the wrong way round"


def turn_back(geometry: Objects) -> tuple[Objects, NDArray[np.bool_]]:
    """Put right the outlines whose coordinates are swapped.

    One is taken for swapped where it lies ten times the district's core away from that core, the
    nearer half of all outlines, and among those that don't once turned.

    Parameters
    ----------
    geometry : numpy.ndarray
        Geometries in two dimensions, or None.

    Returns
    -------
    geometry : numpy.ndarray
        The same, those turned back.
    turned : numpy.ndarray
        Which were.
    """
    turned = np.zeros(len(geometry), dtype=bool)
    place = _middles(geometry)
    known = np.isfinite(place).all(axis=1)
    if known.sum() <= OTHERS_MIN:
        return geometry, turned
    centre = np.median(place[known], axis=0)
    off = np.abs(place - centre).max(axis=1)
    near = known & (off <= np.median(off[known]))
    bounds = shapely.bounds(geometry[near])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    size = (high - low).max()
    with np.errstate(invalid="ignore", over="ignore"):
        far = known & (_beyond(place, low, high) > FAR_TIMES * size)
        home = shapely.bounds(geometry[known & ~far])
        low, high = home[:, :2].min(axis=0), home[:, 2:].max(axis=0)
        turned = far & (_beyond(place[:, ::-1], low, high) <= size)
    found = geometry.copy()
    found[turned] = shapely.transform(geometry[turned], lambda points: points[:, ::-1])
    return found, turned


def _middles(geometry: Objects) -> Floats:
    bounds = shapely.bounds(geometry)
    with np.errstate(invalid="ignore", over="ignore"):
        return np.asarray((bounds[:, :2] + bounds[:, 2:]) / 2)


def _beyond(place: Floats, low: Floats, high: Floats) -> Floats:
    """Give how far places lie outside a box along the worse axis; 0 inside."""
    return np.asarray(np.maximum(low - place, place - high).max(axis=1).clip(min=0))
