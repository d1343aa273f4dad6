"""The choice of demonstration plots: brute force, proven instances, never worse than greedy."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.demos import Conditions, Effort, Reach, choose, rules
from districtplan.demos.rules import Table
from tests.demos.cases import kept_choices, random_case, reach_of, sites_of

QUICK = Effort(work=200_000, steps=200)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_brute_force(seed):
    reach, sites, conditions = random_case(seed)
    found = rules(sites, conditions)
    best = max((reach.value(chosen) for chosen in kept_choices(found, reach.sites)), default=None)
    cover = choose(reach, found, QUICK)
    if best is None:
        assert cover is None
        return
    assert cover is not None
    assert Table.of(found, reach.sites).kept(cover.chosen)
    assert cover.value == pytest.approx(best, abs=1e-6)
    assert cover.value == pytest.approx(reach.value(cover.chosen), abs=1e-6)
    assert cover.greedy_value <= cover.value + 1e-6
    assert cover.gap == pytest.approx(0, abs=1e-6)
    assert cover.reproducible


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_bound_holds_however_little_is_done(seed):
    reach, sites, conditions = random_case(seed)
    found = rules(sites, conditions)
    best = max((reach.value(chosen) for chosen in kept_choices(found, reach.sites)), default=None)
    cover = choose(reach, found, Effort(work=0, steps=3, links=0))
    if best is None:
        assert cover is None
        return
    assert cover.greedy_value <= cover.value <= best + 1e-6 <= cover.bound + 2e-6


def test_greedy_is_bettered():
    """The plot in the middle reaches most alone; the two beside it reach all together."""
    reach = reach_of((0, 1), (0, 1), (1,), (0, 2), (0, 2), (2,), sites=3)
    cover = choose(reach, rules(sites_of(3), Conditions(count=2)))
    assert cover.chosen.tolist() == [1, 2]
    assert (cover.greedy_value, cover.value, cover.bound) == (5, 6, 6)


def test_the_earlier_of_equal_plots_is_chosen():
    reach = reach_of((1, 3), (1, 3), (0, 2), sites=4)
    assert choose(reach, rules(sites_of(4), Conditions(count=2))).chosen.tolist() == [0, 1]
    out = Conditions(count=2, forced_out=[0])
    assert choose(reach, rules(sites_of(4), out)).chosen.tolist() == [1, 2]


def test_a_steep_village_sees_the_barrier():
    """Two plots that could each show seed (0) or a barrier (1); the second village is steep."""
    reach = reach_of((0, 1), (0, 1), (2, 3), sites=4)
    sites = sites_of(
        4, village=[0, 0, 1, 1], farmer=[0, 0, 1, 1], plot=[0, 0, 1, 1], message=[0, 1, 0, 1]
    )
    asked = Conditions(count=2, message_least={1: (1, [1])})
    assert choose(reach, rules(sites, asked)).chosen.tolist() == [0, 3]


def test_kits_buy_more_small_plots():
    reach = reach_of((0,), (0,), (0,), (1,), (1,), (2,), (2,), sites=3)
    costs = sites_of(3, kits=[2.0, 1.0, 1.0])
    cover = choose(reach, rules(costs, Conditions(budget=2)))
    assert (cover.chosen.tolist(), cover.value) == ([1, 2], 4)


def test_a_plot_that_adds_nothing_takes_no_kit():
    reach = reach_of((0, 1), sites=2)
    assert choose(reach, rules(sites_of(2), Conditions(budget=2))).chosen.tolist() == [0]


def test_nothing_to_choose():
    for reach in (reach_of(sites=0), reach_of((), sites=0)):
        cover = choose(reach, rules(sites_of(0), Conditions(budget=3)))
        assert (cover.chosen.tolist(), cover.value, cover.bound, cover.gap) == ([], 0, 0, 0)
    assert choose(reach_of((), sites=0), rules(sites_of(0), Conditions(count=1))) is None


def crowded():
    """Reach that overlaps so much that no short search proves a choice."""
    rng = np.random.default_rng(5)
    place, home = rng.uniform(0, 1000, (150, 2)), rng.uniform(0, 1000, (3000, 2))
    near = np.hypot(*(home[:, None] - place[None]).transpose(2, 0, 1)) < 90
    sites = sites_of(150, place_m=place)
    return Reach.of(np.ones(3000), *np.nonzero(near), 150), sites, Conditions(count=20, apart_m=60)


def test_same_input_same_choice_and_the_clock_is_told():
    reach, sites, conditions = crowded()
    found = rules(sites, conditions)
    effort = Effort(work=2_000_000, nodes=5)
    first, again = (choose(reach, found, effort) for _ in range(2))
    assert first.chosen.tolist() == again.chosen.tolist()
    assert (first.value, first.bound, first.reproducible) == (again.value, again.bound, True)
    hurried = choose(reach, found, dataclasses.replace(effort, work=0, steps=5, seconds=0.01))
    assert not hurried.reproducible
    assert hurried.value <= hurried.bound
