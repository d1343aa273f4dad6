"""Where lines that are found on the ground don't start."""

from __future__ import annotations

import numpy as np
import shapely
from pyproj import CRS

from districtplan import rows


def test_land_beside_water_is_as_wide_as_its_strip_and_a_metre_more():
    plots = np.array([shapely.box(at, 0, at + 50, 50) for at in (0, 100, 200, 300, 400)])
    line = shapely.LineString([(25, -5_000), (25, 5_000)])
    waterway = shapely.box(120, -10, 122, 60)
    strip = shapely.box(220, -10, 223, 60)
    strips = np.array([shapely.Polygon(), None, strip, None, None], dtype=object)
    running = rows.Running(np.array([line]), np.array([waterway]), CRS.from_epsg(32_736))
    found = rows.beside_water(plots, running, strips, 4.0)
    at = [
        shapely.intersection(land, plot).bounds[::2]
        for land, plot in zip(found[:3], plots, strict=False)
    ]
    assert at == [(22, 28), (119, 123), (219, 224)]
    assert found[3:].tolist() == [None, None]
    # Only what is near a plot is kept of a line that runs on for long.
    assert shapely.area(found[0]) < 10 * 50 * 6
    assert rows.beside_water(plots, running, None, 4.0)[2] is None
