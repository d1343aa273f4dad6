"""The ground as a picture: brightness under a low sun. No number is read from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SUN_FROM_DEG = 315.0
"""North-west, the cartographers' habit: lit from below, hills read as hollows."""
SUN_HEIGHT_DEG = 45.0
EXAGGERATION = 1.6
"""Gentle ground would look flat; the picture isn't measured."""


def hillshade(elevation: Floats, width_m: Floats, height_m: Floats) -> Floats:
    """Shade ground by the angle between its normal and the sun.

    Parameters
    ----------
    elevation : numpy.ndarray
        Elevations, NaN where there is none, shape (rows, columns), two or more each [m].
    width_m : numpy.ndarray
        Width of a cell of each row, shape (rows,) [m].
    height_m : numpy.ndarray
        Height of a cell of each row, shape (rows,) [m].

    Returns
    -------
    numpy.ndarray
        Brightness 0 to 1, NaN where there is no elevation, shape (rows, columns).
    """
    down, right = np.gradient(elevation)
    east = EXAGGERATION * right / width_m[:, None]
    north = -EXAGGERATION * down / height_m[:, None]
    sun_from, sun_height = np.radians([SUN_FROM_DEG, SUN_HEIGHT_DEG])
    lit = np.sin(sun_height) - np.cos(sun_height) * (
        east * np.sin(sun_from) + north * np.cos(sun_from)
    )
    shade: Floats = np.clip(lit / np.sqrt(1 + east**2 + north**2), 0, 1)
    return shade
