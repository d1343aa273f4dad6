"""Directions and lengths on the ellipsoid: cell sizes, convergence, declination, words.

Directions are clockwise in degrees. A row has no front end: its bearing lies in [0, 180).

* grid bearing = true bearing - convergence
* magnetic bearing = true bearing - declination
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

import numpy as np
import pygeomag
import shapely
from pyproj import CRS, Geod, Proj, Transformer

if TYPE_CHECKING:
    from datetime import date

    from numpy.typing import NDArray

    from districtplan.grid import Grid

    Floats = NDArray[np.float64]

NODE_DEG = 0.1
"""Spacing of the nodes between which declination is interpolated; tested to 0.002°."""

SCALE_TOLERANCE = 0.0025
"""Projected cells keep their nominal size while it is within this share of the size on the ground:
a UTM zone stays within 0.1 %."""

HALF_TURN = 180.0

NODE_ROWS = 4_097

LINES = ("N–S", "NNE–SSW", "NE–SW", "ENE–WSW", "E–W", "ESE–WNW", "SE–NW", "SSE–NNW")


def axis_unit_m(crs: CRS) -> float:
    """Give the length of a projected CRS's unit.

    Parameters
    ----------
    crs : pyproj.CRS
        A projected CRS.

    Returns
    -------
    float
        Length [m].
    """
    return float(crs.axis_info[0].unit_conversion_factor)


@functools.lru_cache(maxsize=8)
def cell_size_m(grid: Grid) -> tuple[Floats, Floats]:
    """Give each row's cell size on the ground.

    Sizes are geodesics across the cells of the raster's middle column, so that cells of a raster
    in degrees narrow towards the poles. Cells of a projected raster keep their nominal size, as
    every slope program takes them, unless that differs from the geodesic by more than a quarter of
    a percent (Web Mercator).

    Parameters
    ----------
    grid : Grid
        The raster's grid.

    Returns
    -------
    width : numpy.ndarray
        Width of a cell of each row, shape (rows,) [m].
    height : numpy.ndarray
        Height of a cell of each row, shape (rows,) [m].
    """
    to_lonlat = Transformer.from_crs(grid.crs, grid.crs.geodetic_crs, always_xy=True)
    geod = grid.crs.get_geod() or Geod(ellps="WGS84")

    def distance(west: Floats, south: Floats, east: Floats, north: Floats) -> Floats:
        ends = (*to_lonlat.transform(west, south), *to_lonlat.transform(east, north))
        return np.asarray(geod.inv(*ends)[2])

    # Sizes change so slowly from row to row that lines between a few thousand rows lose nothing.
    node = np.unique(np.linspace(0, grid.rows - 1, min(grid.rows, NODE_ROWS)).round())
    south: Floats = grid.north - (node + 1) * grid.cell_y
    west = np.full(len(node), grid.west + grid.columns // 2 * grid.cell_x)
    half_x, half_y = grid.cell_x / 2, grid.cell_y / 2
    width = distance(west, south + half_y, west + grid.cell_x, south + half_y)
    height = distance(west + half_x, south, west + half_x, south + grid.cell_y)
    if grid.crs.is_projected:
        unit = axis_unit_m(grid.crs)
        wide, high = grid.cell_x * unit, grid.cell_y * unit
        off = max(np.abs(width / wide - 1).max(), np.abs(height / high - 1).max())
        if not SCALE_TOLERANCE < off < np.inf:
            width, height = np.full(len(node), wide), np.full(len(node), high)
    row = np.arange(grid.rows)
    return np.interp(row, node, width), np.interp(row, node, height)


def distortion(grid: Grid, longitude: Floats, latitude: Floats) -> tuple[float, float]:
    """Say how far a raster's cells are from what :func:`cell_size_m` takes them for.

    Parameters
    ----------
    grid : Grid
        The raster's grid.
    longitude : numpy.ndarray
        Longitudes, shape (points,) [degrees].
    latitude : numpy.ndarray
        Latitudes, shape (points,) [degrees].

    Returns
    -------
    shear : float
        Largest difference of the angle between a cell's axes from a right angle, or of the grid's
        north from the convergence [degrees].
    size : float
        Largest difference of a cell's width or height, as a share.
    """
    to_grid = Transformer.from_crs(4326, grid.crs, always_xy=True)
    x, y = to_grid.transform(longitude, latitude)
    back = Transformer.from_crs(grid.crs, 4326, always_xy=True)
    geod = Geod(ellps="WGS84")
    half_x, half_y = grid.cell_x / 2, grid.cell_y / 2

    def step(dx: float, dy: float) -> tuple[Floats, Floats]:
        ends = (*back.transform(x - dx, y - dy), *back.transform(x + dx, y + dy))
        azimuth, _, length = geod.inv(*ends)
        return np.asarray(azimuth), np.asarray(length)

    east, width = step(half_x, 0.0)
    north, height = step(0.0, half_y)
    turn = convergence_deg(grid.crs, longitude, latitude)
    shear = np.abs((east - north) % 360 - 90)
    off_north = np.abs((north - turn + 180) % 360 - 180)
    row = np.clip((grid.north - y) / grid.cell_y, 0, grid.rows - 1).astype(np.int64)
    taken = cell_size_m(grid)
    size = np.maximum(np.abs(width / taken[0][row] - 1), np.abs(height / taken[1][row] - 1))
    return float(np.maximum(shear, off_north).max()), float(size.max())


def convergence_deg(crs: CRS, longitude: Floats, latitude: Floats) -> Floats:
    """Give the angle from true north to a CRS's grid north.

    Parameters
    ----------
    crs : pyproj.CRS
        A CRS; a geographic one has none.
    longitude : numpy.ndarray
        Longitudes, shape (points,) [degrees].
    latitude : numpy.ndarray
        Latitudes, shape (points,) [degrees].

    Returns
    -------
    numpy.ndarray
        Convergence, positive where grid north lies east of true north, shape (points,) [degrees].
    """
    if crs.is_geographic or len(longitude) == 0:
        return np.zeros(len(longitude))
    factors = Proj(crs).get_factors(longitude, latitude)
    return np.asarray(factors.meridian_convergence, dtype=np.float64)


def point_scale(crs: CRS, longitude: Floats, latitude: Floats) -> Floats:
    """Give how long a metre on the ellipsoid is on the map of a conformal projection.

    Parameters
    ----------
    crs : pyproj.CRS
        A conformal CRS in metres, such as a UTM zone.
    longitude : numpy.ndarray
        Longitudes, shape (points,) [degrees].
    latitude : numpy.ndarray
        Latitudes, shape (points,) [degrees].

    Returns
    -------
    numpy.ndarray
        Scale, the same in every direction, shape (points,).
    """
    if len(longitude) == 0:
        return np.ones(0)
    factors = Proj(crs).get_factors(longitude, latitude)
    return np.asarray(factors.meridional_scale, dtype=np.float64)


def decimal_year(day: date) -> float:
    """Write a day as a decimal year, as magnetic models count time.

    Parameters
    ----------
    day : datetime.date
        The day.

    Returns
    -------
    float
        The year and the share of it that has passed.
    """
    start = day.replace(month=1, day=1)
    length = start.replace(year=start.year + 1) - start
    return day.year + (day - start) / length


@functools.cache
def _model() -> pygeomag.GeoMag:
    return pygeomag.GeoMag()


def magnetic_model_years() -> tuple[float, float]:
    """Say when the magnetic model holds.

    Returns
    -------
    first : float
        Decimal year from which it holds.
    last : float
        Decimal year until which it holds.
    """
    model = _model()
    return float(model.life_span[0]), float(model.life_span[1])


def declination_exact(
    latitude_deg: float, longitude_deg: float, height_km: float, year: float
) -> float:
    """Give magnetic declination at a point by the World Magnetic Model.

    Parameters
    ----------
    latitude_deg : float
        Latitude, WGS 84 [degrees].
    longitude_deg : float
        Longitude, WGS 84 [degrees].
    height_km : float
        Height above the ellipsoid [km].
    year : float
        Decimal year within :func:`magnetic_model_years`.

    Returns
    -------
    float
        Declination, east positive [degrees].

    References
    ----------
    .. [1] NOAA NCEI and British Geological Survey (2024). World Magnetic Model 2025.
    """
    return float(_model().calculate(latitude_deg, longitude_deg, height_km, year).d)


def declination_deg(longitude: Floats, latitude: Floats, day: date) -> Floats:
    """Give magnetic declination at many points, between the nodes of a grid of 0.1°.

    It is that of sea level: up to 60° of latitude 3 km of height change it by less than 0.05°.

    Parameters
    ----------
    longitude : numpy.ndarray
        Longitudes, shape (points,) [degrees].
    latitude : numpy.ndarray
        Latitudes, shape (points,) [degrees].
    day : datetime.date
        The day.

    Returns
    -------
    numpy.ndarray
        Declination, east positive, NaN on a day that the model does not hold, shape (points,)
        [degrees].
    """
    year = decimal_year(day)
    first, last = magnetic_model_years()
    if not first <= year <= last or len(latitude) == 0:
        return np.full(len(latitude), np.nan)
    row = np.floor(latitude / NODE_DEG).astype(np.int64)
    column = np.floor(longitude / NODE_DEG).astype(np.int64)
    # One number a node: a row holds far fewer than 10,000 columns of 0.1 degrees.
    corners = np.stack([(row + up) * 10_000 + column + right for up in (0, 1) for right in (0, 1)])
    nodes, place = np.unique(corners, return_inverse=True)
    columns = (nodes + 5_000) % 10_000 - 5_000
    at_node = np.array(
        [
            declination_exact(
                float(np.clip(up * NODE_DEG, -90, 90)), float(right * NODE_DEG), 0.0, year
            )
            for up, right in zip((nodes - columns) // 10_000, columns, strict=True)
        ]
    )
    corner = at_node[place.reshape(corners.shape)]
    north = latitude / NODE_DEG - row
    east = longitude / NODE_DEG - column
    # Around a magnetic pole declination jumps from 180 to -180: interpolate the turn, not the
    # number.
    turn = (corner - corner[0] + 180) % 360 - 180
    south_edge = turn[0] + (turn[1] - turn[0]) * east
    north_edge = turn[2] + (turn[3] - turn[2]) * east
    result: Floats = corner[0] + south_edge + (north_edge - south_edge) * north
    return (result + 180) % 360 - 180


def line_deg(angle: Floats) -> Floats:
    """Bring directions of lines into [0, 180).

    Parameters
    ----------
    angle : numpy.ndarray
        Directions, any number of turns [degrees].

    Returns
    -------
    numpy.ndarray
        The same lines.
    """
    folded = np.mod(angle, HALF_TURN)
    # In floating point -1e-17 mod 180 is 180.
    return np.where(folded >= HALF_TURN, 0.0, folded)


def shorter_turn_deg(turn: Floats) -> Floats:
    """Turn a line into another the shorter way round.

    Parameters
    ----------
    turn : numpy.ndarray
        Differences of two lines' directions [degrees].

    Returns
    -------
    numpy.ndarray
        The same turns, in [-90, 90).
    """
    return (turn + HALF_TURN / 2) % HALF_TURN - HALF_TURN / 2


def line_in_words(bearing_true: Floats) -> NDArray[np.object_]:
    """Name the direction of lines by the compass.

    Parameters
    ----------
    bearing_true : numpy.ndarray
        Bearings from true north, NaN where there is none, shape (lines,) [degrees].

    Returns
    -------
    numpy.ndarray
        Words such as ``NE–SW``, None where there is none, shape (lines,).
    """
    sector = 180 / len(LINES)
    known = ~np.isnan(bearing_true)
    words = np.full(len(bearing_true), None, dtype=object)
    nearest = np.floor(bearing_true[known] / sector + 0.5).astype(np.int64) % len(LINES)
    words[known] = np.array(LINES, dtype=object)[nearest]
    return words


def lonlat(crs: CRS, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Give longitudes and latitudes of places.

    Parameters
    ----------
    crs : pyproj.CRS
        CRS of the places.
    x : numpy.ndarray
        Eastings, NaN for none, shape (points,) [units of the CRS].
    y : numpy.ndarray
        Northings alike.

    Returns
    -------
    longitude : numpy.ndarray
        Longitudes, WGS 84, infinite or NaN where there is no such place, shape (points,) [degrees].
    latitude : numpy.ndarray
        Latitudes alike.
    """
    back = Transformer.from_crs(crs, 4326, always_xy=True)
    longitude, latitude = back.transform(x, y)
    return np.asarray(longitude), np.asarray(latitude)


