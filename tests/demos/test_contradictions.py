"""Conditions that contradict one another are named, and what each would have to give."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.demos import Conditions, Effort, choose, conflicts, rules
from districtplan.demos.exact import Solved
from districtplan.demos.rules import ALL, Table
from tests.demos.cases import kept_choices, random_case, reach_of, sites_of

LINE = sites_of(
    6,
    village=[0, 0, 0, 1, 1, 2],
    farmer=[0, 0, 1, 2, 3, 4],
    slope_class=[0, 0, 0, 0, 0, 1],
    kits=[1, 1, 1, 2, 2, 3],
    place_m=[[0, 0], [100, 0], [250, 0], [2000, 0], [2300, 0], [5000, 0]],
)
"""Six plots along a line: three in a village, two in the next, a steep one in the last."""

CONTRADICTIONS = {
    "more plots than there are": (Conditions(count=9, one_a_farmer=False), {("count", ALL): 6}),
    "plots forced in than are to be": (
        Conditions(count=1, forced_in=[2, 3]),
        {("count", ALL): 2, ("in", 2): 0, ("in", 3): 0},
    ),
    "both forced in and out": (Conditions(forced_in=[4], forced_out=[4]), {
        ("in", 4): 0, ("out", 4): 1,
    }),
    "two of one farmer": (Conditions(forced_in=[0, 1]), {
        ("farmer", 0): 2, ("in", 0): 0, ("in", 1): 0,
    }),
    "too near": (Conditions(forced_in=[3, 4], apart_m=500), {
        ("apart", ALL): 300, ("in", 3): 0, ("in", 4): 0,
    }),
    "a message that no plot of the village shows": (Conditions(message_least={1: (1, [4])}), {
        ("message least", 1): 0,
    }),
    "a village without candidates": (Conditions(village_least={7: 1}), {
        ("village least", 7): 0,
    }),
    "least above most": (Conditions(village_least={0: 2}, village_most={0: 1}), {
        ("village least", 0): 1, ("village most", 0): 2,
    }),
    "kits for fewer than the villages ask": (
        Conditions(budget=4, village_least={1: 1, 2: 1}),
        {("budget", ALL): 5, ("village least", 1): 0, ("village least", 2): 0},
    ),
    "steep land where few plots are steep": (
        Conditions(count=4, class_share=np.array([0.2, 0.8]), class_tolerance=0.1),
        {("class", 1): 0.31},
    ),
    "spacing leaves too few in a village": (
        Conditions(village_least={0: 2}, apart_m=300, one_a_farmer=False),
        {("village least", 0): 1, ("apart", ALL): 250},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_contradictions_are_named(name):
    asked, expected = CONTRADICTIONS[name]
    (found,) = conflicts(LINE, asked)
    assert {(one.kind, one.of): one.enough for one in found} == pytest.approx(expected)


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_what_is_given_is_enough_and_no_less_would_be(name):
    reach = reach_of(*[(site,) for site in range(6)], sites=6)
    asked, _ = CONTRADICTIONS[name]
    assert choose(reach, rules(LINE, asked)) is None
    (found,) = conflicts(LINE, asked)
    for one in found:
        cover = choose(reach, one.rules, Effort(work=100_000, steps=100))
        assert cover is not None
        assert cover.value == len(cover.chosen)


def test_what_could_not_be_decided_is_not_called_proved(monkeypatch):
    asked = Conditions(count=9, one_a_farmer=False)
    assert all(one.proved for one in conflicts(LINE, asked)[0])

    def undecided(table, wish):
        return Solved(None, np.inf) if len(table.low) else Solved(np.empty(0, int), 0.0)

    monkeypatch.setattr("districtplan.demos.contradictions.wished", undecided)
    assert not any(one.proved for one in conflicts(LINE, asked)[0])


def test_two_conflicts_are_both_told():
    asked = Conditions(village_least={7: 1}, forced_in=[3, 4], apart_m=500)
    first, second = conflicts(LINE, asked)
    told = [{(one.kind, one.of) for one in found} for found in (first, second)]
    assert {("village least", 7)} in told
    assert {("in", 3), ("in", 4), ("apart", ALL)} in told
    assert all(one.enough is not None for one in (*first, *second))


def test_what_can_be_kept_has_no_conflict():
    assert conflicts(LINE, Conditions(count=3, apart_m=500)) == []


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_sets_are_smallest(seed):
    _, sites, asked = random_case(seed)
    found = rules(sites, asked)

    def possible(conditions: set) -> bool:
        some = [rule for rule in found if rule.condition in conditions]
        return next(kept_choices(some, len(sites)), None) is not None

    every = {rule.condition for rule in found}
    told = conflicts(sites, asked)
    assert possible(every) is (told == [])
    for one in told:
        named = {(relief.kind, relief.of) for relief in one}
        assert not possible(named)
        assert all(possible(named - {condition}) for condition in named)
        for relief in one:
            if relief.enough is not None:
                eased = Table.of(relief.rules, len(sites))
                assert any(True for _ in kept_choices(list(relief.rules), len(sites)))
                assert len(eased.low) == len(relief.rules)
    given = {(relief.kind, relief.of) for one in told for relief in one}
    # One tolerance is of all classes: who eases it for one does for all.
    eased_alike = {
        one for one in every if one[0] == "class" and "class" in {kind for kind, _ in given}
    }
    assert possible(every - given - eased_alike)
