"""Where water would stand along a row, and where the row is broken so that it doesn't.

Water in a row stands up to the lower of the highest points on either side of it: the depth there is
that level less the height. A row that falls one way has none. Where the depth is more than a limit
the row is broken at its deepest point, so that water can leave there; each part then has its low
end at the break, and is looked at again.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STEP_M = 1.0
"""Step at which heights along a row are looked at [m]."""


def depth(heights: Floats) -> Floats:
    """Give how deep water would stand along rows.

    Parameters
    ----------
    heights : numpy.ndarray
        Heights along each row, shape (..., points) [m].

    Returns
    -------
    numpy.ndarray
        Depths, 0 where water runs off, the same shape [m].
    """
    left = np.maximum.accumulate(heights, axis=-1)
    right = np.maximum.accumulate(heights[..., ::-1], axis=-1)[..., ::-1]
    return np.asarray(np.minimum(left, right) - heights)


def walk(line: Floats, step: float = STEP_M) -> Floats:
    """Put points along a line, its own among them.

    Parameters
    ----------
    line : numpy.ndarray
        A line, shape (points, 2) [m].
    step : float, default STEP_M
        Largest distance from one point to the next [m].

    Returns
    -------
    numpy.ndarray
        The same line, shape (more points, 2) [m].
    """
    size = np.hypot(*np.diff(line, axis=0).T)
    pieces = np.maximum(np.ceil(size / step), 1).astype(np.int64)
    leg = np.repeat(np.arange(len(size)), pieces)
    share = (np.arange(len(leg)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[leg]
    inner = line[leg] + share[:, None] * (line[leg + 1] - line[leg])
    return np.concatenate([inner, line[-1:]])


def breaks(heights: Floats, deepest: float) -> list[int]:
    """Say at which points a row is broken.

    Parameters
    ----------
    heights : numpy.ndarray
        Heights along the row, shape (points,) [m].
    deepest : float
        Depth of water that may stand in a row [m].

    Returns
    -------
    list[int]
        Points, rising; none where water nowhere stands deeper.
    """
    found: list[int] = []
    waiting = [(0, len(heights))]
    while waiting:
        start, stop = waiting.pop()
        standing = depth(heights[start:stop])
        low = int(np.argmax(standing))
        if standing[low] > deepest:
            middle = start + low
            found.append(middle)
            waiting += [(start, middle + 1), (middle, stop)]
    return sorted(found)


def broken(
    line: Floats, height: Callable[[Floats], Floats], deepest: float, step: float = STEP_M
) -> list[Floats]:
    """Break a row so that water nowhere stands deeper than a limit.

    Parameters
    ----------
    line : numpy.ndarray
        The row, shape (points, 2) [m].
    height : Callable[[numpy.ndarray], numpy.ndarray]
        Gives heights [m] at places, shape (points, 2) [m].
    deepest : float
        Depth of water that may stand in a row [m].
    step : float, default STEP_M
        Step at which heights are looked at [m].

    Returns
    -------
    list[numpy.ndarray]
        Its parts in order, each ending where the next one starts.
    """
    points = walk(line, step)
    cuts = breaks(height(points), deepest)
    if not cuts:
        return [line]
    edges = [0, *cuts, len(points) - 1]
    return [points[start : stop + 1] for start, stop in itertools.pairwise(edges)]
