"""A plot cut into two or more parts by straight lines, each part with an arc of its own.

Parts are cut one at a time. Sums over the points on one side of a line are running sums in the
order of the line's normal, so every place of a line of one direction costs as much as one. The sums
count rows from one origin; that they be counted from each side's own middle c is linear:
g·J (x - c) = g·J x - g·J c.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan import concentric
from districtplan.rows import arc, grade

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.rows.arc import Arc

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

DIRECTIONS = 16
"""Directions of lines that are tried, over half a turn."""
PLACES = 24
"""Places of a line that are tried in each direction."""
REFINED = 4
"""Best lines by the quick sums that are fitted in full."""
LEAST_POINTS = 12
"""Points without which a side has no arc of its own."""


class Cut(NamedTuple):
    """A line across a plot: the points with n·x at most ``offset`` lie on its first side.

    Attributes
    ----------
    normal : tuple[float, float]
        Unit vector n across the line.
    offset : float
        Distance of the line from the origin along n [m].
    """

    normal: tuple[float, float]
    offset: float

    def first(self, xy: Floats) -> Bools:
        """Say which places lie on the first side.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Shape (points,).
        """
        return np.asarray(xy @ np.array(self.normal) <= self.offset)


class Sector(NamedTuple):
    """A part of a plot: where all its cuts leave it, and its rows.

    Attributes
    ----------
    sides : tuple[tuple[Cut, bool], ...]
        The cuts, and whether the part lies on the first side of each.
    rows : Arc
        Its rows.
    """

    sides: tuple[tuple[Cut, bool], ...]
    rows: Arc

    def holds(self, xy: Floats) -> Bools:
        """Say which places lie in the part.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Shape (points,).
        """
        found = np.ones(len(xy), dtype=bool)
        for cut, first in self.sides:
            found &= cut.first(xy) == first
        return found


def direction(sectors: tuple[Sector, ...], xy: Floats) -> Floats:
    """Give the direction of rows at places.

    Parameters
    ----------
    sectors : tuple[Sector, ...]
        Parts that hold every place once.
    xy : numpy.ndarray
        Places, shape (points, 2) [m].

    Returns
    -------
    numpy.ndarray
        Unit vectors, shape (points, 2).
    """
    found = np.zeros_like(xy)
    for sector in sectors:
        here = sector.holds(xy)
        found[here] = sector.rows.direction(xy[here])
    return found


def split(
    sectors: tuple[Sector, ...], xy: Floats, gradient: Floats, share: float, slack: float = np.inf
) -> tuple[Sector, ...]:
    """Cut one part in two, where that takes off most of the squared grade.

    Parameters
    ----------
    sectors : tuple[Sector, ...]
        The parts so far.
    xy : numpy.ndarray
        Places, spread evenly over the plot, shape (points, 2) [m].
    gradient : numpy.ndarray
        Gradients there, shape (points, 2) [1].
    share : float
        Least share of the plot that a part may have.
    slack : float, default inf
        Grade from which a point counts less in fitting an arc [1].

    Returns
    -------
    tuple[Sector, ...]
        One part more; the same parts where none can be cut with a gain.
    """
    least = max(round(share * len(xy)), LEAST_POINTS)
    best, gained = sectors, 0.0
    for number, sector in enumerate(sectors):
        here = sector.holds(xy)
        before = _squared(sector.rows, xy[here], gradient[here])
        for cut in _lines(xy[here], gradient[here], least):
            parts = tuple(
                Sector((*sector.sides, (cut, first)), rows)
                for first, rows in _both(cut, xy[here], gradient[here], slack)
            )
            after = sum(_squared(p.rows, *_inside(p, xy, gradient)) for p in parts)
            if before - after > gained:
                best = (*sectors[:number], *parts, *sectors[number + 1 :])
                gained = before - after
    return best


def _inside(sector: Sector, xy: Floats, gradient: Floats) -> tuple[Floats, Floats]:
    here = sector.holds(xy)
    return xy[here], gradient[here]


def _squared(rows: Arc, xy: Floats, gradient: Floats) -> float:
    return float(np.sum(grade.along(gradient, rows.direction(xy)) ** 2))


def _both(cut: Cut, xy: Floats, gradient: Floats, slack: float) -> list[tuple[bool, Arc]]:
    first = cut.first(xy)
    return [
        (side, arc.fit(xy[first == side], gradient[first == side], slack)) for side in (True, False)
    ]


def _lines(xy: Floats, gradient: Floats, least: int) -> list[Cut]:
    """Give the best lines by the quick sums, at most one of each direction."""
    count = len(xy)
    if count < 2 * least:
        return []
    origin = xy.mean(axis=0)
    local = xy - origin
    turn = np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    normals = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    reach = local @ normals.T
    order = np.argsort(reach, axis=0, kind="stable")
    whole = np.concatenate([arc.sums(local, gradient), local], axis=1)
    running = np.cumsum(whole[order], axis=0)
    places = np.unique(np.linspace(least, count - least, PLACES).astype(np.int64))
    first = running[places - 1]
    left = _left(first, places[:, None]) + _left(running[-1] - first, count - places[:, None])
    at = np.argmin(left, axis=0)
    found = []
    for number in np.argsort(left[at, np.arange(DIRECTIONS)], kind="stable")[:REFINED].tolist():
        place, line = int(places[at[number]]), order[:, number]
        middle = (reach[line[place - 1], number] + reach[line[place], number]) / 2
        normal = normals[number]
        found.append(Cut((float(normal[0]), float(normal[1])), float(middle + normal @ origin)))
    return found


def _left(total: Floats, count: Floats | NDArray[np.int64]) -> Floats:
    """Give the squared grade left on one side, its rows counted from its own middle."""
    xx, xy, yy, xk, yk, kk, x, y = np.moveaxis(total, -1, 0)
    # J c of the side's middle c.
    u, v = -y / count, x / count
    shifted = kk - 2 * (xk * u + yk * v) + xx * u * u + 2 * xy * u * v + yy * v * v
    return concentric.solve(xx, xy, yy, xk - xx * u - xy * v, yk - xy * u - yy * v, shifted).left
