"""What is said of a choice, against choosing anew without a plot or with another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.demos import Conditions, Effort, choose, rules
from districtplan.demos import explain as under_test
from districtplan.demos.rules import Table
from tests.demos.cases import random_case, reach_of, sites_of

QUICK = Effort(work=100_000, steps=100)


def test_a_plot_is_worth_what_only_it_reaches():
    reach = reach_of((0,), (0, 1), (1,), (1,), (2,), (2,), sites=3)
    told = under_test.of_sites(reach, rules(sites_of(3), Conditions(count=2)), np.array([1, 2]))
    assert told["site"].tolist() == [1, 2]
    assert told["reached"].tolist() == [3, 2]
    assert told["alone"].tolist() == [3, 2]
    assert told["runner_up"].tolist() == [0, 0]
    assert told["loss"].tolist() == [1, 1]


def test_a_plot_does_not_take_its_own_place_with_another_message():
    reach = reach_of((0, 1), (0, 1), (2,), sites=3)
    sites = sites_of(3, plot=[0, 0, 1], message=[0, 1, 0])
    found = rules(sites, Conditions(count=1))
    told = under_test.of_sites(reach, found, np.array([0]), sites.plot)
    assert (told["runner_up"][0], told["loss"][0]) == (2, 1)


def test_without_another_the_whole_is_lost():
    reach = reach_of((0,), (0,), sites=1)
    told = under_test.of_sites(reach, rules(sites_of(1), Conditions(count=1)), np.array([0]))
    assert (told["runner_up"][0], told["loss"][0]) == (-1, 2)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_runner_up_is_the_best_exchange(seed):
    reach, sites, conditions = random_case(seed)
    found = rules(sites, conditions)
    cover = choose(reach, found, QUICK)
    if cover is None:
        return
    table = Table.of(found, reach.sites)
    for row in under_test.of_sites(reach, found, cover.chosen).itertuples():
        others = cover.chosen[cover.chosen != row.site]
        assert row.alone == pytest.approx(cover.value - reach.value(others))
        values = [
            reach.value(np.append(others, site))
            for site in set(range(reach.sites)) - set(cover.chosen.tolist())
            if table.kept(np.append(others, site))
        ]
        best = max(values, default=None)
        assert (row.runner_up == -1) is (best is None)
        expected = row.alone if best is None else cover.value - best
        assert row.loss == pytest.approx(expected, abs=1e-6)


def test_villages_are_told_why():
    reach = reach_of((0, 1), (0,), (2,), (0,), (4,), sites=5)
    sites = sites_of(5, village=[0, 1, 2, 3, 4])
    found = rules(sites, Conditions(count=1, forced_out=[4]))
    told = under_test.of_villages(reach, sites, found, np.array([0]), range(6)).set_index("village")
    assert told["why"].tolist() == [
        under_test.HAS,
        under_test.ADDS_NOTHING,
        under_test.ADDS_LESS,
        under_test.ADDS_NOTHING,
        under_test.NONE_ALLOWED,
        under_test.NO_CANDIDATE,
    ]
    assert told["demos"].tolist() == [1, 0, 0, 0, 0, 0]
    # What is forced out would add one, and is not told as what the village could have.
    assert told["adds"].tolist() == [0, 0, 1, 0, 0, 0]


def test_the_curve_rises_by_what_the_next_plot_adds():
    reach = reach_of((0,), (0,), (0,), (1,), (1,), (2,), sites=3)
    told = under_test.curve(reach, sites_of(3), Conditions(), [0, 1, 2, 3, 4], QUICK)
    assert told["reached"].tolist()[:4] == [0, 3, 5, 6]
    assert told["gain"].tolist()[1:4] == [3, 2, 1]
    assert np.isnan(told["reached"][4])
    assert (told["bound"][:4] == told["reached"][:4]).all()


def test_the_curve_of_more_plots_adds_to_what_is_known_of_fewer():
    reach = reach_of((0,), (0,), (0,), (1,), (2,), sites=3)
    sites = sites_of(3)
    known = choose(reach, rules(sites, Conditions(count=2)))
    worse = replace(known, chosen=np.array([1, 2]), value=2.0)
    told = under_test.curve(reach, sites, Conditions(), [1, 2], QUICK, {2: worse})
    assert told["reached"].tolist() == [3, 4]


def test_the_curve_falls_where_more_plots_must_lie_elsewhere():
    # Site 0 lies between the others, too near to both: two plots are these, three there aren't.
    reach = reach_of((0,), (0,), (0,), (1,), (2,), sites=3)
    sites = sites_of(3, place_m=[[0.0, 0.0], [-1000.0, 0.0], [1000.0, 0.0]])
    told = under_test.curve(reach, sites, Conditions(apart_m=1500.0), [1, 2, 3], QUICK)
    assert told["reached"].tolist()[:2] == [3, 2]
    assert np.isnan(told["reached"][2])


def test_a_village_is_not_told_of_a_plot_that_no_condition_lets_be_chosen():
    # Site 1 would add most and is forced out; site 2 of the same village adds one.
    reach = reach_of((0,), (0,), (0,), (1,), (1,), (2,), sites=3)
    sites = sites_of(3, village=[0, 1, 1])
    found = rules(sites, Conditions(count=1, forced_out=[1]))
    told = under_test.of_villages(reach, sites, found, np.array([0]), [0, 1])
    assert told[["best", "adds"]].to_numpy().tolist()[1] == [2, 1.0]
