"""Where a team finds the first row: metres along the plot's edge from a corner that has a name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan.rows.straight import DUST, Layout, back, turn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.rows.straight import Pieces

    Outline = shapely.Polygon | shapely.MultiPolygon
    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

# Corners between two sides of the world first: they win where a corner is as far out in both.
SIDES = {
    "north-east": 45,
    "south-east": 135,
    "south-west": 225,
    "north-west": 315,
    "north": 0,
    "east": 90,
    "south": 180,
    "west": 270,
}
"""Names of corners, and the direction in which each lies farther out than all others [degrees]."""

MILLIONTHS = 1e6

CLOCKWISE, ANTICLOCKWISE = "clockwise", "anticlockwise"
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
        From there on the edge to the place, on the ground [m]; 0 on the edge.
    inside_true_deg : float
        Bearing of that way from true north, to a whole degree, NaN on the edge [degrees].
    inside_magnetic_deg : float
        The same as a hand compass shows it, NaN too where declination isn't known [degrees].
    corner_xy : tuple[float, float]
        Where the corner is [units of the map].
    """

    corner: str
    along_m: float
    way: str
    inside_m: float
    inside_true_deg: float
    inside_magnetic_deg: float
    corner_xy: tuple[float, float]

    @property
    def inside_side(self) -> str:
        """Name the side that lies nearest to the way into the plot.

        Returns
        -------
        str
            One of ``SIDES``; the place isn't on the edge.
        """
        return min(
            SIDES, key=lambda side: abs((self.inside_true_deg - SIDES[side] + 180) % 360 - 180)
        )


@dataclass(frozen=True)
class Start:
    """Where the first rows of plots meet their edges.

    Attributes
    ----------
    corner : numpy.ndarray
        Name of the corner to measure from, None where there is no row, shape (plots,).
    way : numpy.ndarray
        ``clockwise`` or ``anticlockwise``: which way round the plot, as on a map; None alike, shape
        (plots,).
    metres : numpy.ndarray
        Along the edge on the ground, NaN alike, shape (plots,) [m].
    """

    corner: Objects
    way: Objects
    metres: Floats


@dataclass(frozen=True)
class _Shells:
    """Outer rings, anticlockwise: their edges along and across the rows."""

    plot: Integers  # of each ring
    ring: Integers  # of each edge
    begin: Integers  # first edge of each ring
    xy: Floats  # start of each edge [m]
    sa: Floats
    sb: Floats
    da: Floats
    db: Floats
    length: Floats  # of each edge on the ground [m]
    place: Floats  # of each edge's start along its ring, on the ground [m]
    round_m: Floats  # length of each ring on the ground


def first_start(
    outlines: Objects, origin: Floats, scale: Floats, layout: Layout, first: tuple[Pieces, Floats]
) -> Start:
    """Say where the first row of each plot meets the plot's edge, from the nearest named corner.

    The line of the row is followed from the end of its longest piece out to the edge, at the end
    that is nearer to a corner. A corner named ``south-west`` is the point of the outline farthest
    to the south-west. Along the edge, distances are on the ground of a plane that is level along
    the rows.

    Parameters
    ----------
    outlines : numpy.ndarray
        The plots, shape (plots,).
    origin : numpy.ndarray
        A point near each, shape (plots, 2) [units of the map].
    scale : numpy.ndarray
        Units of the map in a metre on the ellipsoid, shape (plots,).
    layout : Layout
        How their rows lie.
    first : tuple[Pieces, numpy.ndarray]
        Pieces of the first rows, and metres on the ground in a metre across the rows on the map,
        shape (plots,).

    Returns
    -------
    Start
        One place a plot.
    """
    pieces, stretch = first
    shells = _shells(outlines, origin, scale, layout, stretch)
    plot, near, far, across = _longest(pieces)
    cut = np.full(len(outlines), np.nan)
    cut[plot] = across
    at = cut[shells.plot][shells.ring]
    crossed = np.flatnonzero((shells.da <= at) != (shells.db <= at))
    share = (at[crossed] - shells.da[crossed]) / (shells.db - shells.da)[crossed]
    s = shells.sa[crossed] + share * (shells.sb - shells.sa)[crossed]
    place = shells.place[crossed] + share * shells.length[crossed]
    ring = shells.ring[crossed]
    bounds = np.full((2, len(outlines)), np.nan)
    bounds[:, plot] = near + DUST, far - DUST
    owner = shells.plot[ring]
    corners = _corners(shells)
    ends = [
        _measure(shells, corners, (ring, place), _nearest(owner, s, keep, sign))
        for keep, sign in ((s <= bounds[0][owner], -1), (s >= bounds[1][owner], 1))
    ]
    return _better(ends, len(outlines))


