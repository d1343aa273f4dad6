"""Pairs of points with what it takes to get from one to the other."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.spatial import KDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


class Links(NamedTuple):
    """Pairs within reach, by start and then by end.

    Attributes
    ----------
    start : numpy.ndarray
        Number of the point where one sets out, shape (links,).
    end : numpy.ndarray
        Number of the point where one arrives, shape (links,).
    cost : numpy.ndarray
        What it takes, in metres or minutes, shape (links,).
    """

    start: Ints
    end: Ints
    cost: Floats

    @classmethod
    def of(cls, start: Ints, end: Ints, cost: Floats) -> Links:
        """Order pairs, and keep the cheapest of each.

        Parameters
        ----------
        start, end : numpy.ndarray
            Numbers of points, shape (pairs,).
        cost : numpy.ndarray
            What it takes, shape (pairs,).

        Returns
        -------
        Links
            Each pair once.
        """
        order = np.lexsort((cost, end, start))
        start, end, cost = start[order], end[order], cost[order]
        new = np.ones(len(start), np.bool_)
        new[1:] = (np.diff(start) != 0) | (np.diff(end) != 0)
        return cls(start[new], end[new], cost[new])

    def whole(self, starts: int, ends: int) -> Floats:
        """Spread pairs out.

        Parameters
        ----------
        starts, ends : int
            How many points there are.

        Returns
        -------
        numpy.ndarray
            What each pair takes, infinite where there is none, shape (starts, ends).
        """
        found = np.full((starts, ends), np.inf)
        found[self.start, self.end] = self.cost
        return found


def straight(starts_m: Floats, ends_m: Floats, factor: float, most_m: float) -> Links:
    """Measure the straight line, times a factor for the way's turns.

    Parameters
    ----------
    starts_m, ends_m : numpy.ndarray
        Points, east and north, shape (points, 2) [m].
    factor : float
        How many times as long the way is.
    most_m : float
        Longest way of interest [m].

    Returns
    -------
    Links
        Pairs with their ways, at most so long [m].
    """
    if not len(starts_m) or not len(ends_m):
        return Links(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0))
    found = KDTree(starts_m).sparse_distance_matrix(
        KDTree(ends_m), most_m / factor, output_type="ndarray"
    )
    return Links.of(found["i"].astype(np.int64), found["j"].astype(np.int64), found["v"] * factor)
