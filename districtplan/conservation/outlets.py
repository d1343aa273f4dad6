"""Where water may be led: named safe outlets, and the waterway to build where there is none."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry as Shape

    Floats = NDArray[np.float64]

SAFE = ("waterway", "ditch", "grass", "forest", "stream")
"""Kinds of features that water of a whole hillside may end in (common practice). A strip of grass
holds what a row sends, not a ditch."""
REFUSED = ("house", "road", "path", "grave", "latrine", "spring")
"""What water is never led onto without the written agreement of those below."""
SLIPPING = "slipping ground"
"""Ground with cracks, leaning trees or a bulging toe: nothing is dug on its hillside."""
TO_BUILD = "waterway to build"
"""Name of an outlet that isn't there yet."""


class Ground(Protocol):
    """The smoothed surface of a hillside, in a plane of metres."""

    def height(self, xy: Floats) -> Floats:
        """Give heights [m] at places of shape (points, 2).

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Shape (points,) [m].
        """

    def gradient(self, xy: Floats) -> Floats:
        """Give rises to the east and to the north.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Shape (points, 2) [1].
        """

    def lattice(self, x: Floats, y: Floats) -> Floats:
        """Give heights at all crossings of columns and rows.

        Parameters
        ----------
        x : numpy.ndarray
            Eastings, rising, shape (columns,) [m].
        y : numpy.ndarray
            Northings, rising, shape (rows,) [m].

        Returns
        -------
        numpy.ndarray
            Shape (rows, columns) [m].
        """


class Outlet(NamedTuple):
    """A place that water may be led to.

    Attributes
    ----------
    name : str
        What the feature is called, or ``TO_BUILD``.
    shape : Shape
        A line down the flow or an area, in the plane of the hillside.
    """

    name: str
    shape: Shape


class Waterway(NamedTuple):
    """A grassed waterway to build, a season before what drains into it.

    Attributes
    ----------
    line : shapely.LineString
        Its course, down the flow.
    ends_at : str
        Name of the safe outlet that it ends at.
    fall_m : float
        How much lower its end lies than its start [m].
    """

    line: shapely.LineString
    ends_at: str
    fall_m: float


def safe_outlets(features: pd.DataFrame) -> tuple[Outlet, ...]:
    """Name the safe outlets among features.

    Parameters
    ----------
    features : pandas.DataFrame
        ``kind``, ``feature`` and ``geometry``, the last in the plane of the hillside. A stream
        that staff drew is a drainage line that they mark as safe.

    Returns
    -------
    tuple[Outlet, ...]
        Those of safe kinds, in the order given.
    """
    of = features[features["kind"].isin(SAFE)]
    rows = zip(of["feature"].astype(str), of["geometry"], strict=True)
    return tuple(Outlet(name, shape) for name, shape in rows)


def waterway(
    land: Shape,
    flow: Sequence[shapely.LineString],
    outlets: Sequence[Outlet],
    refused: Shape,
    ground: Ground,
    limits: Mapping[str, float],
) -> Waterway | None:
    """Lay a grassed waterway along the flow line that drains a site, down to a safe outlet.

    A flow line is followed from where it enters the land, piece by piece, to the first outlet that
    it reaches; one that enters within reach of an outlet ends there, and nothing is dug. It is
    refused where it crosses what water may not be led onto, goes on below the
    site for longer than the limit, or rises by more than digging takes off.

    Parameters
    ----------
    land : Shape
        The site's land.
    flow : Sequence[shapely.LineString]
        Flow lines, each down the flow, from one meeting of waters to the next; the largest first.
    outlets : Sequence[Outlet]
        Safe outlets.
    refused : Shape
        What water may not be led onto, other people's plots among it.
    ground : Ground
        The smoothed surface.
    limits : Mapping[str, float]
        Limits (table ``structure_limits``), and ``outlet_reach_m``.

    Returns
    -------
    Waterway | None
        The one whose highest point on the land is highest; None where no flow line will do.
    """
    starts = {line.coords[0]: line for line in flow}
    found = []
    for line in flow:
        if not shapely.intersects(line, land):
            continue
        course = _on_land(_followed(line, starts), land)
        laid = _ended(course, land, outlets, limits)
        if laid is None or shapely.intersects(laid[0], refused):
            continue
        drop = _fall(laid[0], ground, limits)
        if drop is not None:
            top = float(ground.height(shapely.get_coordinates(laid[0])[:1])[0])
            found.append((top, Waterway(*laid, drop)))
    return max(found, key=lambda one: one[0])[1] if found else None


def _followed(
    line: shapely.LineString, starts: Mapping[tuple[float, ...], shapely.LineString]
) -> shapely.LineString:
    """Go on from piece to piece as far as lines are known."""
    points, met = list(line.coords), {line.coords[0]}
    while points[-1] in starts and points[-1] not in met:
        met.add(points[-1])
        points += list(starts[points[-1]].coords)[1:]
    return shapely.LineString(points)


def _on_land(course: shapely.LineString, land: Shape) -> shapely.LineString:
    """Cut off what lies above the land."""
    inside = shapely.intersection(course, land)
    entry = float(_places(course, inside).min())
    return _between(course, entry, course.length)


def _ended(
    course: shapely.LineString,
    land: Shape,
    outlets: Sequence[Outlet],
    limits: Mapping[str, float],
) -> tuple[shapely.LineString, str] | None:
    """Cut a course where it first reaches an outlet, if it does.

    Water that enters the land within reach of one is in it already: nothing is dug for it, and what
    lies further down the course isn't where it goes.
    """
    best: tuple[float, Outlet] | None = None
    for outlet in outlets:
        near = shapely.intersection(course, shapely.buffer(outlet.shape, limits["outlet_reach_m"]))
        places = _places(course, near)
        at = float(places.min(initial=np.inf))
        if at < (np.inf if best is None else best[0]):
            best = at, outlet
    if best is None or best[0] <= 0:
        return None
    # From there straight on, so that what lies between is looked at too.
    leg = shapely.get_coordinates(shapely.shortest_line(course.interpolate(best[0]), best[1].shape))
    points = shapely.get_coordinates(_between(course, 0.0, best[0]))
    laid = shapely.LineString(np.concatenate([points, leg[1:]]))
    below = shapely.difference(laid, land).length
    return None if below > limits["waterway_below_max_m"] else (laid, best[1].name)


def _between(course: shapely.LineString, start: float, stop: float) -> shapely.LineString:
    places = _places(course, course)
    kept = places[(places > start) & (places < stop)]
    points = shapely.line_interpolate_point(course, [start, *kept, stop])
    return shapely.LineString(shapely.get_coordinates(points))


def _places(course: shapely.LineString, shape: Shape) -> Floats:
    """Give how far along a course the corners of a shape on it lie."""
    points = shapely.points(shapely.get_coordinates(shape))
    return np.asarray(shapely.line_locate_point(course, points), dtype=np.float64)


def _fall(laid: shapely.LineString, ground: Ground, limits: Mapping[str, float]) -> float | None:
    """Give how far a course falls; None where it rises on the way."""
    heights = ground.height(shapely.get_coordinates(shapely.segmentize(laid, limits["peg_step_m"])))
    rise = heights - np.minimum.accumulate(heights)
    fall = float(heights[0] - heights[-1])
    return fall if fall > 0 and rise.max() <= limits["waterway_rise_max_m"] else None
