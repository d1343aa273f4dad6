from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import box

from districtplan.intake.swapped import turn_back


def village(count=9, west=29.9, south=-2.5):
    return [box(west + 0.001 * at, south, west + 0.001 * at + 0.0005, south + 0.0005)
            for at in range(count)]  # fmt: skip


def turn(shape):
    return shapely.transform(shape, lambda points: points[:, ::-1])


@pytest.mark.parametrize("west", [29.9, 300_000])
def test_one_that_is_turned_is_turned_back(west):
    shapes = village(west=west)
    mixed = np.array([*shapes[:-1], turn(shapes[-1]), None], dtype=object)
    found, turned = turn_back(mixed)
    assert turned.tolist() == [False] * 8 + [True, False]
    assert all(a.equals(b) for a, b in zip(found, shapes, strict=False))


def test_one_of_the_far_edge_is_turned_back_too():
    """A village of few plots lies off the core, where most are; one of its plots is swapped."""
    core = village(12)
    edge = village(3, west=29.96, south=-2.46)
    mixed = np.array([*core, *edge[:-1], turn(edge[-1])], dtype=object)
    found, turned = turn_back(mixed)
    assert turned.tolist() == [False] * 14 + [True]
    assert found[-1].equals(edge[-1])


def test_what_is_merely_far_stays():
    mixed = np.array([*village(), box(31, -2.5, 31.1, -2.4)], dtype=object)
    assert not turn_back(mixed)[1].any()


def test_few_outlines_decide_nothing():
    shapes = village(3)
    assert not turn_back(np.array([*shapes, turn(shapes[0])], dtype=object))[1].any()
    assert not turn_back(np.array([], dtype=object))[1].any()
