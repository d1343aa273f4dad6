"""Whether a raster can serve the plots at all: it lies under them, and its cells are square."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.grid import Grid

SHEAR_MAX_DEG = 0.1
"""What a printed bearing is good to at best."""
SIZE_MAX = 0.01
"""Share by which a cell may differ from the size that slopes are taken with."""
POINTS = 64


def require_square_cells(
    grid: Grid,
    meets: NDArray[np.bool_],
    longitude: NDArray[np.float64],
    latitude: NDArray[np.float64],
) -> None:
    """Refuse a raster whose axes aren't square to each other on the ground.

    On a map that keeps areas but not angles a slope and its direction would be read wrong, without
    a sign of it. Plots off the raster aren't looked at: it needn't serve them, and one point of a
    device without a fix lies where every map bends.

    Parameters
    ----------
    grid : Grid
        The raster's grid.
    meets : numpy.ndarray
        Which plots come near it, at least one, shape (plots,).
    longitude : numpy.ndarray
        Longitudes of the plots, shape (plots,) [degrees].
    latitude : numpy.ndarray
        Latitudes of the plots, shape (plots,) [degrees].

    Raises
    ------
    InputError
        If axes are off by more than a tenth of a degree at some plot, or cells differ by more than
        a hundredth from the size that slopes are taken with.
    """
    longitude, latitude = longitude[meets], latitude[meets]
    some = np.unique(np.linspace(0, len(longitude) - 1, POINTS).astype(np.int64))
    ends = [int(place) for values in (longitude, latitude) for place in _ends(values)]
    here = np.unique(np.concatenate([some, ends]))
    shear, size = geodesy.distortion(grid, longitude[here], latitude[here])
    if shear <= SHEAR_MAX_DEG and size <= SIZE_MAX:
        return
    raise InputError(
        Fault(
            "the elevation raster",
            f"its map ({grid.crs.name}) bends directions by {shear:.1f}° and sizes by "
            f"{100 * size:.1f} % at the plots",
            "Warp it to the UTM zone of the district, or give it in degrees",
        )
    )


def _ends(values: NDArray[np.float64]) -> tuple[np.int64, np.int64]:
    return np.argmin(values), np.argmax(values)


def require_overlap(grid: Grid, polygons: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Refuse a raster that no plot comes near.

    Parameters
    ----------
    grid : Grid
        The raster's grid.
    polygons : numpy.ndarray
        Outlines in the CRS of the grid, shape (plots,).

    Returns
    -------
    numpy.ndarray
        Which plots' bounds meet the raster's, shape (plots,).

    Raises
    ------
    InputError
        If no plot's bounds meet the raster's.
    """
    west, south, east, north = shapely.bounds(polygons).T
    right = grid.west + grid.columns * grid.cell_x
    bottom = grid.north - grid.rows * grid.cell_y
    meets: NDArray[np.bool_] = (
        (east > grid.west) & (west < right) & (north > bottom) & (south < grid.north)
    )
    if meets.any():
        return meets
    raise InputError(
        Fault(
            "the elevation raster",
            f"no plot lies on it: it spans {grid.west:.6g} to {right:.6g} and {bottom:.7g} to "
            f"{grid.north:.7g}, the plots {west.min():.6g} to {east.max():.6g} and "
            f"{south.min():.7g} to {north.max():.7g}, in {grid.crs.name}",
            "Check the CRS of both, and whether longitude and latitude are swapped",
        )
    )
