"""Ways between places by each mode: on foot, or ridden as far as the road leads."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely
from scipy.spatial.distance import cdist

from districtplan.travel.paths import SAME_M, by_paths
from districtplan.travel.ridden import Walks, ride_and_walk
from districtplan.travel.walking import METRES_PER_MINUTE

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from districtplan.travel.walking import Walking

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]

NEVER_OFF = 1e6
"""Times that a metre off the road counts for who rides."""
FAR_M = 1e7
"""Longer than any way within a district [m]."""
WHOLE_M = 1.0
"""Roadheads are told apart from this on [m]."""


class Riding(NamedTuple):
    """How who rides gets about.

    Attributes
    ----------
    roads : numpy.ndarray | None
        Roads as lines; None where ways are straight lines.
    factor : float
        How many times as long a way is as its straight line.
    """

    roads: NDArray[np.object_] | None
    factor: float


class Modes(NamedTuple):
    """Ways between places, by each mode.

    Attributes
    ----------
    minutes : list[numpy.ndarray]
        A mode each, infinite where no way leads, shape (places, places) [minutes].
    metres : list[numpy.ndarray]
        What is ridden of it, shape (places, places) [m].
    heads_m : list[numpy.ndarray | None]
        Where what is ridden stays, for each place, shape (places, 2) [m]; None of who goes on foot
        or rides straight to it.
    """

    minutes: list[Floats]
    metres: list[Floats]
    heads_m: list[Floats | None]


def by_modes(
    places_m: Floats,
    walk: Callable[[Floats], Floats],
    riding: Riding,
    speeds_km_h: Sequence[float],
) -> Modes:
    """Measure the ways between places by each mode.

    Parameters
    ----------
    places_m : numpy.ndarray
        Places, east and north, shape (places, 2) [m].
    walk : Callable[[numpy.ndarray], numpy.ndarray]
        Minutes on foot between points, infinite where nobody can walk.
    riding : Riding
        How who rides gets about.
    speeds_km_h : Sequence[float]
        Speed of each mode when it rides; 0 of who goes on foot [km/h].

    Returns
    -------
    Modes
        A mode each.
    """
    count = len(places_m)
    rides = any(speed > 0 for speed in speeds_km_h)
    if not rides or riding.roads is None:
        walked = walk(places_m) if 0 in speeds_km_h else np.empty((count, count))
        ridden = riding.factor * cdist(places_m, places_m)
        nothing = np.zeros_like(ridden)
        return Modes(
            [ridden / _per_minute(speed) if speed else walked for speed in speeds_km_h],
            [ridden if speed else nothing for speed in speeds_km_h],
            [None for _ in speeds_km_h],
        )
    heads = _roadheads(places_m, riding.roads)
    walked = walk(np.concatenate([places_m, heads]))
    between = walked[:count, :count]
    walks = Walks(walked[count:, :count], walked[:count, count:], between)
    far = by_paths(heads, heads, riding.roads, NEVER_OFF, FAR_M).whole(len(heads), len(heads))
    np.fill_diagonal(far, 0.0)
    modes = Modes([], [], [])
    for speed in speeds_km_h:
        if not speed:
            modes.minutes.append(between)
            modes.metres.append(np.zeros_like(between))
            modes.heads_m.append(None)
            continue
        found = ride_and_walk(far / _per_minute(speed), far, walks)
        modes.minutes.append(found.minutes)
        modes.metres.append(found.metres)
        modes.heads_m.append(heads[found.roadhead])
    return modes


def straight_minutes(places_m: Floats, factor: float, walking: Walking) -> Floats:
    """Say how long it takes on foot straight across level land, with no path.

    Parameters
    ----------
    places_m : numpy.ndarray
        Places, east and north, shape (places, 2) [m].
    factor : float
        How many times as long the way is.
    walking : Walking
        How fast people walk.

    Returns
    -------
    numpy.ndarray
        From places to places [minutes].
    """
    away = factor * cdist(places_m, places_m)
    return walking.minutes(away, np.zeros_like(away), np.zeros(away.shape, np.bool_))


def beyond(found: Floats, off: Bools, straight: Floats) -> Floats:
    """Take the straight line from and to places that lie off the terrain.

    Parameters
    ----------
    found : numpy.ndarray
        Minutes over the terrain, infinite where nobody can walk, shape (places, places).
    off : numpy.ndarray
        Which places lie off it, bool, shape (places,).
    straight : numpy.ndarray
        Minutes straight across level land, shape (places, places).

    Returns
    -------
    numpy.ndarray
        From places to places [minutes].
    """
    return np.where(off[:, None] | off, straight, found)


def path_minutes(
    places_m: Floats, lines: NDArray[np.object_], factor: float, walking: Walking
) -> Floats:
    """Say how long it takes on foot along level paths, and off them to the nearest.

    Parameters
    ----------
    places_m : numpy.ndarray
        Places, east and north, shape (places, 2) [m].
    lines : numpy.ndarray
        Paths and roads.
    factor : float
        How many times a metre off them counts.
    walking : Walking
        How fast people walk.

    Returns
    -------
    numpy.ndarray
        From places to places [minutes].
    """
    count = len(places_m)
    away = by_paths(places_m, places_m, lines, factor, FAR_M).whole(count, count)
    np.fill_diagonal(away, 0.0)
    return walking.minutes(away, np.zeros_like(away), np.ones(away.shape, np.bool_))


def _per_minute(speed_km_h: float) -> float:
    return speed_km_h * METRES_PER_MINUTE


def _roadheads(places_m: Floats, roads: NDArray[np.object_]) -> Floats:
    """Give the points of roads that are nearest to places, each once."""
    # Drawn as the network draws them: a hair off the road is kilometres for who never leaves it.
    lines = shapely.union_all(roads, grid_size=SAME_M)
    nearest = shapely.shortest_line(lines, np.array(shapely.points(places_m), dtype=object))
    found = shapely.get_coordinates(shapely.get_point(nearest, 0))
    _, first = np.unique(np.rint(found / WHOLE_M), axis=0, return_index=True)
    heads: Floats = found[np.sort(first)]
    return heads
