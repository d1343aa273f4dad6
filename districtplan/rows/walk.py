"""Low places of straight rows, many rows at a time: loops that numba compiles.

A district has a thousand million metres of rows. Heights along them are those of the surface's own
cubics, cell by cell; where water stands and where rows are broken is what :mod:`~.sag` says of one.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np

from districtplan.rows.sag import STEP_M

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from districtplan.rows.surface import Surface

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

T = TypeVar("T")


class Ground(NamedTuple):
    """Cubics of some surfaces, one after the other.

    Attributes
    ----------
    cubics : numpy.ndarray
        Coefficients of all cells, shape (cells, 4, 4) [m].
    first : numpy.ndarray
        Where those of each surface begin, shape (surfaces,).
    size : numpy.ndarray
        Rows and columns of cells of each, shape (surfaces, 2).
    corner : numpy.ndarray
        Northing and easting of each lattice's first height, shape (surfaces, 2) [m].
    step : numpy.ndarray
        Distance of its heights northwards and eastwards, shape (surfaces, 2) [m].
    """

    cubics: Floats
    first: Integers
    size: Integers
    corner: Floats
    step: Floats

    @classmethod
    def of(cls, surfaces: list[Surface]) -> Ground:
        """Put surfaces together.

        Parameters
        ----------
        surfaces : list[Surface]
            At least one.

        Returns
        -------
        Ground
            Their cubics.
        """
        cubics = [surface.cubics() for surface in surfaces]
        lattices = [surface.heights for surface in surfaces]
        return cls(
            np.concatenate([one.reshape(-1, *one.shape[2:]) for one in cubics]),
            np.cumsum([0, *(one.shape[0] * one.shape[1] for one in cubics[:-1])]),
            np.array([one.shape[:2] for one in cubics]),
            np.array([[one.south, one.west] for one in lattices]),
            np.array([[one.step_y, one.step_x] for one in lattices]),
        )


class Lows(NamedTuple):
    """Where rows are broken, by row.

    Attributes
    ----------
    row : numpy.ndarray
        Place of each one's row, shape (breaks,).
    share : numpy.ndarray
        How far along the row it lies, 0 to 1, shape (breaks,).
    """

    row: Integers
    share: Floats


def lows(ground: Ground, of: Integers, start: Floats, stop: Floats, deepest: float) -> Lows:
    """Walk rows and break them so that water nowhere stands deeper than a limit.

    All rows over one surface are looked at in as many points, so that the longest has steps of at
    most ``STEP_M``.

    Parameters
    ----------
    ground : Ground
        Surfaces.
    of : numpy.ndarray
        The surface under each row, shape (rows,).
    start : numpy.ndarray
        Where rows start in local metres, shape (rows, 2) [m].
    stop : numpy.ndarray
        Where they end, shape (rows, 2) [m].
    deepest : float
        Depth of water that may stand in a row [m].

    Returns
    -------
    Lows
        The breaks.
    """
    longest = np.zeros(len(ground.first))
    np.maximum.at(longest, of, np.hypot(*(stop - start).T))
    points = (np.ceil(longest / STEP_M).astype(np.int64) + 1)[of]
    rows = _Rows(of, start, stop, np.append(0, np.cumsum(points)))
    row, point = _compiled(_breaks)(_compiled(_heights)(ground, rows), rows.first, deepest)
    return Lows(row, point / (points[row] - 1))


def heights(ground: Ground, start: Floats, stop: Floats, points: int) -> Floats:
    """Give heights along straight lines over one surface.

    Parameters
    ----------
    ground : Ground
        The surface.
    start : numpy.ndarray
        Where lines start in local metres, shape (lines, 2) [m].
    stop : numpy.ndarray
        Where they end, shape (lines, 2) [m].
    points : int
        Places on each, evenly from start to end; at least two.

    Returns
    -------
    numpy.ndarray
        Shape (lines, points) [m].
    """
    of = np.zeros(len(start), dtype=np.int64)
    rows = _Rows(of, start, stop, np.arange(len(start) + 1) * points)
    found: Floats = _compiled(_heights)(ground, rows).reshape(-1, points)
    return found


class _Rows(NamedTuple):
    """Rows to walk; the points of each lie between two of ``first``."""

    of: Integers
    start: Floats
    stop: Floats
    first: Integers


def chains(plot: Integers, place: Floats, apart: Floats, along: float) -> Integers:
    """Link low places of neighbouring rows, each to the nearest chain before it that is in reach.

    Parameters
    ----------
    plot : numpy.ndarray
        Plot of each place, in order, shape (places,).
    place : numpy.ndarray
        Along and across rows, by place across, shape (places, 2) [m].
    apart : numpy.ndarray
        How far across rows a chain is carried on, shape (plots,) [m].
    along : float
        How far along rows [m].

    Returns
    -------
    numpy.ndarray
        Chain of each place, numbered in the order of their first places, shape (places,).
    """
    found: Integers = _compiled(_link)(plot, place, apart, along)
    return found


@functools.cache
def _compiled(loop: Callable[..., T]) -> Callable[..., T]:
    # Imported late: it takes a second, and few commands walk rows.
    from numba import njit

    compiled: Callable[..., T] = njit(cache=True, nogil=True, error_model="numpy")(loop)
    return compiled


def _heights(ground: Ground, rows: _Rows) -> Floats:
    heights = np.empty(rows.first[-1])
    for row in range(len(rows.of)):
        of, begin = rows.of[row], rows.first[row]
        last = rows.first[row + 1] - begin - 1
        base, (down, across) = ground.first[of], ground.size[of]
        # In cells from the first height, at the start and for each point.
        v0 = (rows.start[row, 1] - ground.corner[of, 0]) / ground.step[of, 0]
        u0 = (rows.start[row, 0] - ground.corner[of, 1]) / ground.step[of, 1]
        dv = (rows.stop[row, 1] - rows.start[row, 1]) / (ground.step[of, 0] * last)
        du = (rows.stop[row, 0] - rows.start[row, 0]) / (ground.step[of, 1] * last)
        for at in range(last + 1):
            # As the spline does: beyond its edge it stays as it is there.
            v, u = min(max(v0 + at * dv, 0.0), down), min(max(u0 + at * du, 0.0), across)
            i, j = min(int(v), down - 1), min(int(u), across - 1)
            v, u = v - i, u - j
            cell = ground.cubics[base + i * across + j]
            value = 0.0
            for power in range(3, -1, -1):
                line = cell[power]
                value = value * v + (((line[3] * u + line[2]) * u + line[1]) * u + line[0])
            heights[begin + at] = value
    return heights


def _breaks(heights: Floats, first: Integers, deepest: float) -> tuple[Integers, Integers]:
    right = np.empty(len(heights))
    # Empty, but numba sees what they are to hold.
    row_of, point = [np.int64(0) for _ in range(0)], [np.int64(0) for _ in range(0)]
    for row in range(len(first) - 1):
        waiting = [(first[row], first[row + 1])]
        while len(waiting) > 0:
            begin, end = waiting.pop()
            level = heights[end - 1]
            for at in range(end - 1, begin - 1, -1):
                level = max(level, heights[at])
                right[at] = level
            level = heights[begin]
            low, depth = begin, 0.0
            for at in range(begin, end):
                level = max(level, heights[at])
                standing = min(level, right[at]) - heights[at]
                if standing > depth:
                    low, depth = at, standing
            if depth > deepest:
                row_of.append(np.int64(row))
                point.append(low - first[row])
                waiting.append((begin, low + 1))
                waiting.append((low, end))
    return np.array(row_of, dtype=np.int64), np.array(point, dtype=np.int64)


def _link(plot: Integers, place: Floats, apart: Floats, along: float) -> Integers:
    chain = np.empty(len(plot), np.int64)
    tail = np.empty(len(plot), np.int64)
    oldest = count = 0
    for one in range(len(plot)):
        if one > 0 and plot[one] != plot[one - 1]:
            oldest = count
        nearest, best = along, -1
        for other in range(oldest, count):
            across = place[one, 1] - place[tail[other], 1]
            away = abs(place[one, 0] - place[tail[other], 0])
            fits = 0 < across <= apart[plot[one]] and away <= nearest
            if fits and (best < 0 or away < nearest):
                nearest, best = away, other
        if best < 0:
            best = count
            count += 1
        chain[one], tail[best] = best, one
    return chain
