"""Lines of equal height, at a round interval, from the grid that the hillshade is drawn of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely
from pyproj import CRS

from districtplan import contours
from districtplan.outputs.page import shapes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.results import Relief

    Floats = NDArray[np.float64]

PLANE = CRS.from_epsg(3857)
ROUND = (1, 2, 5, 10)
"""A round interval is one of these, times a power of ten."""
INTERVAL_MIN_M = 1
"""Closest lines [m]: whole metres, as they are written on the map."""
CELLS_APART = 2.0
"""Cells between lines on land of the usual steepness: nearer ones would lie between heights."""
ERRORS_APART = 3.3
"""Interval over the heights' error: nine heights in ten are then within half an interval, as
errors that are normal lie within 1.645 times theirs (that criterion is a judgement)."""
CROSSINGS_MAX, CROSSINGS_FIRST_MAX = 1_000_000, 100_000
"""Most crossings of lines with sides of cells, of all lines and of those that a page begins with:
simplified, some 8 bytes for each four."""
LEVELS_MAX = 500
"""Most heights at which lines are followed: a cell wrong by kilometres must not ask for more."""
SIMPLER_CELLS = 0.1
"""How far a line may be moved to do with fewer points, in cells."""
MESH = 2
"""Heights to a side of a mesh: fewer bear no line."""
RING_MIN_CELLS = 6.0
"""Shorter closed lines are about single cells, and left out."""


class Intervals(NamedTuple):
    """How far apart lines are.

    Attributes
    ----------
    fine_m : int
        Interval of all lines [m].
    first_m : int
        Interval of those that the page begins with, a multiple of the other [m].
    """

    fine_m: int
    first_m: int


def intervals(relief: Relief, error_m: float) -> Intervals | None:
    """Choose how far apart lines are: as near as heights, their error and a page bear.

    Parameters
    ----------
    relief : Relief
        The heights.
    error_m : float
        Their error, one standard deviation; NaN where it isn't known [m].

    Returns
    -------
    Intervals | None
        Round intervals; None where there are no two heights beside one another.
    """
    heights = relief.heights_m.astype(np.float64)
    rises = _rises(heights)
    if not len(rises):
        return None
    total = float(rises.sum())
    range_m = float(np.nanmax(heights) - np.nanmin(heights))
    least = max(
        CELLS_APART * _steep_m(rises),
        0.0 if np.isnan(error_m) else ERRORS_APART * error_m,
        total / CROSSINGS_MAX,
        range_m / LEVELS_MAX,
    )
    fine = _round_up(least)
    first = _round_up(max(fine, total / CROSSINGS_FIRST_MAX))
    while first % fine:
        first = _round_up(first + 1)
    return Intervals(fine, first)


def _rises(heights: Floats) -> Floats:
    """How much heights differ from those beside and below them, where both are known [m]."""
    rises = np.concatenate([np.abs(np.diff(heights, axis=axis)).ravel() for axis in (0, 1)])
    known: Floats = rises[~np.isnan(rises)]
    return known


def _steep_m(rises: Floats) -> float:
    """How much the ground usually rises over a cell [m].

    Over all ways that ground may face, sides of cells rise by 2/π of it on average.
    """
    return np.pi / 2 * float(rises.mean())


def _round_up(least: float) -> int:
    power: int = 10 ** max(0, int(np.floor(np.log10(max(least, INTERVAL_MIN_M)))))
    return next(times * power for times in ROUND if times * power >= least)


def lines(relief: Relief, interval_m: int, origin_deg: tuple[float, float]) -> dict[str, Any]:
    """Follow lines of equal height.

    Parameters
    ----------
    relief : Relief
        The heights.
    interval_m : int
        How far apart the lines are [m].
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        ``interval_m``; streams ``levels``, the zigzag number of intervals of each line's height
        above the sea, ``vertices`` and ``moves``.
    """
    x, y, cell = _centres(relief)
    heights = relief.heights_m.astype(np.float64)
    follow = contours.traced(x, y, heights)
    known = heights[~np.isnan(heights)] / interval_m
    low, high = (known.min(), known.max()) if len(known) else (1, 0)
    found, levels = [], []
    for level in range(int(np.ceil(low)), int(np.floor(high)) + 1):
        drawn = np.array(follow(level * interval_m), dtype=object)
        kept = drawn[~(shapely.is_closed(drawn) & (shapely.length(drawn) < RING_MIN_CELLS * cell))]
        found.append(shapely.simplify(kept, SIMPLER_CELLS * cell))
        levels += [level] * len(kept)
    drawn = np.concatenate(found) if found else np.empty(0, dtype=object)
    return {
        "interval_m": interval_m,
        "levels": shapes.counts(shapes.zigzag(np.array(levels, dtype=np.int64))),
        **shapes.pack_lines(drawn, PLANE, origin_deg),
    }


def _centres(relief: Relief) -> tuple[Floats, Floats, float]:
    """Place the middles of cells on the plane, rows from the north on; and give a cell's side."""
    rows, columns = relief.heights_m.shape
    west, east = (shapes.RADIUS_M * np.radians(edge) for edge in (relief.west, relief.east))
    south, north = shapes.northing(np.array([relief.south, relief.north]))
    wide, high = (east - west) / columns, (north - south) / rows
    x = west + wide * (np.arange(columns) + 0.5)
    y = north - high * (np.arange(rows) + 0.5)
    return x, y, float(min(wide, high))


def shown(
    relief: Relief, apart: Intervals | None, origin_deg: tuple[float, float]
) -> dict[str, Any] | None:
    """Gather what a page begins with.

    Parameters
    ----------
    relief : Relief
        The heights.
    apart : Intervals | None
        How far apart lines are.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any] | None
        ``fine_m``, the interval of all lines; ``rise``, how much the ground usually rises over a
        metre of the plane; ``lines`` of the first interval. None where no line can be followed.
    """
    if apart is None or min(relief.heights_m.shape) < MESH:
        return None
    *_, cell = _centres(relief)
    rises = _rises(relief.heights_m.astype(np.float64))
    return {
        "fine_m": apart.fine_m,
        "rise": round(_steep_m(rises) / cell, 4) if len(rises) else 0.0,
        "lines": lines(relief, apart.first_m, origin_deg),
    }
