"""Outlines from lists of coordinates, for the formats that are text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from districtplan.files.layer import CLOSED

if TYPE_CHECKING:
    from shapely import LineString, MultiPolygon, Polygon

RING_POINTS_MIN = 4
LINE_POINTS_MIN = 2


class BrokenRingError(ValueError):
    """A ring that is no ring; the message is the reason.

    Parameters
    ----------
    reason : str
        The reason.
    remedy : str | None, default None
        What to do about it; None where the outline is to be drawn again.
    """

    def __init__(self, reason: str, remedy: str | None = None) -> None:
        super().__init__(reason)
        self.remedy = remedy


def polygon(rings: object, done: list[str]) -> Polygon:
    """Make a polygon of its rings; an open one is closed.

    Parameters
    ----------
    rings : object
        A list: outer ring, then holes; each a list of positions, of which x and y are used.
    done : list[str]
        Takes a phrase where a ring was open.

    Returns
    -------
    shapely.Polygon
        The polygon, in two dimensions; empty where there are no rings.

    Raises
    ------
    BrokenRingError
        If a ring has too few points or isn't made of numbers.
    """
    if not isinstance(rings, list):
        raise BrokenRingError("the outline isn't a list of rings")
    if not rings:
        return shapely.Polygon()
    shell, *holes = (_ring(ring, done) for ring in rings)
    return shapely.Polygon(shell, holes)


def multipolygon(parts: object, done: list[str]) -> MultiPolygon:
    """Make one outline of the parts of a plot.

    Parameters
    ----------
    parts : object
        A list of the rings of each part.
    done : list[str]
        As :func:`polygon` takes it.

    Returns
    -------
    shapely.MultiPolygon
        A multi-part polygon.

    Raises
    ------
    BrokenRingError
        If a part is broken.
    """
    if not isinstance(parts, list):
        raise BrokenRingError("the outline isn't a list of parts")
    return shapely.MultiPolygon([polygon(part, done) for part in parts])


def line(points: object) -> LineString:
    """Make a line of its points.

    Parameters
    ----------
    points : object
        A list of positions, of which x and y are used.

    Returns
    -------
    shapely.LineString
        The line, in two dimensions.

    Raises
    ------
    BrokenRingError
        If it has fewer than two points or isn't made of numbers.
    """
    count = len(points) if isinstance(points, list) else 0
    if not isinstance(points, list) or count < LINE_POINTS_MIN:
        raise BrokenRingError(f"a line has {_points(count)}, fewer than {LINE_POINTS_MIN}")
    return shapely.LineString(_positions(points))


def _points(count: int) -> str:
    return "1 point" if count == 1 else f"{count} points"


def _ring(points: object, done: list[str]) -> np.ndarray[Any, np.dtype[np.float64]]:
    count = len(points) if isinstance(points, list) else 0
    if not isinstance(points, list) or count < RING_POINTS_MIN - 1:
        raise BrokenRingError(f"a ring has {_points(count)}, fewer than {RING_POINTS_MIN}")
    array = _positions(points)
    if (array[0] == array[-1]).all():
        if count < RING_POINTS_MIN:
            raise BrokenRingError(f"a ring has {_points(count)}, fewer than {RING_POINTS_MIN}")
        return array
    if CLOSED not in done:
        done.append(CLOSED)
    return np.vstack([array, array[:1]])


def _positions(points: list[Any]) -> np.ndarray[Any, np.dtype[np.float64]]:
    try:
        pairs = [(point[0], point[1]) for point in points]
    except (TypeError, IndexError, KeyError) as error:
        raise BrokenRingError("a position isn't a pair of numbers") from error
    if not all(type(value) in {int, float} for pair in pairs for value in pair):
        raise BrokenRingError("a position isn't a pair of numbers")
    try:
        array = np.asarray(pairs, dtype=np.float64)
    except OverflowError as error:
        raise BrokenRingError("a position isn't a pair of believable numbers") from error
    if not np.isfinite(array).all():
        raise BrokenRingError("a coordinate isn't finite")
    return array
