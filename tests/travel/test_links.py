"""Straight lines times a factor."""

from __future__ import annotations

import numpy as np

from districtplan.travel import Links, straight


def test_straight_lines_are_longer_by_the_factor():
    starts, ends = np.array([[0.0, 0.0], [1000.0, 0.0]]), np.array([[300.0, 400.0], [0.0, 0.0]])
    links = straight(starts, ends, 1.3, 700.0)
    assert links.start.tolist() == [0, 0]
    assert links.end.tolist() == [0, 1]
    assert links.cost.tolist() == [650.0, 0.0]


def test_nobody_is_linked():
    assert len(straight(np.zeros((0, 2)), np.ones((3, 2)), 1.3, 700.0).cost) == 0


def test_the_cheapest_of_a_pair_counts():
    links = Links.of(np.array([1, 0, 1]), np.array([2, 3, 2]), np.array([5.0, 1.0, 4.0]))
    assert [part.tolist() for part in links] == [[0, 1], [3, 2], [1.0, 4.0]]
