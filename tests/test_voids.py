from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from districtplan import voids

ROW, COLUMN = np.mgrid[0:20, 0:24]
PLANE = (1800 + 0.5 * ROW - 0.25 * COLUMN).astype(np.float32)


def with_gap(rows, columns):
    values = PLANE.copy()
    values[rows, columns] = np.nan
    return values


@pytest.mark.parametrize(
    ("rows", "columns"),
    [(slice(5, 8), slice(6, 9)), (slice(0, 20), slice(6, 9)), (slice(5, 8), slice(1, 23))],
)
def test_a_plane_comes_back(rows, columns):
    filled, marked = voids.fill(with_gap(rows, columns), 3, 3)
    np.testing.assert_allclose(filled, PLANE, atol=1e-3)
    np.testing.assert_array_equal(marked, np.isnan(with_gap(rows, columns)))


def test_wide_gaps_and_edges_stay_empty():
    wide = with_gap(slice(5, 9), slice(6, 10))
    filled, marked = voids.fill(wide, 3, 3)
    assert not marked.any()
    np.testing.assert_array_equal(filled, wide)
    assert voids.fill(wide, 4, 0)[1].sum() == 16
    # Beyond the last height there is nothing to fill towards.
    assert not voids.fill(with_gap(slice(0, 2), slice(0, 24)), 3, 3)[1].any()


@given(st.integers(0, 2**32 - 1), st.integers(0, 4), st.integers(0, 4))
def test_windows_agree_with_the_whole(seed, across, down):
    """What a window shows with the width around it is what the whole raster shows."""
    rng = np.random.default_rng(seed)
    values = PLANE + rng.normal(0, 1, PLANE.shape).astype(np.float32)
    values[rng.random(values.shape) < 0.4] = np.nan
    whole, marked = voids.fill(values, across, down)
    top, left = 6, 7
    part, part_marked = voids.fill(
        values[top - down : 14 + down, left - across : 17 + across], across, down
    )
    inside = slice(down, down + 8), slice(across, across + 10)
    np.testing.assert_array_equal(part[inside], whole[6:14, 7:17])
    np.testing.assert_array_equal(part_marked[inside], marked[6:14, 7:17])
    # What was measured stays, and what is filled lies between what was.
    np.testing.assert_array_equal(whole[~np.isnan(values)], values[~np.isnan(values)])
    if marked.any():
        assert np.nanmin(values) <= whole[marked].min()
        assert whole[marked].max() <= np.nanmax(values)
