"""The bearing of straight rows that runs most nearly level.

Rows of direction d have the squared grade (g·d)² in a cell of gradient g. Its mean over the plot,
weighted by coverage, is dᵀMd with M = Σ w g gᵀ / Σ w, least along the eigenvector of M's smaller
eigenvalue. The mean of aspect or of the gradient fails where falls oppose each other: on ridges,
hollows and saddles.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.terrain.statistics import Statistics

    Floats = NDArray[np.float64]


def eigenvalues(found: Statistics) -> tuple[Floats, Floats]:
    """Give the mean squared grades along the steepest and along the most level direction.

    Parameters
    ----------
    found : Statistics
        What the cells say.

    Returns
    -------
    steep : numpy.ndarray
        Larger eigenvalue of M, shape (plots,) [1].
    level : numpy.ndarray
        Smaller eigenvalue of M, shape (plots,) [1].
    """
    middle = (found.east_east + found.north_north) / 2
    reach = np.hypot((found.east_east - found.north_north) / 2, found.east_north)
    return middle + reach, np.maximum(middle - reach, 0.0)


def downslope_direction(found: Statistics, share: float) -> Floats:
    """Give the direction in which the mean gradient falls.

    Parameters
    ----------
    found : Statistics
        What the cells say.
    share : float
        The mean gradient all but cancels where it is under this share of the mean slope.

    Returns
    -------
    numpy.ndarray
        Directions from the raster's north, clockwise, NaN where it all but cancels, shape
        (plots,) [degrees].
    """
    fall = np.hypot(found.east, found.north)
    direction = np.degrees(np.arctan2(-found.east, -found.north)) % 360
    clear = (fall > 0) & (fall >= share * found.slope_mean)
    return np.where(clear, direction, np.nan)
