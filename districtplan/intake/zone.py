"""Where a district lies: the middle of its plots, and its UTM zone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from districtplan.grid import Grid

ZONES = 60
"""UTM zones around the globe, 6° each."""


def middle(
    longitude_deg: NDArray[np.float64], latitude_deg: NDArray[np.float64]
) -> tuple[float, float]:
    """Find the middle of a district, also across 180°.

    Parameters
    ----------
    longitude_deg : numpy.ndarray
        Longitudes, at least one [degrees].
    latitude_deg : numpy.ndarray
        Latitudes [degrees].

    Returns
    -------
    longitude : float
        Median longitude, -180 to 180 [degrees].
    latitude : float
        Median latitude [degrees].
    """
    start = longitude_deg[0]
    turned = (longitude_deg - start + 180) % 360 - 180
    longitude = (start + float(np.median(turned)) + 180) % 360 - 180
    return float(longitude), float(np.median(latitude_deg))


def utm_zone(longitude_deg: NDArray[np.float64], latitude_deg: NDArray[np.float64]) -> CRS:
    """Choose the UTM zone (WGS 84) of a district, at the median of its plots.

    Parameters
    ----------
    longitude_deg : numpy.ndarray
        Longitudes of the plots [degrees].
    latitude_deg : numpy.ndarray
        Latitudes of the plots [degrees].

    Returns
    -------
    pyproj.CRS
        The zone.

    Raises
    ------
    InputError
        If there are no plots, or the district lies beyond the zones, near a pole.
    """
    if len(longitude_deg) == 0:
        raise InputError(
            Fault("the plots", "none can be used", "See the rows set aside for the reasons")
        )
    longitude, latitude = middle(np.asarray(longitude_deg), np.asarray(latitude_deg))
    zones = query_utm_crs_info("WGS 84", AreaOfInterest(longitude, latitude, longitude, latitude))
    # On a border two zones, or both hemispheres, hold the point: one is taken, always the same.
    side = "N" if latitude >= 0 else "S"
    codes = sorted(int(zone.code) for zone in zones if zone.name.endswith(side))
    if not codes:
        raise InputError(
            Fault(
                "the plots",
                f"their middle lies at latitude {latitude:.2f}, beyond the UTM zones",
                "Check the CRS of the plots",
            )
        )
    return CRS.from_epsg(codes[0])


def holds(grid: Grid, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
    """Tell which places lie on a raster.

    Parameters
    ----------
    grid : districtplan.grid.Grid
        Its grid.
    x : ArrayLike
        Places, in the grid's CRS.
    y : ArrayLike
        The same along the other axis.

    Returns
    -------
    numpy.ndarray
        Whether each does.
    """
    across = (np.asarray(x) - grid.west) / grid.cell_x
    down = (grid.north - np.asarray(y)) / grid.cell_y
    inside = (across >= 0) & (across <= grid.columns) & (down >= 0) & (down <= grid.rows)
    return np.asarray(inside)


def zone_that_fits(outlines: NDArray[np.object_], crs: CRS, grid: Grid) -> CRS | None:
    """Find the UTM zone by which plots off the raster would lie on it.

    Parameters
    ----------
    outlines : numpy.ndarray
        Outlines of plots that lie off the raster, at least one.
    crs : pyproj.CRS
        CRS that their file states.
    grid : districtplan.grid.Grid
        Grid of the raster.

    Returns
    -------
    pyproj.CRS | None
        The neighbouring zone, or the same on the other side of the equator (WGS 84); None where
        none of these fits or the file isn't in a UTM zone.
    """
    if crs.utm_zone is None:
        return None
    number = int(crs.utm_zone[:-1])
    bounds = np.median(shapely.bounds(outlines), axis=0)
    east, north = (bounds[:2] + bounds[2:]) / 2
    for step in (0, -1, 1):
        for side in "NS":
            other = CRS(f"WGS 84 / UTM zone {(number - 1 + step) % ZONES + 1}{side}")
            to_grid = Transformer.from_crs(other, grid.crs, always_xy=True)
            if holds(grid, *to_grid.transform(east, north)):
                return None if other.utm_zone == crs.utm_zone else other
    return None
