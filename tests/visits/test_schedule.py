"""Plans of visits: what every plan keeps to, what is left out and why, the same plan twice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.visits import Effort, schedule
from districtplan.visits.fit import days_of, fit
from districtplan.visits.task import NO_WAY_S
from districtplan.visits.timetable import timetable
from tests.visits.cases import HOUR_S, MORNING_S, MUCH, line_task, random_task
from tests.visits.checker import faults
from tests.visits.planted import Size, planted

QUICK = Effort(iterations=100, stale=50)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000_000))
def test_every_plan_can_be_kept_and_tells_what_it_leaves_out(seed):
    task = random_task(seed)
    found = schedule(task, QUICK)
    assert faults(task, timetable(task, found.days), found.dropped) == []
    limited = (task.crew.furthest_m < MUCH).any() or (task.crew.days_most < MUCH).any()
    for visit in [visit for visit, why in found.dropped.items() if why == "days full"]:
        agents = [found.agent_of[task.visits.plot[visit]]]
        assert limited or fit(task, found.days, visit, days_of(task, visit, agents)) is None


def test_the_same_seed_and_steps_give_the_same_plan_with_one_process_or_two():
    task = planted(Size(3, 5, 3, 3, 1), 1).task
    one, other = schedule(task, QUICK, processes=1), schedule(task, QUICK, processes=2)
    assert len(task.visits) > 100
    assert one.reproducible
    assert one.days == other.days
    assert schedule(task, replace(QUICK, seed=2), processes=1).days != one.days


def test_a_clock_that_stops_the_search_is_told():
    task = line_task([10, 20, 30])
    endless = Effort(iterations=10**7, stale=10**7, seconds=0.05)
    assert not schedule(task, endless).reproducible
    assert schedule(task, QUICK).reproducible


def test_what_a_day_holds_by_hand():
    # Out to the end and back takes an hour; six hours of work and a seventh that no longer fits.
    task = line_task([30, 10, 20, 30, 15, 5, 25])
    found = schedule(task, QUICK)
    rows = timetable(task, found.days)
    assert len(found.dropped) == 1
    assert set(found.dropped.values()) == {"days full"}
    assert rows["travel_s"].sum() <= HOUR_S
    assert rows["leaves"].iloc[0] >= MORNING_S
    assert line_planned(line_task([30, 10, 20, 30, 15, 5, 25], hours=8)) == 7


def line_planned(task) -> int:
    return sum(len(order) for order in schedule(task, QUICK).days.values())


def test_priorities_are_strict():
    # The two near ones would fit without the far one, which leaves room for one of them alone.
    told = {"minutes": [170, 5, 6], "service_min": 40}
    assert list(schedule(line_task(**told, priority=[0, 1, 1]), QUICK).dropped) in ([1], [2])
    near_first = schedule(line_task(**told, priority=[1, 0, 0]), QUICK)
    assert near_first.dropped == {0: "days full"}


@pytest.mark.parametrize(
    ("told", "change", "why"),
    [
        ({"minutes": [10], "agent": [0]}, "barred", "nobody may go"),
        ({"minutes": [10]}, "no way", "no way"),
        ({"minutes": [10], "opens": [10 * 86_400], "closes": [11 * 86_400]}, "", "no day"),
        ({"minutes": [10], "load": [2**41]}, "", "too heavy"),
        ({"minutes": [200], "service_min": 60}, "", "too long"),
        ({"minutes": [10], "service_min": 480}, "", "too long"),
        ({"minutes": [10, 10], "service_min": 300}, "", "days full"),
        ({"minutes": [100]}, "fuel", "fuel"),
        ({"minutes": [10, 10], "service_min": 300, "days": 2}, "paid", "paid days"),
    ],
)
def test_each_reason(told, change, why):
    task = line_task(**told)
    crew, ways = task.crew, task.ways
    if change == "barred":
        crew = replace(crew, serves=np.zeros_like(crew.serves))
    if change == "fuel":
        crew = replace(crew, furthest_m=np.array([100]))
    if change == "paid":
        crew = replace(crew, days_most=np.array([1]))
    if change == "no way":
        ways = replace(ways, seconds=[np.where(np.eye(2) > 0, 0, NO_WAY_S)])
    found = schedule(replace(task, crew=crew, ways=ways), QUICK)
    assert list(found.dropped.values()) == [why]


def test_fuel_goes_to_the_first_priority_and_then_as_far_as_it_lasts():
    task = line_task([60, 10, 20], days=3, priority=[1, 0, 1])
    most = 10 * 60 * 2 * 25  # to the second and the third and back
    task = replace(task, crew=replace(task.crew, furthest_m=np.array([most])))
    assert schedule(task, QUICK).dropped == {0: "fuel"}
    # Each fills a day; without the first there would be fuel left, and the second would do.
    task = line_task([60, 10], service_min=300, days=2, priority=[0, 1])
    task = replace(task, crew=replace(task.crew, furthest_m=np.array([10 * 60 * 2 * 65])))
    assert schedule(task, QUICK).dropped == {1: "fuel"}


def test_paid_days_are_those_that_lose_least():
    task = line_task([10, 10, 10], service_min=180, days=3, priority=[0, 1, 0])
    task = replace(task, crew=replace(task.crew, days_most=np.array([1])))
    assert schedule(task, QUICK).dropped == {1: "paid days"}


def test_planted_plans_are_found_again_with_one_agent_a_plot():
    made = planted(Size(3, 5, 4, 3, 1), 3, spare_s=1_800)
    found = schedule(made.task)
    rows, before = timetable(made.task, found.days), timetable(made.task, made.days)
    assert faults(made.task, before, {}) == []
    assert faults(made.task, rows, found.dropped) == []
    assert found.dropped == {}
    assert rows["travel_s"].sum() <= 1.02 * before["travel_s"].sum()
