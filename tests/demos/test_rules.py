"""Conditions written as rules: each against a reading of its words."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.demos import Conditions, rules
from districtplan.demos.rules import Table
from tests.demos.cases import random_case, sites_of


def in_words(chosen: list[int], sites, asked: Conditions) -> bool:
    """What the conditions say, without rules."""
    villages = sites.village[chosen].tolist()
    farmers = sites.farmer[chosen].tolist()
    said = [
        asked.count in (None, len(chosen)),
        asked.budget is None or sites.kits[chosen].sum() <= asked.budget,
        not asked.one_a_farmer or len(set(farmers)) == len(farmers),
    ]
    plots = chosen if sites.plot is None else sites.plot[chosen].tolist()
    said += [set(asked.forced_in) <= set(plots), not set(asked.forced_out) & set(plots)]
    said += [villages.count(one) >= least for one, least in asked.village_least.items()]
    said += [villages.count(one) <= most for one, most in asked.village_most.items()]
    said.append(len(set(plots)) == len(plots))
    shown = [0] * len(sites) if sites.message is None else sites.message.tolist()

    def showing(village: int, messages: list[int]) -> int:
        return sum(sites.village[one] == village and shown[one] in messages for one in chosen)

    for village, (least, messages) in asked.message_least.items():
        said.append(showing(village, messages) >= least)
    for village, messages in asked.message_first.items():
        said.append(2 * showing(village, messages) >= villages.count(village))
    for message, (low, high) in asked.message_plots.items():
        said.append(low <= sum(shown[one] == message for one in chosen) <= high)
    for one, other in itertools.combinations(chosen, 2):
        said.append(np.hypot(*(sites.place_m[one] - sites.place_m[other])) >= asked.apart_m)
    for number, share in enumerate(() if asked.class_share is None else asked.class_share):
        taken = (sites.slope_class[chosen] == number).sum()
        low = max(share - asked.class_tolerance, 0) * len(chosen)
        high = min(share + asked.class_tolerance, 1) * len(chosen)
        said.append(low - 1 < taken < high + 1)
    return all(said)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_rules_say_what_the_words_say(seed):
    _, sites, asked = random_case(seed)
    table = Table.of(rules(sites, asked), len(sites))
    for size in range(min(len(sites), 5) + 1):
        for chosen in itertools.combinations(range(len(sites)), size):
            assert table.kept(np.array(chosen, int)) is in_words(list(chosen), sites, asked)


@pytest.mark.parametrize(
    ("share", "tolerance", "low", "high"),
    [(0.25, 0.0, 2, 3), (0.3, 0.0, 3, 3), (0.25, 0.05, 2, 3), (0.25, 0.1, 1, 4), (0.0, 0.0, 0, 0)],
)
def test_shares_of_ten_plots_are_rounded_outward(share, tolerance, low, high):
    sites = sites_of(4, slope_class=[0, 0, 1, 1])
    asked = Conditions(
        count=10, class_share=np.array([share, 1 - share]), class_tolerance=tolerance
    )
    (rule, _) = [one for one in rules(sites, asked) if one.kind == "class"]
    assert (rule.low, rule.high) == (low, high)


def test_plots_at_the_least_distance_are_apart_enough():
    sites = sites_of(2, place_m=[[0.0, 0.0], [300.0, 400.0]])
    for apart, allowed in ((500.0, True), (500.1, False)):
        table = Table.of(rules(sites, Conditions(apart_m=apart)), 2)
        assert table.kept(np.array([0, 1])) is allowed
