"""Spread of soil loss, and how sure ranks are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.erosion import spread
from districtplan.handbook import packaged
from tests.support import renumbered


def test_a_factor_holds_nineteen_times_in_twenty():
    assert spread.of_factor(1.0) == 0.0
    assert spread.of_factor(2.0) * 1.959964 == pytest.approx(np.log(2.0))


def test_interval_leaves_one_in_twenty_at_each_end():
    low, high = spread.interval(np.array([10.0]), np.array([0.5]), packaged())
    draws = 10 * np.exp(0.5 * np.random.default_rng(7).standard_normal(200_000))
    assert (draws < low[0]).mean() == pytest.approx(0.05, abs=0.002)
    assert (draws > high[0]).mean() == pytest.approx(0.05, abs=0.002)


def test_no_error_no_spread():
    low, high = spread.interval(np.array([10.0]), np.array([0.0]), packaged())
    assert (low[0], high[0]) == (10.0, 10.0)


def test_equations_part_on_steep_land():
    error = spread.of_equations(np.array([10.0, 20.0, 30.0]), packaged())
    assert (np.diff(error) > 0).all()
    assert (error < 0.2).all()


def test_an_equation_below_zero_says_nothing():
    book = renumbered("steepness_equations", "nearing_constant", -2.5)
    assert np.isfinite(spread.of_equations(np.array([0.0, 3.0, 12.0]), book)).all()


def test_chances_are_those_of_draws():
    """Closed form against seeded draws of every plot's own error, the worst tenth counted."""
    rng = np.random.default_rng(20)
    likely, own = np.exp(rng.normal(2, 1, 200)), rng.uniform(0.05, 0.6, 200)
    chance = spread.chance_among_worst(likely, own, 0.1)
    drawn = np.log(likely) + own * rng.standard_normal((4_000, 200))
    worst = np.argsort(-drawn, axis=1)[:, :20]
    counted = np.bincount(worst.ravel(), minlength=200) / 4_000
    assert np.abs(chance - counted).max() < 0.05


def test_without_own_error_the_worst_are_sure():
    likely = np.arange(1.0, 101.0)
    chance = spread.chance_among_worst(likely, np.zeros(100), 0.1)
    assert chance[:90].max() < 1e-6
    assert chance[90:].min() > 1 - 1e-6


def test_equal_plots_share_the_place():
    chance = spread.chance_among_worst(np.full(40, 7.0), np.zeros(40), 0.1)
    assert chance == pytest.approx(np.full(40, 0.1), abs=1e-6)


def test_plots_without_a_loss_have_no_chance():
    chance = spread.chance_among_worst(np.array([np.nan, 3.0]), np.array([0.1, 0.1]), 0.1)
    assert np.isnan(chance[0])
    assert chance[1] == 1.0
    assert np.isnan(spread.chance_among_worst(np.array([np.nan]), np.array([0.1]), 0.1)).all()
    assert spread.chance_among_worst(np.array([]), np.array([]), 0.1).size == 0


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.001, 1e4), st.floats(0, 2)), min_size=1, max_size=60),
    st.floats(0.1, 10),
)
def test_chances_add_up_and_a_shared_factor_changes_none(plots, factor):
    likely, own = (np.array(part) for part in zip(*plots, strict=True))
    chance = spread.chance_among_worst(likely, own, 0.1)
    assert ((chance >= 0) & (chance <= 1)).all()
    assert chance.sum() == pytest.approx(max(len(plots) * 0.1, 1.0), abs=1e-3)
    scaled = spread.chance_among_worst(likely * factor, own, 0.1)
    if (own > 1e-3).all():
        assert scaled == pytest.approx(chance, abs=1e-6)
