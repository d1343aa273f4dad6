"""The concentric rows that run most nearly level: one arc, in closed form.

The rows are those of least squared grade at places spread evenly over the land
(:mod:`districtplan.concentric`).

A limit is kept or it isn't: where no arc keeps it everywhere, a point far beyond it need not spoil
the rest. Further rounds weigh a point of grade r by 1 / (1 + (r / slack)²).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan import concentric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ROUNDS = 3
"""Rounds of the weights 1 / |t|², then of those by grade."""
STRAIGHT = 1e-9
"""Curvature under which rows are straight [1/m]: a centre a million kilometres away."""


@dataclass(frozen=True)
class Arc:
    """Concentric rows, or straight ones.

    Attributes
    ----------
    x : float
        Easting of the middle [m].
    y : float
        Northing of the middle [m].
    angle : float
        Direction of the row through the middle, from east, anticlockwise [radians].
    bend : float
        Curvature there, positive where rows turn to the left along that direction [1/m].
    """

    x: float
    y: float
    angle: float
    bend: float

    @property
    def along(self) -> Floats:
        """Direction of the row through the middle.

        Returns
        -------
        numpy.ndarray
            Unit vector, shape (2,).
        """
        return np.array([np.cos(self.angle), np.sin(self.angle)])

    @property
    def centre(self) -> Floats | None:
        """Centre of the rows.

        Returns
        -------
        numpy.ndarray | None
            Place, shape (2,) [m]; None where rows are straight.
        """
        if abs(self.bend) < STRAIGHT:
            return None
        return np.array([self.x, self.y]) + quarter(self.along) / self.bend

    def across(self, xy: Floats) -> Floats:
        """Give the place of the row through each place: all places of a row have the same.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Distance from the centre; of straight rows, from the one through the origin, to the
            left, shape (points,) [m].
        """
        centre = self.centre
        if centre is None:
            return np.asarray(xy @ quarter(self.along))
        return np.asarray(np.hypot(*(xy - centre).T))

    def direction(self, xy: Floats) -> Floats:
        """Give the direction of rows at places.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Unit vectors; 0 at the centre itself, shape (points, 2).
        """
        t = self.along + self.bend * quarter(xy - [self.x, self.y])
        size = np.hypot(*t.T)
        return np.asarray(t / np.where(size > 0, size, 1.0)[:, None])


def quarter(vectors: Floats) -> Floats:
    """Turn vectors a quarter to the left.

    Parameters
    ----------
    vectors : numpy.ndarray
        Vectors, shape (..., 2).

    Returns
    -------
    numpy.ndarray
        The same, turned.
    """
    return np.stack([-vectors[..., 1], vectors[..., 0]], axis=-1)


def sums(xy: Floats, gradient: Floats) -> Floats:
    """Multiply out what the matrix M adds up.

    Parameters
    ----------
    xy : numpy.ndarray
        Places from the origin that rows are counted from, shape (points, 2) [m].
    gradient : numpy.ndarray
        Gradients, shape (points, 2) [1].

    Returns
    -------
    numpy.ndarray
        Products xx, xy, yy, xk, yk, kk of a, shape (points, 6).
    """
    p, q = gradient.T
    k = q * xy[:, 0] - p * xy[:, 1]
    return np.stack([p * p, p * q, q * q, p * k, q * k, k * k], axis=-1)


def straight(xy: Floats, gradient: Floats) -> Arc:
    """Find the straight rows of least mean squared grade.

    Parameters
    ----------
    xy : numpy.ndarray
        Places, shape (points, 2) [m].
    gradient : numpy.ndarray
        Gradients there, shape (points, 2) [1].

    Returns
    -------
    Arc
        Rows of no curvature.
    """
    (xx, both), (_, yy) = gradient.T @ gradient
    angle = 0.5 * np.arctan2(2 * both, xx - yy) + np.pi / 2
    x, y = xy.mean(axis=0).tolist()
    return Arc(x, y, float(angle), 0.0)


def fit(xy: Floats, gradient: Floats, slack: float = np.inf) -> Arc:
    """Find the concentric rows of least mean squared grade.

    Parameters
    ----------
    xy : numpy.ndarray
        Places, spread evenly over the land, shape (points, 2) [m].
    gradient : numpy.ndarray
        Gradients there, shape (points, 2) [1].
    slack : float, default inf
        Grade from which a point counts less [1].

    Returns
    -------
    Arc
        The rows.
    """
    middle = xy.mean(axis=0)
    products = sums(xy - middle, gradient)
    weight = np.ones(len(xy))
    found = Arc(float(middle[0]), float(middle[1]), 0.0, 0.0)
    for number in range(2 * ROUNDS if np.isfinite(slack) else ROUNDS + 1):
        angle, bend, _ = concentric.solve(*(weight @ products))
        found = Arc(found.x, found.y, float(angle), float(bend))
        t = found.along + found.bend * quarter(xy - middle)
        size = np.maximum((t * t).sum(axis=1), concentric.NEAREST)
        weight = 1 / size
        if number >= ROUNDS:
            weight /= 1 + np.einsum("ij,ij->i", gradient, t) ** 2 / size / slack**2
    return found
