from __future__ import annotations

import numpy as np
import pytest
from shapely import box

from districtplan.intake.overlaps import overlaps


def found(*shapes, share=5.0):
    geometry = np.array([*shapes, None], dtype=object)[:-1]
    ids = np.array([f"p{at}" for at in range(len(shapes))], dtype=object)
    area_ha = np.array([shape.area / 1e4 for shape in shapes])
    return overlaps(geometry, area_ha, ids, share)


def test_neighbours_that_share_an_edge_share_no_land():
    area, others = found(box(0, 0, 50, 50), box(50, 0, 100, 50), box(49, 50, 99, 100))
    assert area.tolist() == [0, 0, 0]
    assert others.tolist() == [None] * 3


def test_shared_land_is_measured_at_each():
    area, others = found(box(0, 0, 50, 50), box(40, 0, 90, 50), box(0, 0, 10, 10))
    assert area == pytest.approx([0.06, 0.05, 0.01])
    assert others.tolist() == ["p1, p2", "p0", "p0"]


def test_the_share_is_of_the_smaller():
    large, small = box(0, 0, 100, 100), box(99, 0, 109, 10)
    assert found(large, small, share=9.9)[1].tolist() == ["p1", "p0"]
    assert found(large, small, share=10.1)[1].tolist() == [None, None]


def test_the_list_is_bounded():
    _, others = found(*[box(0, 0, 50, 50)] * 14)
    assert others[0].endswith("p10, 3 more")


def test_no_plots_no_land():
    area, others = found()
    assert len(area) == len(others) == 0
