"""The demo's ground: invented hills around a valley, and a survey of them with known error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

CELL_M = 10.0
ROWS = 560
COLUMNS = 640
# UTM zone 38 south, over open ocean: nobody's fields are meant.
EPSG = 32738
WEST_M = 640_000.0
NORTH_M = 9_510_000.0
VERTICAL_ERROR_M = 0.2
ERROR_CORRELATION_M = 30.0
NODATA = -9999.0
# The direction that fields follow is that of the hillside, not of each bump.
HILLSIDE_M = 60.0
# Spurs stand so far apart, and run a little askew; hollows lie between them.
SPURS_M = 980.0


@dataclass(frozen=True)
class Ground:
    """The hills, and what a survey of them would give.

    Attributes
    ----------
    survey : numpy.ndarray
        Elevations with the survey's error, first row north, float32 [m].
    east : numpy.ndarray
        Gradient of the hillside towards the east, without error.
    north : numpy.ndarray
        Gradient of the hillside towards the north, without error.
    hills : numpy.ndarray
        Elevations without error [m].
    """

    survey: NDArray[np.float32]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    hills: NDArray[np.float64]

    def gradient(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Look up the hillside's gradient between cell centres.

        Parameters
        ----------
        points : numpy.ndarray
            Eastings and northings, shape (n, 2) [m].

        Returns
        -------
        numpy.ndarray
            East and north gradient, shape (n, 2).
        """
        return _between_cells((self.east, self.north), points)

    def true_gradient(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Look up the ground's own gradient, each bump's too.

        Parameters
        ----------
        points : numpy.ndarray
            Eastings and northings, shape (n, 2) [m].

        Returns
        -------
        numpy.ndarray
            East and north gradient, shape (n, 2).
        """
        down, east = np.gradient(self.hills, CELL_M)
        return _between_cells((np.asarray(east), -np.asarray(down)), points)


def _between_cells(
    grids: tuple[NDArray[np.float64], ...], points: NDArray[np.float64]
) -> NDArray[np.float64]:
    place = np.stack(
        [(NORTH_M - points[:, 1]) / CELL_M - 0.5, (points[:, 0] - WEST_M) / CELL_M - 0.5]
    )
    parts = [ndimage.map_coordinates(grid, place, order=1, mode="nearest") for grid in grids]
    return np.stack(parts, axis=1)


def _smooth_noise(random: np.random.Generator, correlation_m: float) -> NDArray[np.float64]:
    # White noise through a Gaussian of standard deviation l/sqrt(2) has the correlation
    # exp(-d^2 / (2 l^2)); the standard deviation of the whole is brought to 1.
    white = random.standard_normal((ROWS, COLUMNS))
    smooth = ndimage.gaussian_filter(white, correlation_m / np.sqrt(2) / CELL_M, mode="wrap")
    return np.asarray(smooth / smooth.std())


def _askew(y: NDArray[np.floating]) -> NDArray[np.float64]:
    return np.asarray(0.6 * np.sin(y / 600))


def hollows(y: float) -> NDArray[np.float64]:
    """Tell where hollows lie across the district.

    Parameters
    ----------
    y : float
        Metres north of the south-west corner.

    Returns
    -------
    numpy.ndarray
        Metres east of it, rising.
    """
    number = np.arange(COLUMNS * CELL_M // SPURS_M + 1)
    east = SPURS_M * (number + 0.5 - float(_askew(np.array(y))) / (2 * np.pi))
    return np.asarray(east[(east > 0) & (east < COLUMNS * CELL_M)])


def _hills(random: np.random.Generator) -> NDArray[np.float64]:
    # Metres east and north of the south-west corner, at cell centres.
    x = (np.arange(COLUMNS) + 0.5) * CELL_M
    y = ((ROWS - np.arange(ROWS)) - 0.5)[:, None] * CELL_M
    phase = random.uniform(0, 2 * np.pi)
    from_axis = y - (2_700 + 420 * np.sin(x / 950 + phase))
    floor = 270 + 90 * np.sin(x / 700)
    up = np.maximum(np.abs(from_axis) - floor, 0)
    # Spurs and hollows: the same height is reached sooner on a spur than in a hollow.
    up = up * (1 + 0.14 * np.cos(2 * np.pi * x / SPURS_M + _askew(y)))
    crest = np.where(from_axis > 0, 1_650.0, 1_950.0)
    rise = np.where(from_axis > 0, 250.0, 215.0)
    heights = 1_400 - 0.0025 * x + rise * (1 - np.cos(np.pi * up / crest)) / 2
    # A scarp along the north side, steepest in the middle of the district.
    scarp = 75 * np.exp(-(((x - 3_300) / 1_700) ** 2))
    heights = heights + np.where(from_axis > 0, scarp / (1 + np.exp(-(up - 900) / 60)), 0.0)
    # A round hill that stands alone at the foot of the south side.
    away = (x - 4_700) ** 2 + (y - (2_700 + 420 * np.sin(4_700 / 950 + phase) - 700)) ** 2
    heights = heights + 60 * np.exp(-away / (2 * 190**2))
    return np.asarray(heights + 2.0 * np.minimum(up / 400, 1) * _smooth_noise(random, 130))


def make(random: np.random.Generator) -> Ground:
    """Raise the hills and survey them.

    Parameters
    ----------
    random : numpy.random.Generator
        Source of all that is random.

    Returns
    -------
    Ground
        The ground.
    """
    hills = _hills(random)
    survey = hills + VERTICAL_ERROR_M * _smooth_noise(random, ERROR_CORRELATION_M)
    # Steps of 1/64 m, far below the error, leave float32 ending in zeros: a small file.
    survey = np.round(survey * 64) / 64
    hillside = ndimage.gaussian_filter(hills, HILLSIDE_M / CELL_M, mode="nearest")
    down, east = np.gradient(hillside, CELL_M)
    return Ground(survey.astype(np.float32), east, -down, hills)
