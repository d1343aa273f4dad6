"""Outlines in a few bytes each: whole steps on the map's plane, written as differences.

The plane is spherical Mercator (EPSG:3857), which keeps angles: a true bearing is drawn as it is.
"""

from __future__ import annotations

import base64
import functools
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray
    from pyproj import CRS

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

RADIUS_M = 6_378_137.0
"""Radius of the sphere of EPSG:3857 [m]."""

STEP_M = 0.1
"""A step on the plane [m]; on the ground it is shorter by the cosine of the latitude."""


def pack(outlines: ArrayLike, crs: CRS, origin_deg: tuple[float, float]) -> dict[str, object]:
    """Pack outlines for the page's script.

    Parameters
    ----------
    outlines : array_like of shapely.Polygon or shapely.MultiPolygon
        The outlines.
    crs : pyproj.CRS
        Their CRS.
    origin_deg : tuple[float, float]
        Longitude and latitude to count from [degrees].

    Returns
    -------
    dict[str, object]
        Three streams of base 64 varints: ``rings`` of each plot, ``vertices`` of each ring (the
        closing one left out) and ``moves``: zigzag differences east and north, each from the
        vertex before, in steps.
    """
    parts, plot = shapely.get_parts(np.asarray(outlines, dtype=object), return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    rings_of_plot = np.bincount(plot[part], minlength=len(np.atleast_1d(outlines)))
    open_end = np.append(ring[1:] == ring[:-1], False)
    vertices_of_ring = np.bincount(ring[open_end], minlength=len(rings))
    longitude, latitude = degrees(points[open_end], crs)
    return {
        "rings": _text(rings_of_plot),
        "vertices": _text(vertices_of_ring),
        "moves": _moves(on_plane(longitude, latitude, origin_deg)),
    }


def pack_lines(lines: Objects, crs: CRS, origin_deg: tuple[float, float]) -> dict[str, object]:
    """Pack lines, as outlines are packed.

    Parameters
    ----------
    lines : numpy.ndarray
        The lines.
    crs : pyproj.CRS
        Their CRS.
    origin_deg : tuple[float, float]
        Longitude and latitude to count from [degrees].

    Returns
    -------
    dict[str, object]
        Streams ``vertices`` of each line and ``moves``.
    """
    points, line = shapely.get_coordinates(lines, return_index=True)
    counts = np.bincount(line, minlength=len(lines))
    steps = on_plane(*degrees(points, crs), origin_deg)
    return {"vertices": _text(counts), "moves": _moves(steps)}


def origin_of(plots: pd.DataFrame) -> tuple[float, float]:
    """Choose what shapes of a page are counted from.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``longitude_deg`` and ``latitude_deg``, one row at least.

    Returns
    -------
    tuple[float, float]
        Longitude and latitude of the first plot [degrees], in whole microdegrees, so that the
        script starts from exactly the same place.
    """
    first = plots.iloc[0]
    return round(float(first["longitude_deg"]), 6), round(float(first["latitude_deg"]), 6)


def counts(values: ArrayLike) -> str:
    """Pack natural numbers.

    Parameters
    ----------
    values : array_like of int
        The numbers.

    Returns
    -------
    str
        A stream as :func:`pack` makes them.
    """
    return _text(np.asarray(values, dtype=np.int64))


def stepped(values: pd.Series, digits: int) -> Integers:
    """Take a column as whole multiples of its last decimal.

    Parameters
    ----------
    values : pandas.Series
        Numbers, some not known.
    digits : int
        Decimals to keep.

    Returns
    -------
    numpy.ndarray
        Zigzag numbers and 1, 0 for what isn't known.
    """
    known = values.notna().to_numpy()
    if digits == 0 and pd.api.types.is_integer_dtype(values):
        whole = values.to_numpy(dtype=np.int64, na_value=0)
    else:
        scaled = values.to_numpy(dtype=np.float64, na_value=np.nan) * 10**digits
        whole = np.rint(np.where(known, scaled, 0)).astype(np.int64)
    return np.where(known, zigzag(whole) + 1, 0)


def coded(values: Sequence[Any]) -> dict[str, object]:
    """Pack a column of few texts.

    Parameters
    ----------
    values : Sequence[Any]
        Texts, some not known.

    Returns
    -------
    dict[str, object]
        ``texts``, each once, and ``packed``, a stream: the place in them from 1, or 0.
    """
    places: dict[Any, int] = {}
    codes = [0 if pd.isna(value) else places.setdefault(value, len(places)) + 1 for value in values]
    return {"texts": list(places), "packed": counts(codes)}


@functools.cache
def _transformer(crs: CRS) -> Transformer:
    return Transformer.from_crs(crs, 4326, always_xy=True)


def degrees(points: Floats, crs: CRS) -> tuple[Floats, Floats]:
    """Bring points to WGS 84.

    Parameters
    ----------
    points : numpy.ndarray
        Points, shape (points, 2).
    crs : pyproj.CRS
        Their CRS.

    Returns
    -------
    longitude : numpy.ndarray
        Longitudes [degrees].
    latitude : numpy.ndarray
        Latitudes [degrees].
    """
    longitude, latitude = _transformer(crs).transform(points[:, 0], points[:, 1])
    return np.asarray(longitude), np.asarray(latitude)


def _moves(steps: Integers) -> str:
    moves = np.diff(steps, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    return _text(zigzag(moves.ravel()))


def on_plane(longitude: Floats, latitude: Floats, origin_deg: tuple[float, float]) -> Integers:
    """Project to the map's plane, in whole steps from an origin.

    Parameters
    ----------
    longitude : numpy.ndarray
        Longitudes, shape (points,) [degrees].
    latitude : numpy.ndarray
        Latitudes, shape (points,) [degrees].
    origin_deg : tuple[float, float]
        Longitude and latitude of the origin [degrees].

    Returns
    -------
    numpy.ndarray
        Steps east and north of the origin, shape (points, 2).
    """
    # The shorter way round, so that a district across the 180th meridian stays together.
    turn = (longitude - origin_deg[0] + 180) % 360 - 180
    north = northing(latitude) - northing(np.array([origin_deg[1]]))
    plane = np.column_stack([RADIUS_M * np.radians(turn), north])
    return np.rint(plane / STEP_M).astype(np.int64)


def zigzag(values: Integers) -> Integers:
    """Map integers to natural numbers, small ones to small ones.

    Parameters
    ----------
    values : numpy.ndarray
        Integers of either sign.

    Returns
    -------
    numpy.ndarray
        0, 1, 2, 3, 4 and so on for 0, -1, 1, -2, 2 and so on.
    """
    return np.where(values < 0, -2 * values - 1, 2 * values)


def varints(values: Integers) -> bytes:
    """Write natural numbers in as many bytes as each needs, seven bits a byte, low bits first.

    Parameters
    ----------
    values : numpy.ndarray
        Natural numbers.

    Returns
    -------
    bytes
        The numbers; the high bit of a byte says that more bytes follow.
    """
    sizes = np.ones(len(values), dtype=np.int64)
    limit = 1 << 7
    while len(values) and limit <= int(values.max()):
        sizes += values >= limit
        limit <<= 7
    starts = np.cumsum(sizes) - sizes
    out = np.zeros(int(sizes.sum()), dtype=np.uint8)
    for byte in range(int(sizes.max(initial=0))):
        here = sizes > byte
        low = (values[here] >> (7 * byte)) & 0x7F
        more = np.where(sizes[here] > byte + 1, 0x80, 0)
        out[starts[here] + byte] = (low | more).astype(np.uint8)
    return out.tobytes()


def _text(values: Integers) -> str:
    return base64.b64encode(varints(values.astype(np.int64))).decode("ascii")


def northing(latitude: Floats) -> Floats:
    """Project latitudes to the map's plane.

    Parameters
    ----------
    latitude : numpy.ndarray
        Latitudes [degrees].

    Returns
    -------
    numpy.ndarray
        Metres north of the equator on the plane.
    """
    return RADIUS_M * np.arcsinh(np.tan(np.radians(latitude)))
