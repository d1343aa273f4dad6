"""The land that is walked over, read off a raster with what is drawn on it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from districtplan import travel
from districtplan.errors import InputError
from districtplan.handbook import packaged
from districtplan.travel import terrain
from tests.conftest import middle, surface_raster

WALKING = travel.Walking.of(packaged())
NOTHING = np.empty(0, dtype=object)


def minutes(raster, start, end, paths=NOTHING, streams=NOTHING, most=120.0) -> float:
    """How long it takes between two points in metres from the raster's middle."""
    x, y = middle(raster)
    starts, ends = (np.array([[x + one[0], y + one[1]]]) for one in (start, end))
    moved = [
        np.array([shapely.affinity.translate(line, x, y) for line in some], dtype=object)
        for some in (paths, streams)
    ]
    land = travel.land(raster, starts, ends, (moved[0], moved[1]), WALKING.farthest_m(most) / 2)
    found = travel.on_foot(land.ground, land.starts_m, land.ends_m, WALKING, (1, most))
    return float(found.cost[0]) if len(found.cost) else np.inf


def line(*points):
    return np.array([shapely.LineString(points)], dtype=object)


@pytest.mark.parametrize("grade", [0.0, 0.1, -0.1])
def test_on_a_plane_it_takes_what_the_equation_says(grade):
    raster = surface_raster(lambda x, _: 1000 + grade * x)
    expected = WALKING.minutes(np.array([500.0]), np.array([500.0 * grade]), np.array([False]))
    assert minutes(raster, (-250, 0), (250, 0)) == pytest.approx(expected[0], rel=0.01)


def test_in_degrees_it_takes_as_long():
    metres = surface_raster(lambda x, _: 1000 + 0.1 * x)
    degrees = surface_raster(
        lambda x, _: 1000 + 0.1 * x * 111_320, cell=10 / 111_320, epsg=4326, corner=(36.0, 0.01)
    )
    far = 250 / 111_320
    assert minutes(degrees, (-far, 0), (far, 0)) == pytest.approx(
        minutes(metres, (-250, 0), (250, 0)), rel=0.02
    )


def test_a_stream_is_crossed_on_a_path_alone():
    raster = surface_raster(lambda x, _: 1000 + 0 * x)
    stream = line((0, -300), (0, 300))
    dry, around = (minutes(raster, (-100, 0), (100, 0), streams=s) for s in (NOTHING, stream))
    bridge = minutes(raster, (-100, 0), (100, 0), line((-20, 0), (20, 0)), stream)
    assert around > 3 * dry
    assert bridge <= dry


def test_more_land_than_can_be_read_at_once_is_refused(monkeypatch):
    monkeypatch.setattr(terrain, "CELLS_MAX", 100)
    raster = surface_raster(lambda x, _: 1000 + 0 * x)
    with pytest.raises(InputError, match="Take paths or the straight line"):
        minutes(raster, (-100, 0), (100, 0))
