"""Riding as far as the road leads, and walking the rest.

What is ridden is left at a roadhead and has to be fetched from there. So each place has one
roadhead, the one with the shortest walk there and back: between places of the same roadhead one
walks, and between others one walks back, rides, and walks again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


class Walks(NamedTuple):
    """Minutes on foot; infinite where nobody can walk.

    Attributes
    ----------
    out : numpy.ndarray
        From roadheads to places, shape (roadheads, places) [minutes].
    back : numpy.ndarray
        From places to roadheads, shape (places, roadheads) [minutes].
    between : numpy.ndarray
        From places to places, shape (places, places) [minutes].
    """

    out: Floats
    back: Floats
    between: Floats


class Ridden(NamedTuple):
    """Ways of which a part is ridden.

    Attributes
    ----------
    minutes : numpy.ndarray
        From places to places, infinite where no way leads, shape (places, places) [minutes].
    metres : numpy.ndarray
        What is ridden of it, 0 where no way leads, shape (places, places) [m].
    roadhead : numpy.ndarray
        Roadhead of each place, by number, shape (places,).
    """

    minutes: Floats
    metres: Floats
    roadhead: Ints


def ride_and_walk(ride_minutes: Floats, ride_metres: Floats, walks: Walks) -> Ridden:
    """Put rides and walks together.

    Parameters
    ----------
    ride_minutes : numpy.ndarray
        Rides between roadheads, infinite where none leads, shape (roadheads, roadheads) [minutes].
    ride_metres : numpy.ndarray
        How far they are, shape (roadheads, roadheads) [m].
    walks : Walks
        The ways on foot.

    Returns
    -------
    Ridden
        The ways between all places. A base that lies on the road is a place and a roadhead, with no
        walk between.
    """
    places = np.arange(walks.out.shape[1])
    head = (walks.out.T + walks.back).argmin(axis=1)
    out, back = walks.out[head, places], walks.back[places, head]
    ridden = ride_minutes[np.ix_(head, head)]
    same = head[:, None] == head
    minutes = back[:, None] + np.where(same, 0.0, ridden) + out
    minutes = np.where(same, np.minimum(minutes, walks.between), minutes)
    minutes[places, places] = 0.0
    metres = np.where(same | ~np.isfinite(minutes), 0.0, ride_metres[np.ix_(head, head)])
    return Ridden(minutes, metres, head)
