"""Contour P: bounds of the classes, gaps and ends."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan.erosion.practice_factor import contour_p
from districtplan.handbook import packaged

FOOT_M = 0.3048


@pytest.mark.parametrize(
    ("slope_pct", "p", "length_ft"),
    [
        (0.0, 1.0, None),  # below the first class: no credit
        (0.99, 1.0, None),
        (1.0, 0.6, 400),
        (2.0, 0.6, 400),
        (2.01, 0.5, 300),  # a gap in print goes to the steeper class
        (5.0, 0.5, 300),
        (5.5, 0.5, 200),
        (8.0, 0.5, 200),
        (8.5, 0.6, 120),
        (12.0, 0.6, 120),
        (12.5, 0.7, 80),
        (16.5, 0.8, 60),
        (20.5, 0.9, 50),
        (25.0, 0.9, 50),
        (25.01, 1.0, None),  # above the last class: no credit
        (80.0, 1.0, None),
    ],
)
def test_contour_p(slope_pct, p, length_ft):
    found, length_max_m = contour_p(np.array([slope_pct]), packaged())
    assert found[0] == p
    if length_ft is None:
        assert np.isnan(length_max_m[0])
    else:
        assert length_max_m[0] == pytest.approx(length_ft * FOOT_M)
