"""The demo's ground readings: what an agent with a level and a compass would have written down."""

from __future__ import annotations

import csv
import io
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS, Transformer

from districtplan import geodesy
from districtplan.demo.ground import EPSG

if TYPE_CHECKING:
    from districtplan.demo.fields import Field
    from districtplan.demo.ground import Ground

DAY = date(2026, 2, 20)
EVERY = 16
"""One field in so many was visited."""
SLOPE_ERROR_PCT = 1.0
BEARING_ERROR_DEG = 2.0
HEAD = ("plot_id", "slope_pct", "bearing_deg", "bearing_reference", "method", "date")
SLIP_PCT = 17.0
"""What one reading is off, as a slip of the pen would be."""


def make(random: np.random.Generator, ground: Ground, fields: list[Field]) -> bytes:
    """Write the readings.

    Parameters
    ----------
    random : numpy.random.Generator
        Source of all that is random.
    ground : Ground
        The hills.
    fields : list[Field]
        The fields.

    Returns
    -------
    bytes
        A CSV file: one reading a visited field, one of them a slip, and one of a field that the
        plots don't have.
    """
    visited = fields[::EVERY]
    rows = [_row(random, ground, field) for field in visited]
    rows[-1][1] = f"{float(rows[-1][1]) + SLIP_PCT:.1f}"
    rows.append(["NYX-999", "12.0", "", "", "A-frame", DAY.isoformat()])
    text = io.StringIO()
    csv.writer(text).writerows([HEAD, *rows])
    return text.getvalue().encode()


def _row(random: np.random.Generator, ground: Ground, field: Field) -> list[str]:
    middle = np.array(field.outline.centroid.coords[0])
    # Halfway from the middle to the corners, as an agent walks.
    points = (middle + shapely.get_coordinates(field.outline)) / 2
    east, north = ground.true_gradient(points).T
    slope = 100 * np.hypot(east, north).mean() + random.normal(0, SLOPE_ERROR_PCT)
    # The level line lies across the fall; doubled angles, since a line has no front end.
    level = 0.5 * np.angle(np.sum((north + 1j * east) ** 2)) + np.pi / 2
    to_degrees = Transformer.from_crs(f"EPSG:{EPSG}", "EPSG:4326", always_xy=True)
    longitude, latitude = (np.atleast_1d(part) for part in to_degrees.transform(*middle))
    north_deg = geodesy.convergence_deg(CRS.from_epsg(EPSG), longitude, latitude)
    magnetic = np.degrees(level) + north_deg - geodesy.declination_deg(longitude, latitude, DAY)
    read = geodesy.line_deg(magnetic + random.normal(0, BEARING_ERROR_DEG))
    return [
        field.plot_id,
        f"{max(slope, 0.0):.1f}",
        f"{read[0]:.0f}",
        "magnetic",
        "A-frame and compass",
        DAY.isoformat(),
    ]
