"""Where a line starts, as a tape finds it: metres from a corner along the plot's edge."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan.rows import sag

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from districtplan.rows.lines import Outline

    Floats = NDArray[np.float64]

CORNERS = {
    "south-west": (-1, -1),
    "south-east": (1, -1),
    "north-west": (-1, 1),
    "north-east": (1, 1),
}
"""The corner furthest to each side; where two are as far, the first of the outline."""


NEAR_M = 0.01
"""A place within a centimetre of the edge lies on it [m]."""


class Tie(NamedTuple):
    """The way to a place from a corner.

    Attributes
    ----------
    corner : str
        One of ``CORNERS``.
    from_m : float
        Metres along the edge, on the ground [m].
    way : str
        Which way to go, seen on the map: clockwise or anticlockwise.
    inside_m : float
        Distance of the place from the edge [m].
    """

    corner: str
    from_m: float
    way: str
    inside_m: float


def tie(outline: Outline, place: Floats, height: Callable[[Floats], Floats]) -> Tie:
    """Find the shortest way along the edge from a corner to a place.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.
    place : numpy.ndarray
        The place, shape (2,) [m].
    height : Callable[[numpy.ndarray], numpy.ndarray]
        Gives heights [m] at places, shape (points, 2) [m].

    Returns
    -------
    Tie
        The way.
    """
    at = shapely.Point(place)
    parts = shapely.get_parts(outline)
    part = parts[int(np.argmin(shapely.distance(parts, at)))]
    # Anticlockwise, as distances along it then grow.
    ring = shapely.get_exterior_ring(shapely.orient_polygons(part))
    vertices = np.asarray(ring.coords)[:-1, :2]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(vertices, axis=0).T))])
    here = ring.project(at)
    ways = []
    for corner, side in CORNERS.items():
        first = int(np.argmax(vertices @ np.array(side)))
        ahead = (here - along[first]) % ring.length
        ways += [(ahead, corner, "anticlockwise"), (ring.length - ahead, corner, "clockwise")]
    run, corner, way = min(ways, key=lambda found: found[0])
    start = (here - run if way == "anticlockwise" else here + run) % ring.length
    path = start + np.linspace(
        0, run if way == "anticlockwise" else -run, int(run / sag.STEP_M) + 2
    )
    xy = shapely.get_coordinates(shapely.line_interpolate_point(ring, path % ring.length))
    rise = np.diff(height(xy))
    on_ground = float(np.hypot(np.diff(path), rise).sum())
    away = float(ring.distance(at))
    return Tie(corner, on_ground, way, away if away > NEAR_M else 0.0)