def reproject(polygons: NDArray[np.object_], source: CRS, target: CRS) -> NDArray[np.object_]:
    """Bring outlines to another CRS, vertex by vertex.

    Parameters
    ----------
    polygons : numpy.ndarray
        Outlines, shape (plots,).
    source : pyproj.CRS
        Their CRS.
    target : pyproj.CRS
        The CRS wanted.

    Returns
    -------
    numpy.ndarray
        The outlines in that CRS, shape (plots,).
    """
    if source == target:
        return polygons
    transformer = Transformer.from_crs(source, target, always_xy=True)

    def move(xy: Floats) -> Floats:
        return np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))

    return np.asarray(shapely.transform(polygons, move), dtype=object)


def doubts(day: date) -> list[str]:
    """Say whether the magnetic model serves a day.

    Parameters
    ----------
    day : datetime.date
        The planting date.

    Returns
    -------
    list[str]
        A sentence if it doesn't, or won't a year later; else empty.
    """
    first, last = magnetic_model_years()
    year = decimal_year(day)
    if not first <= year <= last:
        return [
            f"The magnetic model holds from {first:g} to {last:g}, not on {day.isoformat()}: "
            "magnetic bearings are left out. Install a newer pygeomag."
        ]
    if year + 1 > last:
        return [f"The magnetic model ends with {last:g}. Install a newer pygeomag before then."]
    return []
