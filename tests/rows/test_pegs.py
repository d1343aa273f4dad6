"""Pegs and shared gaps, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from districtplan.rows import pegs
from districtplan.rows.pegs import Spaces

USUAL = Spaces(0.5, 0.4, 0.6)


def test_a_gap_that_widens_and_narrows():
    gaps = np.array([10.0, 11.9, 12.1, 12.6, 9.0, 8.3, np.nan, 8.0])
    rows, change = pegs.share(gaps, USUAL)
    # 20 spaces hold from 8 to 12 m; 12.1 m needs 21; 8.3 m has room for 20.75 of them.
    assert rows.tolist() == [19, 19, 20, 20, 20, 19, 19, 19]
    assert change.tolist() == [0, 0, 1, 0, 0, -1, 0, 0]


@given(arrays(np.float64, st.integers(1, 30), elements=st.floats(0.5, 60)))
def test_spaces_keep_within_their_bounds(gaps):
    rows, change = pegs.share(gaps, USUAL)
    spaces = gaps / (rows + 1)
    # One space reaches to 0.6 m, two start at 0.8 m; between, either is out of bounds.
    assert ((spaces <= 0.6 + 1e-9) | (gaps < 0.8)).all()
    assert ((spaces >= 0.4 - 1e-9) | (gaps < 0.8)).all()
    assert rows[0] + change.sum() == rows[-1]


def test_a_gap_that_narrows_all_the_way_starts_with_wide_spaces():
    """So that the rows come to as many metres as the land holds at the usual spacing."""
    gaps = np.linspace(11.9, 8.1, 9)
    rows, change = pegs.share(gaps, USUAL)
    assert rows.tolist() == [19] * 9
    assert not change.any()


def test_lines_that_never_face_each_other_share_no_rows():
    rows, change = pegs.share(np.array([np.nan, np.nan]), USUAL)
    assert rows.tolist() == change.tolist() == [0, 0]


@pytest.mark.parametrize("radius", [15.0, 60.0])
def test_strings_between_pegs_add_no_more_than_allowed(radius):
    """A straight string across an arc on a cone, walked."""
    slope, allowed = 0.25, 0.01
    step = pegs.string_step(radius, slope, allowed, 30.0)
    half = np.arcsin(step / 2 / radius)
    x = np.linspace(-radius * np.sin(half), radius * np.sin(half), 2001)
    height = slope * np.hypot(x, radius * np.cos(half))
    assert np.sqrt(np.mean(np.gradient(height, x) ** 2)) == pytest.approx(allowed, rel=0.05)
    assert pegs.string_step(radius, 0.0, allowed, 30.0) == 30.0


def test_the_offset_from_the_last_leg_stretched_on():
    """Stretch a leg on by s and step s²/R aside: the next peg of the circle."""
    radius, step = 80.0, 8.0
    turn = 2 * np.arcsin(step / 2 / radius)
    angle = turn * np.arange(3)
    peg = radius * np.column_stack([np.sin(angle), 1 - np.cos(angle)])
    stretched = 2 * peg[1] - peg[0]
    assert np.hypot(*(peg[2] - stretched)) == pytest.approx(step**2 / radius, rel=1e-9)