def tie(
    outline: Outline,
    places: Floats,
    rise: tuple[float, float] = (0.0, 0.0),
    scale: float = 1.0,
    north: tuple[float, float] = (0.0, np.nan),
) -> list[Tie]:
    """Find the shortest way along the edge to places from a corner that a team can name.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot; of several parts that nearest to the first place counts.
    places : numpy.ndarray
        The places, shape (places, 2) [units of the map].
    rise : tuple[float, float], default (0, 0)
        Rise of the land to the map's east and north [1]: an edge that climbs is longer than it is
        on the map.
    scale : float, default 1
        Units of the map in a metre.
    north : tuple[float, float], default (0, NaN)
        From true north to grid north and to magnetic north, positive eastwards; the second NaN
        where it isn't known [degrees].

    Returns
    -------
    list[Tie]
        A way each.
    """
    here = shapely.Point(places[0])
    part = np.array([min(shapely.get_parts(outline), key=here.distance)], dtype=object)
    origin = shapely.bounds(part)[:, :2]
    level, side = np.degrees(np.arctan2(rise[0], rise[1])) + 90, np.ones(1)
    layout = Layout(np.array([level]), side, side, side)
    stretch = np.array([np.hypot(1, np.hypot(*rise))])
    shells = _shells(part, origin, np.array([scale]), layout, stretch)
    s, d = turn((places - origin) / scale, level, side)
    edge = np.stack([shells.sb - shells.sa, shells.db - shells.da])
    way = np.stack([s[:, None] - shells.sa, d[:, None] - shells.da])
    share = np.clip((way * edge[:, None]).sum(axis=0) / (edge**2).sum(axis=0), 0, 1)
    across = way - share * edge[:, None]
    nearest = np.hypot(*across).argmin(axis=1)
    every = np.arange(len(places))
    # At a bend of the edge more than one way is square to it: a bearing tells which.
    ahead, up = across[:, every, nearest]
    inside = np.hypot(ahead, up * stretch)
    east, grid_north = back(ahead, up, level, side).T
    true = np.where(inside > ON_EDGE_M, np.degrees(np.arctan2(east, grid_north)) + north[0], np.nan)
    bearings = np.floor(np.stack([true, true - north[1]]) + 0.5) % 360
    at = shells.place[nearest] + share[every, nearest] * shells.length[nearest]
    corners = _corners(shells)
    _, corner, metres = _measure(shells, corners, (shells.ring[nearest], at), every)
    # One part has one outer ring, and a corner is where one of its edges starts.
    starts = (shells.place == corners[0][0, corner][:, None]).argmax(axis=1)
    corner_xy = shells.xy[starts] * scale + origin
    names = list(SIDES)
    return [
        Tie(
            names[which],
            abs(along),
            CLOCKWISE if along < 0 else ANTICLOCKWISE,
            far if far > ON_EDGE_M else 0.0,
            true_deg,
            magnetic_deg,
            (x, y),
        )
        for which, along, far, (true_deg, magnetic_deg), (x, y) in zip(
            corner.tolist(),
            metres.tolist(),
            inside.tolist(),
            bearings.T.tolist(),
            corner_xy.tolist(),
            strict=True,
        )
    ]


