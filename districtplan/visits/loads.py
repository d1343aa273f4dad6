"""Plots that are visited on one day: near one another, and open together in each stage."""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

NEAR = 30
"""Nearest plots that one may be put together with."""


class Rounds(NamedTuple):
    """Plots with as many visits each, shape (plots, visits) but for the last three.

    Attributes
    ----------
    opens, closes : numpy.ndarray
        When each visit may begin, by time [s].
    service : numpy.ndarray
        How long it takes [s].
    way : numpy.ndarray
        From the nearest base and back, shape (plots,) [s].
    can : numpy.ndarray
        Who may follow the plot, bool, shape (plots, agents).
    between : numpy.ndarray
        Ways between plots, the mean of both directions, shape (plots, plots) [s].
    """

    opens: Ints
    closes: Ints
    service: Ints
    way: Floats
    can: Bools
    between: Floats


def loads(rounds: Rounds, leaves: Ints, returns: Ints, day: float) -> Ints:
    """Put plots together, the nearest first, as long as one day holds each of their rounds.

    Parameters
    ----------
    rounds : Rounds
        The plots.
    leaves, returns : numpy.ndarray
        When days begin and end, rising [s].
    day : float
        Hours of a day [s].

    Returns
    -------
    numpy.ndarray
        The lowest number of a plot that each is together with, shape (plots,).
    """
    opens, closes, way = rounds.opens.copy(), rounds.closes.copy(), rounds.way.copy()
    work, away = rounds.service.astype(np.float64), rounds.between.copy()
    np.fill_diagonal(away, np.inf)
    label, size = np.arange(len(way)), np.ones(len(way), np.int64)
    near = np.argsort(away, axis=1, kind="stable")[:, :NEAR]
    waiting = [
        (float(away[one, other]), one, other, 1, 1)
        for one in range(len(way))
        for other in near[one].tolist()
        if one < other
    ]
    heapq.heapify(waiting)
    while waiting:
        step, one, other, *sizes = heapq.heappop(waiting)
        # Whoever has grown since, or is part of another load, stands elsewhere in the heap.
        if [size[one], size[other]] != sizes or not (rounds.can[one] == rounds.can[other]).all():
            continue
        first, last = np.maximum(opens[one], opens[other]), np.minimum(closes[one], closes[other])
        held, there = work[one] + work[other] + step, min(way[one], way[other])
        some_day = np.searchsorted(returns, first) < np.searchsorted(leaves, last, side="right")
        if not some_day.all() or (first > last).any() or (held + there > day).any():
            continue
        opens[one], closes[one], work[one], way[one] = first, last, held, there
        size[one], size[other] = size[one] + size[other], 0
        label[label == other] = one
        away[one] = np.minimum(away[one], away[other])
        away[one, one] = np.inf
        away[:, one] = away[one]
        away[other], away[:, other] = np.inf, np.inf
        for third in np.argsort(away[one], kind="stable")[:NEAR].tolist():
            low, high = min(one, third), max(one, third)
            if np.isfinite(away[one, third]):
                heapq.heappush(
                    waiting, (float(away[one, third]), low, high, int(size[low]), int(size[high]))
                )
    return label
