"""Grades along rows, and how much of their length keeps within the limit.

Rows lie a spacing apart, so a point of the plot stands for as much row as any other: grades over
points spread evenly over the land are grades along all rows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import ndtr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.rows.surface import Doubt

    Floats = NDArray[np.float64]

NINETEEN_IN_TWENTY = 95


class Grades(NamedTuple):
    """Grades along the rows of a plot.

    Attributes
    ----------
    rms : float
        Root mean square grade along the rows [1].
    p95 : float
        Grade that nineteen twentieths of their length keep under [1].
    within : float
        Share of their length within the limit.
    """

    rms: float
    p95: float
    within: float


def along(gradient: Floats, direction: Floats) -> Floats:
    """Give the grade along rows at points.

    Parameters
    ----------
    gradient : numpy.ndarray
        Gradients, shape (points, 2) [1].
    direction : numpy.ndarray
        Unit directions of the rows, shape (points, 2).

    Returns
    -------
    numpy.ndarray
        Grades with their sign, shape (points,) [1].
    """
    return np.asarray(np.einsum("ij,ij->i", gradient, direction))


def walked(grades: Floats, limit: float) -> Grades:
    """Sum up grades as they are.

    Parameters
    ----------
    grades : numpy.ndarray
        Grades along the rows, shape (points,) [1].
    limit : float
        Steepest grade allowed [1].

    Returns
    -------
    Grades
        Of all rows.
    """
    size = np.abs(grades)
    return Grades(
        float(np.sqrt(np.mean(size**2))),
        float(np.percentile(size, NINETEEN_IN_TWENTY)),
        float(np.mean(size <= limit)),
    )


def within_on_the_ground(grades: Floats, limit: float, doubt: Doubt, free: float) -> float:
    """Say what share of the rows' length would be within the limit on the true ground.

    Lines with few parameters follow little of the noise left in a surface, which then shows in
    their grades there though it isn't on the ground; lines with many follow it. With p the share of
    the noise's degrees of freedom that the lines take up, the mean squared grade on the ground is
    that on the surface plus (2 p - 1) times the noise's (Mallows). What smoothing took off the land
    shows in no line's grades, and is there on the ground.

    Parameters
    ----------
    grades : numpy.ndarray
        Grades along the rows on the fitted surface, shape (points,) [1].
    limit : float
        Steepest grade allowed [1].
    doubt : Doubt
        How far the surface's gradient may be from the land's.
    free : float
        The share p, 0 to 1.

    Returns
    -------
    float
        The share.
    """
    squared = float(np.mean(grades**2))
    # What is the lines' own of the noise spreads their grades, what they can't follow shrinks.
    own = free * doubt.noise**2
    left = max(squared + (free - 1) * doubt.noise**2, 0.0)
    shrink = np.sqrt(left / squared) if squared > 0 else 0.0
    return spread_within(grades * shrink, limit, float(np.hypot(np.sqrt(own), doubt.lost)))


def spread_within(grades: Floats, limit: float, error: float) -> float:
    """Say what share of grades keeps within the limit once an error is added.

    Parameters
    ----------
    grades : numpy.ndarray
        Grades, shape (points,) [1].
    limit : float
        Steepest grade allowed [1].
    error : float
        Standard deviation of a normal error, 0 for none [1].

    Returns
    -------
    float
        The share.
    """
    if error == 0:
        return float(np.mean(np.abs(grades) <= limit))
    return float(np.mean(ndtr((limit - grades) / error) - ndtr((-limit - grades) / error)))
