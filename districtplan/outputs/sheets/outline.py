"""Plots in metres on paper: outlines, corners, places to measure, rows drawn."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import Geod, Transformer

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray
    from pyproj import CRS

    Floats = NDArray[np.float64]
    Objects = NDArray[np.object_]

ELLIPSOID = Geod(ellps="WGS84")
ROWS_DRAWN_MAX = 32
"""Most rows that a drawing shows: more would run together on paper."""
INWARD = (0.6, 0.45, 0.3, 0.15)
"""How far places to measure lie from the middle towards the edge: the first that is inside."""
PLACES = 5
BANDS = 4
"""Bands of a shape in which its name may stand."""
GAP_SLACK = 1.5
"""Gaps in rows are told from larger ones by this many times their breadth."""
EDGE_POINTS = 60
"""Points of an outline that places are chosen from."""


@dataclass(frozen=True)
class Rows:
    """Rows as drawn.

    Attributes
    ----------
    lines : tuple[numpy.ndarray, ...]
        Pieces of rows, shape (points, 2) each [m].
    every : int
        How many rows one drawn row stands for.
    longest_m : float
        Length of the longest piece [m].
    breaks : tuple[tuple[float, float], ...], default none
        Where these rows are broken, east and north [m].
    """

    lines: tuple[Floats, ...]
    every: int
    longest_m: float
    breaks: tuple[tuple[float, float], ...] = ()


def in_degrees(shapes: ArrayLike, crs: CRS) -> Objects:
    """Bring shapes to longitudes and latitudes.

    Parameters
    ----------
    shapes : array_like of shapely.Geometry
        The shapes.
    crs : pyproj.CRS
        Their CRS.

    Returns
    -------
    numpy.ndarray
        The same shapes in WGS 84 degrees.
    """
    change = Transformer.from_crs(crs, 4326, always_xy=True)
    moved = shapely.transform(
        np.asarray(shapes, dtype=object),
        lambda xy: np.column_stack(change.transform(xy[:, 0], xy[:, 1])),
    )
    return np.asarray(moved, dtype=object)


def in_metres(shape: shapely.Geometry, longitude: float, latitude: float) -> shapely.Geometry:
    """Bring a shape to metres about a point, true north up.

    The ellipsoid's radii at the point serve for the whole shape: over 1 km they err by less than
    a line's breadth on paper.

    Parameters
    ----------
    shape : shapely.Geometry
        In WGS 84 degrees.
    longitude : float
        Longitude of the point [degrees].
    latitude : float
        Latitude of the point [degrees].

    Returns
    -------
    shapely.Geometry
        The shape in metres east and north of the point.
    """
    part = 1 - ELLIPSOID.es * np.sin(np.radians(latitude)) ** 2
    east = ELLIPSOID.a / np.sqrt(part) * np.cos(np.radians(latitude))
    north = ELLIPSOID.a * (1 - ELLIPSOID.es) / part**1.5

    def local(xy: Floats) -> Floats:
        # The shorter way round, so that a plot across the 180th meridian stays together.
        turn = (xy[:, 0] - longitude + 180) % 360 - 180
        return np.column_stack([east * np.radians(turn), north * np.radians(xy[:, 1] - latitude)])

    return shapely.transform(shape, local)


def rings(shape: shapely.Geometry) -> tuple[Floats, ...]:
    """List the rings of an outline.

    Parameters
    ----------
    shape : shapely.Geometry
        A polygon or several.

    Returns
    -------
    tuple[numpy.ndarray, ...]
        Closed rings, shape (points, 2) each.
    """
    found = shapely.get_rings(shapely.get_parts(shape))
    return tuple(shapely.get_coordinates(ring) for ring in found)


def straight_rows(
    shape: shapely.Geometry, bearing_deg: float, spacing_m: float, most: int = ROWS_DRAWN_MAX
) -> Rows:
    """Lay straight rows over a plot for a drawing, thinned to what paper can show.

    Parameters
    ----------
    shape : shapely.Geometry
        The plot in metres.
    bearing_deg : float
        Their bearing from true north [degrees].
    spacing_m : float
        Between rows [m].
    most : int, default ROWS_DRAWN_MAX
        Most rows to draw.

    Returns
    -------
    Rows
        Each n-th row, the first half a space from the edge.
    """
    angle = np.radians(bearing_deg)
    along = np.array([np.sin(angle), np.cos(angle)])
    across = np.array([along[1], -along[0]])
    points = shapely.get_coordinates(shape)
    low, high = (points @ across).min(), (points @ across).max()
    near, far = (points @ along).min(), (points @ along).max()
    every = thinning((high - low) / spacing_m, most)
    offsets = np.arange(low + spacing_m / 2, high, every * spacing_m)
    ends = np.stack(
        [offsets[:, None] * across + near * along, offsets[:, None] * across + far * along], axis=1
    )
    lines = _strokes(
        np.asarray(shapely.intersection(shapely.linestrings(ends), shape), dtype=object)
    )
    longest = max((float(np.hypot(*(line[-1] - line[0]))) for line in lines), default=0.0)
    return Rows(lines, every, longest)


def cross(shape: shapely.Geometry) -> tuple[Floats, ...]:
    """Cross a plot out.

    Parameters
    ----------
    shape : shapely.Geometry
        The plot in metres.

    Returns
    -------
    tuple[numpy.ndarray, ...]
        The diagonals of its bounds, as far as they lie in it, shape (points, 2) each [m].
    """
    west, south, east, north = shapely.bounds(shape)
    diagonals = shapely.linestrings(
        [[(west, south), (east, north)], [(west, north), (east, south)]]
    )
    return _strokes(np.asarray(shapely.intersection(diagonals, shape), dtype=object))


def given_rows(
    lines: Objects,
    numbers: NDArray[np.int64],
    stride: int = 1,
    crops: int = 1,
    *,
    between: bool = False,
    gap_m: float = 0.0,
) -> Rows:
    """Thin rows that were laid out before.

    Parameters
    ----------
    lines : numpy.ndarray
        Pieces of rows in metres.
    numbers : numpy.ndarray
        Number of the row that each is of, shape (pieces,).
    stride : int, default 1
        How many rows each row given stands for.
    crops : int, default 1
        Crops that share the drawing.
    between : bool, default False
        Whether those half-way are drawn, between the rows drawn of another crop.
    gap_m : float, default 0
        How long a row is left out where it is broken; where more is missing something stands there
        [m].

    Returns
    -------
    Rows
        Each n-th row.
    """
    names, place = np.unique(numbers, return_inverse=True)
    every = thinning(len(names), ROWS_DRAWN_MAX // crops)
    drawn = place % every == (every // 2 if between else 0)
    kept = lines[drawn]
    return Rows(
        tuple(shapely.get_coordinates(line) for line in kept),
        every * stride,
        float(shapely.length(lines).max(initial=0)),
        _breaks(kept, place[drawn], gap_m),
    )


def _breaks(
    lines: Objects, row: NDArray[np.int64], gap_m: float
) -> tuple[tuple[float, float], ...]:
    """Find the middles of gaps between pieces of a row that lie one after the other."""
    after = np.flatnonzero(np.diff(row) == 0)
    missing = shapely.shortest_line(lines[after], lines[after + 1])
    # A gap is as long as it has to be along a row that may bend.
    short = missing[shapely.length(missing) < GAP_SLACK * gap_m]
    middles = shapely.line_interpolate_point(short, 0.5, normalized=True)
    return tuple(zip(shapely.get_x(middles).tolist(), shapely.get_y(middles).tolist(), strict=True))


def thinning(rows: float, most: int = ROWS_DRAWN_MAX) -> int:
    """Say how many rows one drawn row stands for.

    Parameters
    ----------
    rows : float
        Rows of the plot.
    most : int, default ROWS_DRAWN_MAX
        Most rows to draw.

    Returns
    -------
    int
        At least 1.
    """
    return max(1, int(np.ceil(rows / most)))


def corners(shape: shapely.Geometry, fall_deg: float) -> Floats:
    """Find the four corners by the way the ground falls.

    Parameters
    ----------
    shape : shapely.Geometry
        The plot in metres.
    fall_deg : float
        Which way it falls, from true north [degrees].

    Returns
    -------
    numpy.ndarray
        Lower left, lower right, upper right and upper left as one sees them who stands below and
        looks uphill; two may be the same point; shape (4, 2) [m].
    """
    angle = np.radians(fall_deg)
    down = np.array([np.sin(angle), np.cos(angle)])
    # Facing uphill, the right hand is a quarter turn clockwise from uphill.
    right = np.array([-down[1], down[0]])
    points = shapely.get_coordinates(shapely.convex_hull(shape))
    scores = np.stack([down - right, down + right, right - down, -down - right]) @ points.T
    return np.asarray(points[scores.argmax(axis=1)])


def places(shape: shapely.Geometry, ends: Floats) -> Floats:
    """Choose five places to measure, spread over a plot.

    Parameters
    ----------
    shape : shapely.Geometry
        The plot in metres.
    ends : numpy.ndarray
        Its four corners, shape (4, 2) [m].

    Returns
    -------
    numpy.ndarray
        Places inside, the last one in the middle, shape (5, 2) [m].
    """
    middle = shapely.get_coordinates(shapely.point_on_surface(shape))[0]
    # Points of the edge, those towards the corners first, drawn in towards the middle.
    ring = shapely.get_parts(shapely.boundary(shape))
    share = np.linspace(0, 1, EDGE_POINTS, endpoint=False)
    edge = shapely.get_coordinates(
        shapely.line_interpolate_point(ring[:, None], share, normalized=True)
    )
    tried = middle + np.reshape(INWARD, (-1, 1, 1)) * (np.vstack([ends, edge]) - middle)
    inside = shapely.contains_xy(shape, tried[..., 0], tried[..., 1])
    able = inside.any(axis=0)
    drawn = tried[inside.argmax(axis=0), np.arange(inside.shape[1])][able]
    if not len(drawn):
        return np.repeat(middle[None], PLACES, axis=0)
    # Each next place is as far as can be from those there are.
    found = [middle]
    for _ in range(PLACES - 1):
        apart = np.hypot(*(drawn[:, None] - np.array(found)).transpose(2, 0, 1)).min(axis=1)
        found.append(drawn[int(apart.argmax())])
    first, *others = found
    start = np.arctan2(*(ends[0] - first))
    turns = [
        (start - np.arctan2(*(place - first)) + np.pi / PLACES) % (2 * np.pi) for place in others
    ]
    order = np.argsort(turns, kind="stable")
    return np.array([*(others[index] for index in order), first])


def inside(shape: shapely.Geometry) -> tuple[tuple[float, float], ...]:
    """Choose points in a shape for its name.

    Parameters
    ----------
    shape : shapely.Geometry
        A polygon in metres.

    Returns
    -------
    tuple[tuple[float, float], ...]
        A point inside it, then one in each of four bands of it from north to south, as far as it
        has them, east and north [m].
    """
    west, south, east, north = shapely.bounds(shape).tolist()
    edges = np.linspace(north, south, BANDS + 1).tolist()
    bands = [
        shapely.clip_by_rect(shape, west, low, east, high)
        for high, low in itertools.pairwise(edges)
    ]
    points = shapely.point_on_surface([shape, *bands])
    return tuple(zip(*shapely.get_coordinates(points).T.tolist(), strict=True))


def marks_of(pegs: pd.DataFrame) -> list[tuple[float, float, str]]:
    """List pegs as points with their numbers.

    Parameters
    ----------
    pegs : pandas.DataFrame
        ``number`` and ``geometry`` in metres.

    Returns
    -------
    list[tuple[float, float, str]]
        East, north and number of each.
    """
    points = shapely.get_coordinates(pegs["geometry"].to_numpy(dtype=object))
    return [
        (float(east), float(north), str(number))
        for (east, north), number in zip(points, pegs["number"], strict=True)
    ]


def _strokes(cut: Objects) -> tuple[Floats, ...]:
    parts = shapely.get_parts(cut)
    # Where a line only touches the edge, the cut is a point; between two parts it is empty.
    line = shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING
    lines = parts[line & ~shapely.is_empty(parts)]
    return tuple(shapely.get_coordinates(line) for line in lines)
