from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from districtplan.files import walks
from districtplan.files.rings import BrokenRingError

WGS84 = Geod(ellps="WGS84")


def ring(count, longitude=29.9, latitude=-2.5, radius=0.0005):
    angle = np.arange(count) * 2 * np.pi / count
    return np.column_stack([longitude + radius * np.cos(angle), latitude + radius * np.sin(angle)])


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 60.0])
@pytest.mark.parametrize("area_ha", [0.05, 2.0])
def test_a_circle_has_the_stated_area_on_the_ground(latitude, area_ha):
    area, _ = WGS84.geometry_area_perimeter(walks.circle(29.9, latitude, area_ha))
    assert abs(area) / 1e4 == pytest.approx(area_ha, rel=1e-5)


def test_a_walk_is_closed_and_standing_still_is_one_point():
    points = ring(20)
    still = np.repeat(points, 2, axis=0)
    shape = walks.walked(np.vstack([still, points[:1]]))
    assert shape.equals(walks.walked(points))
    assert len(shape.exterior.coords) == 21


@pytest.mark.parametrize(
    ("points", "told"),
    [(ring(2), "2 points"), (ring(30)[:18], "isn't closed"), (np.zeros((9, 2)), "1 point,"),
     (np.zeros((0, 2)), "0 points")],
)  # fmt: skip
def test_what_is_no_walk_around_is_refused(points, told):
    with pytest.raises(BrokenRingError, match=told):
        walks.walked(points)


def test_corners_alone_are_closed_along_any_side():
    corners = np.array([[0, 0], [0, 0.001], [0.005, 0.001], [0.005, 0]])
    for turn in range(4):
        assert walks.walked(np.roll(corners, turn, axis=0)).area == pytest.approx(5e-6)
