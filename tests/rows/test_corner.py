"""Ties of places to corners that a team can name."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.rows.corner import SIDES, tie

SQUARE = shapely.box(0, 0, 100, 100)
DIAMOND = shapely.Polygon([(50, 0), (100, 50), (50, 100), (0, 50)])


@pytest.mark.parametrize(
    ("place", "corner", "metres", "way"),
    [
        ((0, 30), "south-west", 30, "clockwise"),
        ((30, 0), "south-west", 30, "anticlockwise"),
        ((100, 20), "south-east", 20, "anticlockwise"),
        ((0, 90), "north-west", 10, "anticlockwise"),
        ((80, 100), "north-east", 20, "anticlockwise"),
        ((100, 100), "north-east", 0, "anticlockwise"),
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_a_square(place, corner, metres, way, turned):
    outline = shapely.reverse(SQUARE) if turned else SQUARE
    (found,) = tie(outline, np.array([place], float))
    assert (found.corner, found.way, found.inside_m) == (corner, way, 0)
    assert found.along_m == pytest.approx(metres)


def test_the_corners_of_a_diamond_are_those_of_its_sides():
    corners = {
        one.corner for one in tie(DIAMOND, np.array([(52.0, 2.0), (98.0, 52.0), (2.0, 52.0)]))
    }
    assert corners == {"south", "east", "west"}


def test_a_long_field_turned_a_little_has_no_north_corner():
    turned = shapely.affinity.rotate(shapely.box(0, 0, 120, 30), 4)
    found = {one.corner for one in tie(turned, shapely.get_coordinates(turned))}
    assert found == {"north-east", "north-west", "south-east", "south-west"}


def test_a_place_inside_says_how_far():
    (found,) = tie(SQUARE, np.array([[0.25, 40.0]]))
    assert (found.corner, found.inside_m) == ("south-west", pytest.approx(0.25))


@pytest.mark.parametrize("turned", [0.0, 33.0])
@pytest.mark.parametrize("norths", [(0.0, 0.0), (1.5, -2.0)])
def test_the_bearing_into_the_plot_leads_to_the_place_at_a_bend_of_the_edge_too(turned, norths):
    bent = shapely.Polygon([(0, 0), (50, 20), (100, 0), (100, 80), (0, 80)])
    bent = shapely.affinity.rotate(bent, turned, origin=(0, 0))
    # Above the bend, beside it, and beside straight edges.
    places = [(50.0, 30.0), (53.0, 31.0), (5.0, 40.0), (60.0, 75.0)]
    places = shapely.get_coordinates(
        shapely.affinity.rotate(shapely.MultiPoint(places), turned, origin=(0, 0))
    )
    ring = shapely.orient_polygons(bent).exterior
    for place, found in zip(places, tie(bent, places, north=norths), strict=True):
        corner = ring.project(shapely.Point(found.corner_xy))
        along = found.along_m * (1 if found.way == "anticlockwise" else -1)
        foot = np.asarray(ring.interpolate((corner + along) % ring.length).coords[0])
        for bearing, to_grid in (
            (found.inside_true_deg, -norths[0]),
            (found.inside_magnetic_deg, norths[1] - norths[0]),
        ):
            way = np.radians(bearing + to_grid)
            reached = foot + found.inside_m * np.array([np.sin(way), np.cos(way)])
            assert np.hypot(*(reached - place)) < 0.01 + found.inside_m * np.radians(0.5)


def test_the_way_into_a_plot_that_climbs_is_longer_than_on_the_map():
    (found,) = tie(SQUARE, np.array([[50.0, 10.0]]), rise=(0.0, 0.4))
    assert found.inside_m == pytest.approx(10 * np.hypot(1, 0.4))
    assert found.inside_true_deg == 0
    assert np.isnan(found.inside_magnetic_deg)


def test_an_edge_that_climbs_is_longer_than_on_the_map():
    places = np.array([[0.0, 30.0], [30.0, 0.0]])
    level, _ = tie(SQUARE, places)
    steep, along_the_contour = tie(SQUARE, places, rise=(0.0, 0.4))
    assert steep.along_m == pytest.approx(level.along_m * np.hypot(1, 0.4))
    assert along_the_contour.along_m == pytest.approx(30)


def test_metres_are_on_the_ellipsoid():
    (found,) = tie(SQUARE, np.array([[30.0, 0.0]]), scale=0.9996)
    assert found.along_m == pytest.approx(30 / 0.9996)


def test_of_several_parts_the_nearest_counts():
    both = shapely.MultiPolygon([SQUARE, shapely.box(200, 0, 260, 50)])
    (found,) = tie(both, np.array([[200.0, 12.0]]))
    assert (found.corner, found.along_m) == ("south-west", pytest.approx(12.0))


def test_a_round_plot_still_has_a_corner():
    (found,) = tie(shapely.Point(0, 0).buffer(40), np.array([[40.0, 0.0]]))
    assert found.corner in SIDES


@given(st.floats(0, 360), st.floats(0, 399), st.floats(30, 200))
@settings(deadline=None, max_examples=60)
def test_the_way_leads_to_the_place(angle, along, width):
    outline = shapely.affinity.rotate(shapely.box(0, 0, width, 40), angle)
    ring = shapely.get_exterior_ring(shapely.orient_polygons(outline))
    place = shapely.get_coordinates(ring.interpolate(along % ring.length))[0]
    (found,) = tie(outline, place[None])
    angle_of = np.radians(SIDES[found.corner])
    vertices = shapely.get_coordinates(ring)[:-1]
    corner = vertices[np.argmax(vertices @ np.array([np.sin(angle_of), np.cos(angle_of)]))]
    sign = 1 if found.way == "anticlockwise" else -1
    reached = ring.interpolate(
        (ring.project(shapely.Point(corner)) + sign * found.along_m) % ring.length
    )
    assert reached.distance(shapely.Point(place)) < 1e-5
    assert found.along_m <= ring.length / 2 + 1e-6


def test_a_tie_tells_where_its_corner_is():
    """The corner lies farthest to the side that it is named by."""
    outline = shapely.Polygon([(500_100, 20), (500_180, 0), (500_210, 90), (500_150, 130)])
    points = shapely.get_coordinates(outline)
    for found in tie(outline, points + np.array([0.0, 3.0]), scale=0.9996):
        angle = np.radians(SIDES[found.corner])
        reach = points @ [np.sin(angle), np.cos(angle)]
        assert found.corner_xy == pytest.approx(points[reach.argmax()], abs=1e-6)
