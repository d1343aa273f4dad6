"""The exact choice: brute force on small cases, never worse than step by step, bounded above."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from districtplan.conservation import knapsack
from districtplan.conservation.knapsack import Ways, choose, curve


def ways_of(rows: list[tuple[int, float, float]], groups: int = 1) -> Ways:
    unit, cost, gain = (np.array(column) for column in zip(*rows, strict=True))
    unit = np.unique(unit, return_inverse=True)[1].astype(np.int64)
    return Ways(unit, cost.astype(float), gain.astype(float), unit % groups)


def all_choices(ways: Ways):
    by_unit = [[None, *np.flatnonzero(ways.unit == unit).tolist()] for unit in np.unique(ways.unit)]
    for picked in itertools.product(*by_unit):
        yield [place for place in picked if place is not None]


def brute(ways: Ways, budget: float, least: np.ndarray | None = None) -> float:
    best = 0.0
    for picked in all_choices(ways):
        gains = np.bincount(ways.group[picked], ways.gain[picked], int(ways.group.max()) + 1)
        enough = least is None or (gains >= least - 1e-9).all()
        if ways.cost[picked].sum() <= budget + 1e-9 and enough:
            best = max(best, float(gains.sum()))
    return best


AMOUNTS = st.one_of(st.integers(0, 12).map(float), st.floats(0.01, 12))
CASES = st.lists(st.tuples(st.integers(0, 4), AMOUNTS, AMOUNTS), min_size=1, max_size=10)


@settings(max_examples=50, deadline=None)
@given(CASES, st.floats(0, 40))
def test_brute_force(rows, budget):
    ways = ways_of(rows)
    found = choose(ways, budget)
    assert found.gain == pytest.approx(brute(ways, budget), abs=1e-6)
    assert found.gain >= found.greedy_gain - 1e-9
    assert found.bound >= found.gain - 1e-9
    assert found.gap < 1e-8
    assert found.cost <= budget * (1 + 1e-8)
    assert not (np.bincount(ways.unit[found.places]) > 1).any()


@settings(max_examples=40, deadline=None)
@given(CASES, st.floats(1, 40), st.floats(0, 1))
def test_brute_force_with_a_share_for_each_group(rows, budget, share):
    ways = ways_of(rows, groups=2)
    count = int(ways.group.max()) + 1
    shares = np.full(count, share / count)
    found = choose(ways, budget, shares)
    gains = np.bincount(ways.group[found.places], ways.gain[found.places], count)
    alone = np.array(
        [
            choose(ways.take(mine), budget * shares[group]).greedy_gain
            if len(mine := np.flatnonzero(ways.group == group))
            else 0.0
            for group in range(count)
        ]
    )
    assert (gains >= alone - 1e-6).all()
    assert found.gain >= found.greedy_gain - 1e-9
    assert found.bound >= found.gain - 1e-9
    assert found.cost <= budget * (1 + 1e-8)


def test_greedy_can_be_worse():
    """The best for its cost leaves no room for the better pair."""
    ways = ways_of([(0, 6.0, 7.0), (1, 5.0, 5.0), (2, 5.0, 5.0)])
    found = choose(ways, 10.0)
    assert (found.greedy_gain, found.gain, found.gap) == (7.0, 10.0, 0.0)
    assert found.places.tolist() == [1, 2]


def test_ways_below_the_hull_may_be_part_of_the_best():
    ways = ways_of([(0, 4.0, 4.0), (0, 6.0, 5.0), (0, 10.0, 12.0)])
    assert choose(ways, 7.0).places.tolist() == [1]


@pytest.mark.slow
def test_a_large_case_is_close_to_its_bound_and_repeats(monkeypatch):
    monkeypatch.setattr(knapsack, "NODES_MAX", 20)
    rng = np.random.default_rng(7)
    unit = np.repeat(np.arange(1_000), 4)
    cost = rng.gamma(2, 5, len(unit))
    gain = cost * rng.lognormal(0, 0.8, len(unit))
    ways = Ways(unit, cost, gain, unit % 20)
    found = choose(ways, 1_700.0, np.full(20, 0.02))
    again = choose(ways, 1_700.0, np.full(20, 0.02))
    assert found.gap < 1e-3
    assert found.places.tolist() == again.places.tolist()
    assert found.gain >= found.greedy_gain


def test_more_ways_than_the_search_takes_still_give_a_bounded_choice(monkeypatch):
    monkeypatch.setattr(knapsack, "CORE_MAX", 20)
    rng = np.random.default_rng(7)
    cost = rng.integers(1, 50, 600).astype(float)
    ways = Ways(np.arange(600) // 3, cost, cost + rng.random(600), np.zeros(600, dtype=int))
    found = choose(ways, 801.0)
    assert found.cost <= 801 * (1 + 1e-9)
    assert found.gain >= found.greedy_gain
    assert 0 <= found.gap < 1e-2


def optimum(ways: Ways, budget: float) -> float:
    """The best of all choices, by a program of all ways at once."""
    units = (np.unique(ways.unit)[:, np.newaxis] == ways.unit).astype(float)
    rows = LinearConstraint(np.vstack([units, ways.cost]), -np.inf, [*[1.0] * len(units), budget])
    return -milp(
        -ways.gain, constraints=rows, integrality=np.ones(len(ways.gain)), bounds=Bounds(0, 1)
    ).fun


@pytest.mark.parametrize("limits", [(6, 500), (4_000, 1)], ids=["few ways", "one node"])
def test_a_search_cut_short_says_by_how_much_it_may_be_beaten(monkeypatch, limits):
    for name, most in zip(("CORE_MAX", "NODES_MAX"), limits, strict=True):
        monkeypatch.setattr(knapsack, name, most)
    beaten = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        cost = rng.integers(20, 60, 60).astype(float)
        ways = Ways(np.arange(60) // 2, cost, cost * rng.uniform(0.9, 1.1, 60), np.zeros(60, int))
        best = optimum(ways, 333.0)
        found = choose(ways, 333.0)
        assert found.gain <= best + 1e-6 <= found.bound + 2e-6
        # The relaxation is never far off: one unit more at most.
        assert found.bound <= best + ways.gain.max()
        if found.gain < best - 1e-6:
            beaten += 1
            assert found.gap >= (best - found.gain) / found.bound
    assert beaten or limits[1] == 1


@settings(max_examples=20, deadline=None)
@given(CASES)
def test_every_point_of_the_curve_is_the_best_for_its_budget(rows):
    ways = ways_of(rows)
    cost, gain = curve(ways)
    assert (np.diff(cost) >= 0).all()
    for budget, gained in zip(cost, gain, strict=True):
        assert gained == pytest.approx(brute(ways, budget), abs=1e-6)


def test_nothing_to_choose():
    empty = np.empty(0)
    ways = Ways(empty.astype(int), empty, empty, empty.astype(int))
    found = choose(ways, 10.0)
    assert (found.gain, found.gap, len(found.places)) == (0.0, 0.0, 0)
    assert [part.tolist() for part in curve(ways)] == [[0], [0]]
    assert choose(ways_of([(0, 5.0, 1.0)]), 4.0).gain == 0
