"""Merging rows of demand loses nothing."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.demos.cases import random_case, reach_of


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1))
def test_any_choice_reaches_as_much_after_merging(seed, choice):
    reach = random_case(seed)[0]
    merged = reach.merged()
    chosen = np.flatnonzero(np.random.default_rng(choice).random(reach.sites) < 0.4)
    assert abs(merged.value(chosen) - reach.value(chosen)) < 1e-9
    rows = [tuple(part) for part in np.split(merged.site, merged.first[1:-1])]
    assert len(set(rows)) == len(rows) == len(merged.weight) or not len(merged.weight)


def test_rows_alike_become_one_and_rows_out_of_reach_none():
    merged = reach_of((0, 2), (), (1,), (2, 0), sites=3, weight=[1, 5, 2, 4]).merged()
    assert merged.weight.tolist() == [5, 2]
    assert merged.site.tolist() == [0, 2, 1]


def test_without_keeps_what_is_open():
    reach = reach_of((0, 2), (1,), (1, 2), (0,), sites=3)
    left = reach.without(reach.reached(np.array([0])) > 0, np.array([1, 2]))
    assert (left.sites, left.weight.tolist(), left.site.tolist()) == (2, [1, 1], [0, 0, 1])
