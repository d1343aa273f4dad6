"""Rows hold no more water than the limit, wherever they are broken."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from districtplan.rows import sag

HEIGHTS = arrays(np.float64, st.integers(1, 60), elements=st.floats(-5, 5))


@pytest.mark.parametrize(
    ("heights", "deepest"),
    [
        ([3, 2, 1, 0], 0.0),
        ([0, 1, 2, 3], 0.0),
        ([1, 2, 3, 1], 0.0),
        ([2, 0, 1], 1.0),
        ([5, 3, 4, 1, 2, 0], 1.0),
        ([0, 3, 1, 2, 0], 1.0),
        ([7], 0.0),
    ],
)
def test_depths_of_known_rows(heights, deepest):
    assert sag.depth(np.array(heights, float)).max() == deepest


def poured(heights: np.ndarray) -> np.ndarray:
    """Raise pits bit by bit until water runs off: slow, and of another kind."""
    level = heights.copy()
    level[1:-1] = np.inf
    for _ in range(len(level)):
        for at in range(1, len(level) - 1):
            level[at] = max(heights[at], min(level[at], level[at - 1], level[at + 1]))
    return level - heights


@given(HEIGHTS)
def test_depth_is_what_filling_up_gives(heights):
    assert np.allclose(sag.depth(heights), poured(heights))


@given(HEIGHTS, st.floats(0.001, 2))
def test_no_part_holds_more_than_the_limit(heights, limit):
    cuts = sag.breaks(heights, limit)
    edges = [0, *cuts, len(heights) - 1]
    for start, stop in itertools.pairwise(edges):
        assert sag.depth(heights[start : stop + 1]).max() <= limit
    # No break without a need.
    assert bool(cuts) == (sag.depth(heights).max() > limit)


@given(
    arrays(np.float64, (6, 2), elements=st.floats(-50, 50)), st.floats(0.01, 0.3),
    st.floats(-0.1, 0.1),
)  # fmt: skip
def test_no_printed_line_has_a_deeper_sag(line, limit, tilt):
    def height(xy):
        return tilt * xy[:, 0] + np.sin(xy[:, 0] / 9) * np.cos(xy[:, 1] / 7)

    parts = sag.broken(line, height, limit)
    for part in parts:
        # Between the points looked at, the land may bend a little.
        assert sag.depth(height(sag.walk(part))).max() <= limit + 0.02
    assert np.array_equal(parts[0][0], line[0])
    assert np.array_equal(parts[-1][-1], line[-1])
    for one, other in itertools.pairwise(parts):
        assert np.array_equal(one[-1], other[0])


def test_a_straight_row_across_a_hollow_is_broken_in_it():
    line = np.array([[-30.0, 0.0], [30.0, 0.0]])
    parts = sag.broken(line, lambda xy: 0.002 * xy[:, 0] ** 2, 0.05)
    assert len(parts) == 2
    assert np.allclose(parts[0][-1], 0, atol=sag.STEP_M)
    assert len(sag.broken(line, lambda xy: -0.002 * xy[:, 0] ** 2, 0.05)) == 1


def test_walking_keeps_the_lines_own_points():
    line = np.array([[0.0, 0.0], [2.5, 0.0], [2.5, 0.0], [2.5, 4.0]])
    points = sag.walk(line)
    assert np.hypot(*np.diff(points, axis=0).T).max() <= sag.STEP_M
    assert all(any(np.array_equal(point, own) for point in points) for own in line)
