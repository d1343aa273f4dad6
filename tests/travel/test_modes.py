"""Ways by each mode on ground where they can be reckoned by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from districtplan.handbook import packaged
from districtplan.travel import (
    Riding,
    Walking,
    beyond,
    by_modes,
    path_minutes,
    straight_minutes,
)

PLACES = np.array([[0.0, 0.0], [3_000.0, 0.0], [3_000.0, 600.0]])
PATH = np.array([shapely.LineString([(-100, 0), (3_100, 0)])], dtype=object)
BENT = [(0, 0), (0, -400), (3_000, -400), (3_000, 0)]
ROAD = np.array([shapely.LineString(BENT)], dtype=object)


def walk(points):
    """At 3 km/h straight: 50 m a minute."""
    return np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)) / 50


def test_straight_lines_are_ridden_at_their_speed_and_walked_on_foot():
    minutes, metres, heads = by_modes(PLACES, walk, Riding(None, 1.5), [0.0, 30.0])
    assert minutes[0][0, 1] == 60
    assert metres[0].max() == 0
    assert metres[1][0, 1] == 4_500
    assert minutes[1][0, 1] == pytest.approx(9)
    assert heads == [None, None]


def test_who_rides_leaves_the_road_on_foot():
    minutes, metres, heads = by_modes(PLACES, walk, Riding(ROAD, 1.0), [0.0, 30.0])
    # 3.8 km of road at 30 km/h, never across the land, and 600 m on foot.
    assert metres[1][0, 2] == pytest.approx(3_800)
    assert minutes[1][0, 2] == pytest.approx(7.6 + 12)
    assert minutes[1][2, 0] == pytest.approx(7.6 + 12)
    # Both have one roadhead, the end of the road: the bicycle stays there.
    assert heads[0] is None
    assert heads[1][1:].tolist() == [[3_000, 0]] * 2
    assert metres[1][1, 2] == 0
    assert minutes[1][1, 2] == pytest.approx(12)
    assert minutes[0][0, 2] == pytest.approx(walk(PLACES)[0, 2])


def test_a_road_is_as_long_as_it_was_drawn():
    # Its corners lie between the millimetres, as in any file of a survey.
    east, north = 642_355.153_465, 9_506_658.386_103
    road = shapely.LineString(
        [(east, north), (east + 951.7, north + 713.32), (east + 1_900.9, north)]
    )
    places = shapely.get_coordinates(
        [road.interpolate(share, normalized=True) for share in (0.1, 0.4, 0.9)]
    )
    minutes, metres, _ = by_modes(places, walk, Riding(np.array([road]), 1.0), [30.0])
    assert metres[0][0, 1] == pytest.approx(0.3 * road.length, abs=0.1)
    assert metres[0][1, 2] == pytest.approx(0.5 * road.length, abs=0.1)
    assert minutes[0][0, 2] == pytest.approx(0.8 * road.length / 500, abs=0.01)


def test_on_foot_off_paths_is_slower():
    walking = Walking.of(packaged())
    along = path_minutes(PLACES[:2], PATH, 1.3, walking)
    across = straight_minutes(PLACES[:2], 1.0, walking)
    assert along[0, 0] == across[0, 0] == 0
    assert across[0, 1] == pytest.approx(along[0, 1] / walking.off_path_share)


def test_off_the_terrain_the_straight_line_counts():
    found, straight = np.array([[0, np.inf], [np.inf, 0]]), np.array([[0, 7.0], [7.0, 0]])
    for off, expected in (([False, False], np.inf), ([True, False], 7), ([False, True], 7)):
        assert beyond(found, np.array(off), straight)[0, 1] == expected