def _shells(
    outlines: Objects, origin: Floats, scale: Floats, layout: Layout, stretch: Floats
) -> _Shells:
    parts, plot_of_ring = shapely.get_parts(shapely.orient_polygons(outlines), return_index=True)
    xy, ring = shapely.get_coordinates(shapely.get_exterior_ring(parts), return_index=True)
    plot = plot_of_ring[ring]
    local = (xy - origin[plot]) / scale[plot, None]
    s, d = turn(local, layout.bearing_deg[plot], layout.side[plot])
    same = ring[1:] == ring[:-1]
    sa, sb, da, db = s[:-1][same], s[1:][same], d[:-1][same], d[1:][same]
    ring = ring[:-1][same]
    length = np.hypot(sb - sa, (db - da) * stretch[plot_of_ring[ring]])
    begin = np.searchsorted(ring, np.arange(len(plot_of_ring)))
    # Summed in whole millionths of a metre, so that no place depends on the plots before it.
    parts_m = np.rint(length * MILLIONTHS).astype(np.int64)
    before = np.cumsum(parts_m) - parts_m
    place = (before - before[begin][ring]) / MILLIONTHS
    round_m = np.bincount(ring, weights=parts_m, minlength=len(begin)) / MILLIONTHS
    start = local[:-1][same]
    return _Shells(plot_of_ring, ring, begin, start, sa, sb, da, db, length, place, round_m)


def _longest(pieces: Pieces) -> tuple[Integers, Floats, Floats, Floats]:
    """Give each plot's longest piece, the first of several: its plot, ends and place across."""
    order = np.lexsort((pieces.near - pieces.far, pieces.plot))
    plot, first = np.unique(pieces.plot[order], return_index=True)
    chosen = order[first]
    return plot, pieces.near[chosen], pieces.far[chosen], pieces.across[chosen]


def _nearest(owner: Integers, s: Floats, keep: NDArray[np.bool_], sign: int) -> Integers:
    """Find the crossing of each plot with the least ``sign * s`` among those kept."""
    kept = np.flatnonzero(keep)
    order = kept[np.lexsort((sign * s[kept], owner[kept]))]
    return order[np.unique(owner[order], return_index=True)[1]]


def _measure(
    shells: _Shells,
    named: tuple[Floats, Floats],
    crossed: tuple[Integers, Floats],
    chosen: Integers,
) -> tuple[Integers, Integers, Floats]:
    """Measure crossings from corners: plots, corners and metres, clockwise ones negative."""
    corners, margin = named
    ring, place = crossed
    at = ring[chosen]
    round_m = shells.round_m[at, None]
    ahead = np.mod(place[chosen, None] - corners[at], round_m)
    # The nearer way round from each corner.
    metres = np.where(ahead <= round_m / 2, ahead, ahead - round_m)
    away = np.abs(metres)
    best = away <= away.min(axis=1, keepdims=True, initial=np.inf) + DUST
    corner = np.where(best, margin[at], -1.0).argmax(axis=1)
    return shells.plot[at], corner, metres[np.arange(len(at)), corner]


def _corners(shells: _Shells) -> tuple[Floats, Floats]:
    """Find the corner of each ring farthest to each side: its place, and by how far it is so."""
    angle = np.radians(list(SIDES.values()))
    reach = shells.xy @ np.stack([np.sin(angle), np.cos(angle)])
    edge = np.arange(len(reach))[:, None]
    most = np.maximum.reduceat(reach, shells.begin)
    there = reach >= most[shells.ring] - DUST
    first = np.minimum.reduceat(np.where(there, edge, len(reach)), shells.begin)
    reach[first, np.arange(len(SIDES))] = -np.inf
    margin = most - np.maximum.reduceat(reach, shells.begin)
    return shells.place[first], np.maximum(margin, 0)


def _better(ends: list[tuple[Integers, Integers, Floats]], plots: int) -> Start:
    corner = np.full(plots, None, dtype=object)
    way = np.full(plots, None, dtype=object)
    metres = np.full(plots, np.nan)
    names = np.array(list(SIDES), dtype=object)
    for plot, which, signed in ends:
        closer = ~(np.abs(signed) >= metres[plot] - DUST)
        chosen = plot[closer]
        corner[chosen] = names[which[closer]] + " corner"
        way[chosen] = np.where(signed[closer] < 0, CLOCKWISE, ANTICLOCKWISE)
        metres[chosen] = np.abs(signed[closer])
    return Start(corner, way, metres)
