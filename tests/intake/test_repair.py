from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, box

from districtplan.intake import repair

ANGLE = 3.0
LOOP = [(0, 0), (50, 0), (50, 50), (24, 50), (26, 52), (26, 50), (24, 52), (0, 50)]
MENDED = {
    "repeated": ([(0, 0), (0, 0), (50, 0), (50, 50), (50, 50), (0, 50)], repair.REPEATED, 2500),
    "needle": ([(0, 0), (50, 0), (50, 50), (25, 50), (25, 90), (25, 50), (0, 50)], repair.SPIKE,
               2500),
    "narrow": ([(0, 0), (50, 0), (50, 50), (26, 50), (25.5, 90), (25, 50), (0, 50)], repair.SPIKE,
               2500),
    "loop": (LOOP, repair.CROSSING, 2526),
    "bow tie": ([(0, 0), (50, 50), (50, 0), (0, 50)], repair.CROSSING, 1250),
}  # fmt: skip


def one(shape, angle=ANGLE):
    found = repair.mend(np.array([shape], dtype=object), angle)
    return found.geometry[0], found.done[0], found.before[0]


@pytest.mark.parametrize("case", MENDED)
def test_each_fault_is_mended_and_told(case):
    points, what, area = MENDED[case]
    shape, done, before = one(Polygon(points))
    assert what in done
    assert shape.is_valid
    assert shape.area == pytest.approx(area, rel=1e-3)
    assert before * shape.area == pytest.approx(shapely.area(Polygon(points)), abs=1e-6)


def test_a_hole_outside_is_left_out_and_one_inside_stays():
    shape, done, before = one(
        Polygon(
            box(0, 0, 50, 50).exterior, [box(70, 70, 80, 80).exterior, box(5, 5, 15, 15).exterior]
        )
    )
    assert done == (repair.HOLE,)
    assert shape.equals(Polygon(box(0, 0, 50, 50).exterior, [box(5, 5, 15, 15).exterior]))
    assert before == pytest.approx(2300 / 2400)


def test_parts_that_overlap_become_one():
    shape, done, before = one(MultiPolygon([box(0, 0, 50, 50), box(40, 0, 90, 50)]))
    assert done == (repair.CROSSING,)
    assert shape.equals(box(0, 0, 90, 50))
    assert before == pytest.approx(5000 / 4500)


def test_what_is_sound_or_no_polygon_is_as_given():
    tip = Polygon([(0, 0), (100, 0), (0, 3)])
    given_shapes = np.array(
        [box(0, 0, 1, 1), None, shapely.Point(1, 1), Polygon(), tip], dtype=object
    )
    found = repair.mend(given_shapes, ANGLE)
    assert all(mine is theirs for mine, theirs in zip(found.geometry, given_shapes, strict=True))
    assert [*found.done] == [()] * 5
    assert (found.before == 1).all()


def test_no_angle_cuts_no_spike():
    shape, done, _ = one(Polygon(MENDED["narrow"][0]), angle=0.0)
    assert done == ()
    assert shape.area == pytest.approx(2520)


def test_nothing_left_is_told():
    _, done, before = one(Polygon([(0, 0), (10, 0), (20, 0), (0, 0)]), angle=0.0)
    assert done == (repair.CROSSING,)
    assert np.isnan(before)


@settings(max_examples=60, deadline=None)
@example([(1, 1), (0, 0), (0, 1), (1, 1), (0, 0), (1, 0)])
@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=3, max_size=9))
def test_whatever_was_walked_ends_sound_or_empty(points):
    shape, _, before = one(Polygon(points))
    assert shape.is_empty or (shape.is_valid and shape.area > 0) or np.isnan(before)
