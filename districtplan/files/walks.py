"""Outlines from points: walked around a plot in order, or one in its middle with an area."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS, Transformer

from districtplan.files.rings import BrokenRingError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WALKED_POINTS_MIN = 3
GAP_SHARE_MAX = 0.25
"""Longest way from a walk's last point to its first, as a share of the walk (judgement)."""
CORNERS_MAX = 12
"""As many points may be a plot's corners alone, of which any side may be the last."""
METRES_PER_DEGREE = 111_320.0
CIRCLE_CORNERS = 64
WALK_AGAIN = "Walk the edge of the plot again, all the way back to where you began"
SQUARE_METRES_PER_HECTARE = 10_000
TURN = 360


def walked(points: Floats) -> shapely.Polygon:
    """Draw the outline that was walked.

    Parameters
    ----------
    points : numpy.ndarray
        Longitudes and latitudes in the order walked, shape (points, 2) [degrees].

    Returns
    -------
    shapely.Polygon
        The outline, closed from the last point to the first.

    Raises
    ------
    BrokenRingError
        If there are fewer than three points apart, or the walk ends far from where it began.
    """
    points = points[~np.append(False, (points[1:] == points[:-1]).all(axis=1))[: len(points)]]
    if len(points) > 1 and (points[0] == points[-1]).all():
        points = points[:-1]
    if len(points) < WALKED_POINTS_MIN:
        many = "1 point" if len(points) == 1 else f"{len(points)} points"
        raise BrokenRingError(f"the walk has {many}, fewer than {WALKED_POINTS_MIN}", WALK_AGAIN)
    if not _on_earth(points):
        # Not a place: told by intake, which knows what to do about it.
        return shapely.Polygon(points)
    steps = _steps_m(np.vstack([points, points[:1]]))
    gap, way = float(steps[-1]), float(steps[:-1].sum())
    if len(points) > CORNERS_MAX and gap > GAP_SHARE_MAX * way:
        raise BrokenRingError(
            f"the walk of {way:.0f} m ends {gap:.0f} m from where it began, and isn't closed",
            WALK_AGAIN,
        )
    return shapely.Polygon(points)


def circle(longitude: float, latitude: float, area_ha: float) -> shapely.Polygon:
    """Draw a circle of an area about a point, for a plot of which no more is known.

    Parameters
    ----------
    longitude : float
        Longitude of its middle [degrees].
    latitude : float
        Latitude of its middle [degrees].
    area_ha : float
        Area, above 0 [ha].

    Returns
    -------
    shapely.Polygon
        A regular polygon of exactly that area on the ground, in longitude and latitude.

    Raises
    ------
    BrokenRingError
        If the place isn't on Earth or the circle isn't.
    """
    middle = np.array([[longitude, latitude]])
    if not _on_earth(middle):
        raise BrokenRingError(
            "coordinates aren't a longitude and a latitude",
            "Write the longitude and the latitude in degrees",
        )
    # A regular polygon of n corners has n/2 sin(2 pi/n) times the square of its radius.
    share = CIRCLE_CORNERS / 2 * math.sin(2 * math.pi / CIRCLE_CORNERS)
    radius = math.sqrt(area_ha * SQUARE_METRES_PER_HECTARE / share)
    angle = np.arange(CIRCLE_CORNERS) * 2 * math.pi / CIRCLE_CORNERS
    equal_area = CRS.from_dict(
        {"proj": "laea", "lon_0": longitude, "lat_0": latitude, "datum": "WGS84", "units": "m"}
    )
    to_degrees = Transformer.from_crs(equal_area, "EPSG:4326", always_xy=True)
    east, north = to_degrees.transform(radius * np.cos(angle), radius * np.sin(angle))
    ring = np.column_stack([east, north])
    if not np.isfinite(ring).all():
        raise BrokenRingError("the circle doesn't fit on Earth", "Write its area in hectares")
    return shapely.Polygon(ring)


def _on_earth(points: Floats) -> bool:
    return bool((np.abs(points) <= (TURN / 2, TURN / 4)).all())


def _steps_m(points: Floats) -> Floats:
    """Give the way from each point to the next, near enough for a share [m]."""
    step = np.diff(points, axis=0) * np.array([np.cos(np.radians(points[0, 1])), 1.0])
    return np.asarray(np.hypot(step[:, 0], step[:, 1]) * METRES_PER_DEGREE)
