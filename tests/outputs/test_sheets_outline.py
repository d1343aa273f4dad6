"""Plots in metres: lengths by an ellipsoid's geodesics, rows, corners, places."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely import affinity

from districtplan.outputs.sheets import outline
from districtplan.outputs.sheets.laid import first_turn

SQUARE = shapely.box(-20, -20, 20, 20)
LSHAPE = shapely.Polygon([(0, 0), (60, 0), (60, 15), (15, 15), (15, 60), (0, 60)])


@settings(max_examples=60, deadline=None)
@given(st.floats(-65, 65), st.floats(-180, 180), st.floats(0, 360), st.floats(1, 400))
def test_metres_and_bearings_are_the_ellipsoid_s(latitude, longitude, azimuth, metres):
    far = Geod(ellps="WGS84").fwd(longitude, latitude, azimuth, metres)
    line = shapely.LineString([(longitude, latitude), far[:2]])
    (start, end) = shapely.get_coordinates(outline.in_metres(line, longitude, latitude))
    east, north = end - start
    assert np.hypot(east, north) == pytest.approx(metres, rel=3e-4)
    turn = (np.degrees(np.arctan2(east, north)) - azimuth + 180) % 360 - 180
    assert abs(turn) < 0.02


@pytest.mark.parametrize("bearing", [0, 17, 90, 133.3, 179])
@pytest.mark.parametrize("shape", [SQUARE, LSHAPE, SQUARE.difference(shapely.box(-5, -5, 5, 5))])
def test_rows_run_at_their_bearing_and_cover_the_plot(shape, bearing):
    rows = outline.straight_rows(shape, bearing, 2.0, most=100)
    total = 0.0
    for line in rows.lines:
        east, north = line[-1] - line[0]
        turn = (np.degrees(np.arctan2(east, north)) - bearing + 90) % 180 - 90
        assert abs(turn) < 1e-6
        assert shape.buffer(1e-6).covers(shapely.LineString(line))
        total += np.hypot(east, north)
    assert rows.every == 1
    # Within the row next to the edge, the longest chord.
    assert total * 2.0 == pytest.approx(shape.area, abs=2.0 * 90)


def test_rows_are_thinned_to_what_paper_shows():
    rows = outline.straight_rows(SQUARE, 90.0, 0.5)
    assert rows.every == 3
    assert len(rows.lines) == 27 <= outline.ROWS_DRAWN_MAX
    assert rows.longest_m == pytest.approx(40)


def test_rows_laid_out_before_are_thinned_whole():
    lines = np.array([shapely.LineString([(0, i), (10, i)]) for i in range(100)], dtype=object)
    numbers = np.arange(100) // 2 + 1
    rows = outline.given_rows(lines, numbers)
    assert rows.every == 2
    assert len(rows.lines) == 50
    assert [line[0, 1] for line in rows.lines[:4]] == [0, 1, 4, 5]


@pytest.mark.parametrize("fall", [0, 45, 90, 200, 315])
def test_corners_turn_with_the_fall(fall):
    box = affinity.rotate(shapely.box(-30, -10, 30, 10), -fall, (0, 0))
    # Falling north, one looks south: left is east.
    expected = np.array([(30, 10), (-30, 10), (-30, -10), (30, -10)], float)
    turn = np.radians(-fall)
    turned = expected @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    assert outline.corners(box, fall) == pytest.approx(turned)


@pytest.mark.parametrize("shape", [SQUARE, LSHAPE, SQUARE.difference(shapely.box(-9, -9, 9, 9))])
@pytest.mark.parametrize("fall", [0, 77, 180])
def test_places_to_measure_are_inside(shape, fall):
    places = outline.places(shape, outline.corners(shape, fall))
    assert len(places) == 5
    assert shapely.contains_xy(shape, *places.T).all()


def test_a_cross_stays_in_the_plot():
    strokes = outline.cross(LSHAPE)
    assert strokes
    assert all(LSHAPE.buffer(1e-6).covers(shapely.LineString(stroke)) for stroke in strokes)


@pytest.mark.parametrize(
    ("bearing", "towards", "ahead"), [(10, 20, 10), (10, 200, 190), (170, 5, 350), (0, 270, 0)]
)
def test_a_line_is_walked_the_way_one_faces(bearing, towards, ahead):
    assert first_turn(bearing, towards) == ahead


@pytest.mark.parametrize("base", [20.0, 60.0, 200.0])
def test_places_to_measure_are_spread_over_a_triangle(base):
    """Two of its four corners are one: places drawn towards corners alone would be one too."""
    shape = shapely.Polygon([(0, 0), (base, 0), (base / 2, 60)])
    found = outline.places(shape, outline.corners(shape, 180.0))
    assert shapely.contains_xy(shape, *found.T).all()
    apart = np.hypot(*(found[:, None] - found).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    assert apart.min() > 0.2 * np.sqrt(shape.area)


def test_rows_are_drawn_in_a_plot_of_two_parts_apart():
    """Rows between the parts meet nothing."""
    shape = shapely.MultiPolygon([shapely.box(0, 0, 20, 20), shapely.box(0, 60, 30, 80)])
    rows = outline.straight_rows(shape, 90, 1.0)
    assert rows.longest_m == pytest.approx(30)
    assert all(len(line) == 2 for line in rows.lines)
