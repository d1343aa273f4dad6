"""Where a place lies on a plot's edge: metres from a corner that a team can name and find."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Outline = shapely.Polygon | shapely.MultiPolygon

SIDES = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)
"""Names of corners, clockwise from north, an eighth of a turn apart."""
CLOCKWISE, ANTICLOCKWISE = "clockwise", "anticlockwise"
APART_SHARE = 0.125
"""Points of the outline within this share of its extent are one corner to the eye."""
CLEAR_SHARE = 0.05
"""A corner bears the name of a side if it lies farther out than the others by this share."""
ON_EDGE_M = 0.01
"""A place within a centimetre of the edge lies on it [m]."""


@dataclass(frozen=True)
class Tie:
    """The way to a place from a corner.

    Attributes
    ----------
    corner : str
        One of ``SIDES``: the corner that lies farthest out to that side.
    along_m : float
        Along the edge from that corner, on the ground [m].
    way : str
        ``clockwise`` or ``anticlockwise`` round the plot, seen from above: with the plot on the
        right hand or on the left.
    inside_m : float
        From the edge to the place [m]; 0 on the edge.
    """

    corner: str
    along_m: float
    way: str
    inside_m: float


def tie(
    outline: Outline, place: Floats, rise: tuple[float, float] = (0.0, 0.0), scale: float = 1.0
) -> Tie:
    """Find the shortest way along the edge to a place from a corner with a clear name.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot; of several parts that nearest to the place counts.
    place : numpy.ndarray
        The place, shape (2,) [units of the map].
    rise : tuple[float, float], default (0, 0)
        Rise of the land to the map's east and north [1]: an edge that climbs is longer than it is
        on the map.
    scale : float, default 1
        Units of the map in a metre.

    Returns
    -------
    Tie
        The way; of two as long, that from the corner that comes first in ``SIDES``.
    """
    here = shapely.Point(place)
    part = min(shapely.get_parts(outline), key=here.distance)
    # Anticlockwise, so that distances along it grow that way.
    ring = shapely.get_exterior_ring(shapely.orient_polygons(shapely.force_2d(part)))
    xy = shapely.get_coordinates(ring)
    step = np.diff(xy, axis=0) / scale
    on_map = np.append(0.0, np.cumsum(np.hypot(*step.T) * scale))
    on_ground = np.append(0.0, np.cumsum(np.hypot(np.hypot(*step.T), step @ np.array(rise))))
    at = float(np.interp(ring.project(here), on_map, on_ground))
    round_m = float(on_ground[-1])
    ways: list[tuple[float, str, str]] = []
    for name, vertex in _named(xy[:-1]):
        ahead = (at - float(on_ground[vertex])) % round_m
        ways += [(ahead, name, ANTICLOCKWISE), (round_m - ahead, name, CLOCKWISE)]
    along, corner, way = min(ways, key=lambda one: one[0])
    away = float(ring.distance(here)) / scale
    return Tie(corner, along, way, away if away > ON_EDGE_M else 0.0)


def _named(xy: Floats) -> list[tuple[str, int]]:
    """Name corners by the side to which each lies clearly farthest out, one name a corner."""
    angle = np.arange(len(SIDES)) * (2 * np.pi / len(SIDES))
    reach = xy @ np.stack([np.sin(angle), np.cos(angle)])
    extent = float(np.hypot(*np.ptp(xy, axis=0)))
    clearest: dict[int, tuple[float, int]] = {}
    for side, vertex in enumerate(np.argmax(reach, axis=0).tolist()):
        others = np.hypot(*(xy - xy[vertex]).T) > APART_SHARE * extent
        margin = float(reach[vertex, side] - reach[others, side].max()) / extent
        if vertex not in clearest or margin > clearest[vertex][0]:
            clearest[vertex] = (margin, side)
    least = min(CLEAR_SHARE, max(margin for margin, _ in clearest.values()))
    kept = sorted((side, vertex) for vertex, (margin, side) in clearest.items() if margin >= least)
    return [(SIDES[side], vertex) for side, vertex in kept]
