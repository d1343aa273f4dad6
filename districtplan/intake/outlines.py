"""Outlines: which are sound, where they lie, how large they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely import GeometryType

from districtplan.intake.zone import middle

if TYPE_CHECKING:
    from numpy.typing import NDArray

WGS84 = "EPSG:4326"
SQUARE_METRES_PER_HECTARE = 10_000
FAULTS = {
    "Self-intersection": "its edge crosses itself",
    "Ring Self-intersection": "its edge touches itself",
    "Duplicate Rings": "a part of it stands twice",
    "Hole lies outside shell": "a hole lies outside it",
    "Holes are nested": "a hole lies in another hole",
    "Nested shells": "a part of it lies in another part",
    "Interior is disconnected": "a hole parts it in two",
    "Too few points in geometry component": "it has too few corners",
}
"""What the library that checks outlines says, in plain words."""
POLYGONS = (GeometryType.POLYGON, GeometryType.MULTIPOLYGON)


@dataclass(frozen=True)
class Found:
    """What is known of sound outlines.

    Attributes
    ----------
    area_ha : numpy.ndarray
        Area on the ellipsoid, NaN where it can't be measured [ha].
    longitude_deg : numpy.ndarray
        Longitude of a point inside [degrees].
    latitude_deg : numpy.ndarray
        Latitude of that point [degrees].
    """

    area_ha: NDArray[np.float64]
    longitude_deg: NDArray[np.float64]
    latitude_deg: NDArray[np.float64]


def flat(geometry: NDArray[np.object_]) -> NDArray[np.object_]:
    """Drop heights and measures of outlines.

    Parameters
    ----------
    geometry : numpy.ndarray
        Geometries or None.

    Returns
    -------
    numpy.ndarray
        The same in two dimensions.
    """
    plane = geometry.copy()
    more = shapely.has_z(geometry) | shapely.has_m(geometry)
    plane[more] = shapely.force_2d(geometry[more])
    return plane


def unsound(geometry: NDArray[np.object_]) -> NDArray[np.object_]:
    """Tell why each outline can't be a plot.

    Parameters
    ----------
    geometry : numpy.ndarray
        Geometries or None.

    Returns
    -------
    numpy.ndarray
        The reason, or None for a sound polygon.
    """
    reason = np.full(len(geometry), None, dtype=object)
    kind = shapely.get_type_id(geometry)
    empty = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    other = ~np.isin(kind, POLYGONS) & ~empty
    reason[empty] = "there is no outline"
    for row in np.flatnonzero(other):
        reason[row] = f"the geometry is a {GeometryType(kind[row]).name.lower()}, not a polygon"
    points, owner = shapely.get_coordinates(geometry, return_index=True)
    infinite = np.zeros(len(geometry), dtype=bool)
    infinite[owner[~np.isfinite(points).all(axis=1)]] = True
    reason[infinite & ~empty & ~other] = "a coordinate isn't finite"
    rows = np.flatnonzero(~(empty | other | infinite))
    for row in rows[~shapely.is_valid(geometry[rows])]:
        # Points at the ends of what numbers hold are divided by nothing there.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            told = shapely.is_valid_reason(geometry[row]).split("[")[0].strip()
        reason[row] = f"the outline isn't sound: {FAULTS.get(told, told.lower())}"
    return reason


def misplaced(geometry: NDArray[np.object_], crs: CRS) -> NDArray[np.object_]:
    """Tell which sound outlines lie where the CRS can't place them.

    Parameters
    ----------
    geometry : numpy.ndarray
        Sound polygons.
    crs : pyproj.CRS
        Their CRS.

    Returns
    -------
    numpy.ndarray
        The reason, or None.
    """
    reason = np.full(len(geometry), None, dtype=object)
    bounds = shapely.bounds(geometry)
    if crs.is_geographic:
        turn = 180 / _degrees(crs)
        beyond = (np.abs(bounds[:, ::2]) > turn).any(axis=1)
        beyond |= (np.abs(bounds[:, 1::2]) > turn / 2).any(axis=1)
        across = (bounds[:, 2] - bounds[:, 0] > turn) & ~beyond
        reason[beyond] = "coordinates aren't a longitude and a latitude"
        reason[across] = "the outline crosses longitude 180°"
        return reason
    west, south, east, north = _bounds_deg(bounds, crs)
    nowhere = ~np.isfinite(west + south + east + north)
    reason[nowhere | _outside(west, south, east, north, crs)] = (
        "coordinates lie outside the area of the CRS"
    )
    return reason


def _degrees(crs: CRS) -> float:
    """Size of the CRS's angular unit [degrees]."""
    return float(np.degrees(crs.axis_info[0].unit_conversion_factor))


