"""A plan carried on: what is done stays, what slipped moves, few other days change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.visits import Effort, schedule
from districtplan.visits.replan import replan
from districtplan.visits.task import DAY_S
from districtplan.visits.timetable import timetable
from tests.visits.cases import line_task, random_task
from tests.visits.checker import faults

QUICK = Effort(iterations=100, stale=50)
ONE = np.zeros(10, np.int64)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000_000), st.integers(0, 4))
def test_what_is_left_can_be_kept_and_nothing_is_lost(seed, day):
    task = random_task(seed)
    found = schedule(task, QUICK)
    past = {shift for shift in found.days if task.shifts.leaves[shift] <= day * DAY_S}
    done = {visit for shift in sorted(past) for visit in found.days[shift][::2]}
    again = replan(task, found.days, done, day * DAY_S, found.agent_of)
    told = again.dropped | dict.fromkeys(done, "done")
    assert faults(task, timetable(task, again.days), told) == []
    assert all(task.shifts.leaves[shift] > day * DAY_S for shift in again.days)


def test_nothing_changes_where_nothing_slipped():
    task = line_task([10, 20, 30, 15, 25], days=3, hours=4)
    found = schedule(task, QUICK)
    first = min(found.days)
    again = replan(task, found.days, set(found.days[first]), DAY_S, found.agent_of)
    assert again.days == {day: order for day, order in found.days.items() if day != first}
    assert again.moved == {}
    assert again.changed == set()


def test_what_slipped_goes_to_a_day_in_use_and_the_others_stay():
    task = line_task([10, 20, 30], days=4)
    again = replan(task, {0: [0], 1: [1], 3: [2]}, set(), DAY_S // 2, ONE)
    assert again.moved == {0: (0, 1)}
    assert again.changed == {0, 1}
    assert again.days[3] == [2]


def test_a_visit_leaves_a_day_that_its_window_no_longer_has():
    task = line_task([10, 20], days=4, closes=np.array([2, 4]) * DAY_S - 1)
    again = replan(task, {2: [0, 1]}, set(), -1, ONE)
    assert again.moved == {0: (2, 0)}
    assert again.days[2] == [1]


def test_one_visit_makes_room_where_it_must():
    # The slipped one has only the second day left, which is full of one that can wait.
    closes = np.array([2, 4]) * DAY_S - 1
    task = line_task([10, 10], service_min=240, days=4, closes=closes, priority=[0, 1])
    again = replan(task, {0: [0], 1: [1]}, set(), DAY_S // 2, ONE)
    assert again.moved == {0: (0, 1), 1: (1, 2)}
    assert again.dropped == {}


def test_what_fits_nowhere_any_more_is_told():
    task = line_task([10, 10], days=2, closes=np.array([1, 2]) * DAY_S - 1)
    again = replan(task, {0: [0], 1: [1]}, set(), DAY_S // 2, ONE)
    assert again.dropped == {0: "no day"}
    crew = replace(task.crew, days_most=np.array([0]))
    spent = replan(replace(task, crew=crew), {0: [0], 1: [1]}, {0}, DAY_S // 2, ONE)
    assert spent.dropped == {1: "paid days"}