def _bounds_deg(bounds: NDArray[np.float64], crs: CRS) -> list[NDArray[np.float64]]:
    transformer = Transformer.from_crs(crs, WGS84, always_xy=True)
    west, south = transformer.transform(bounds[:, 0], bounds[:, 1])
    east, north = transformer.transform(bounds[:, 2], bounds[:, 3])
    return [np.asarray(values, dtype=np.float64) for values in (west, south, east, north)]


def _outside(
    west: NDArray[np.float64],
    south: NDArray[np.float64],
    east: NDArray[np.float64],
    north: NDArray[np.float64],
    crs: CRS,
) -> NDArray[np.bool_]:
    """Tell what lies farther from the CRS's area of use than that is wide or tall."""
    area = crs.area_of_use
    if area is None:
        return np.zeros(len(west), dtype=bool)
    # A CRS is often stretched over its neighbour's land, seldom farther.
    wide = (area.east - area.west) % 360 or 360.0
    tall = area.north - area.south
    centre = area.west + wide / 2
    with np.errstate(invalid="ignore"):
        off = np.zeros(len(west), dtype=bool)
        for longitude in (west, east):
            off |= np.abs((longitude - centre + 180) % 360 - 180) > wide / 2 + wide
        for latitude in (south, north):
            off |= (latitude < area.south - tall) | (latitude > area.north + tall)
    return off


def measure(geometry: NDArray[np.object_], crs: CRS) -> Found:
    """Find area and place of sound outlines.

    Area is that of an equal-area projection centred on the district (Lambert azimuthal, WGS 84),
    which is exact for the ellipsoid but for the bend of edges between corners.

    Parameters
    ----------
    geometry : numpy.ndarray
        Sound polygons in a place that the CRS knows.
    crs : pyproj.CRS
        Their CRS.

    Returns
    -------
    Found
        One value an outline.
    """
    if len(geometry) == 0:
        none = np.zeros(0)
        return Found(none, none, none)
    inside = shapely.get_coordinates(shapely.point_on_surface(geometry))
    to_degrees = Transformer.from_crs(crs, WGS84, always_xy=True)
    longitude, latitude = to_degrees.transform(inside[:, 0], inside[:, 1])
    known = np.isfinite(longitude) & np.isfinite(latitude)
    if not known.any():
        nowhere = np.full(len(geometry), np.nan)
        return Found(nowhere, nowhere, nowhere)
    centre = middle(longitude[known], latitude[known])
    equal_area = CRS.from_dict(
        {"proj": "laea", "lon_0": centre[0], "lat_0": centre[1], "datum": "WGS84", "units": "m"}
    )
    to_metres = Transformer.from_crs(crs, equal_area, always_xy=True)
    with np.errstate(invalid="ignore"):
        area = shapely.area(_moved(geometry, to_metres))
    # What lies on the other side of the Earth has no finite place there.
    area[~(known & np.isfinite(area))] = np.nan
    return Found(area / SQUARE_METRES_PER_HECTARE, np.asarray(longitude), np.asarray(latitude))


def _moved(geometry: NDArray[np.object_], transformer: Transformer) -> NDArray[np.object_]:
    """Bring outlines to another CRS."""

    def move(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(transformer.transform(points[:, 0], points[:, 1]))

    return np.asarray(shapely.transform(geometry, move), dtype=object)
