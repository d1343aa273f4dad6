"""Seasons taken apart, rounds of no date, and plots that change hands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.visits.alone import Found
from districtplan.visits.fit import crowd, days_of
from districtplan.visits.pieces import pieces
from districtplan.visits.route import Effort, Routes
from districtplan.visits.task import DAY_S, Crew, Ways
from districtplan.visits.together import majority, shared, typical_round
from tests.visits.cases import line_task, random_task
from tests.visits.planted import Size, planted


def taken_apart(task):
    return pieces(task, np.arange(len(task.visits)), np.arange(len(task.shifts)))


def test_stages_that_follow_one_another_are_pieces():
    opens = DAY_S * np.array([0, 2, 1, 2, 9])
    closes = DAY_S * np.array([1, 4, 2, 3, 10]) - 1
    task = line_task([5, 10, 15, 20, 25], days=4, opens=opens, closes=closes)
    found = [(piece.visits.tolist(), piece.shifts.tolist()) for piece in taken_apart(task)]
    assert found == [([0], [0]), ([2], [1]), ([1, 3], [2, 3])]


def test_a_planted_season_falls_into_its_stages():
    made = planted(Size(2, 3, 2, 4, 1), 1)
    assert [len(piece.visits) for piece in taken_apart(made.task)] == [12, 12, 12, 12]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000_000))
def test_no_visit_may_be_made_on_days_of_two_pieces(seed):
    task = random_task(seed)
    piece_of = {day: number for number, one in enumerate(taken_apart(task)) for day in one.shifts}
    for visit in range(len(task.visits)):
        may = np.flatnonzero(task.may()[:, visit])
        mine = {piece_of[day] for day in days_of(task, visit, may)}
        having = {number for number, one in enumerate(taken_apart(task)) if visit in one.visits}
        assert mine == having
        assert len(mine) <= 1


def test_a_round_has_each_plot_once_with_its_share_of_the_work():
    task = line_task(
        [5, 5, 5, 10], days=7, plot=[0, 0, 0, 1], place=[1, 1, 1, 4],
        service=[600, 1_200, 1_800, 900], agent=[-1, -1, -1, 0],
    )  # fmt: skip
    found = typical_round(task)
    assert found.visits.plot.tolist() == [0, 1]
    assert found.visits.service.tolist() == [1_200, 300]
    assert found.visits.agent.tolist() == [-1, 0]
    # Seven days for three rounds.
    assert len(found.shifts) == 2
    assert found.shifts.returns.tolist() == [7 * 3600] * 2


def test_a_plot_goes_to_who_visits_it_most_and_stays_among_equals():
    task = planted(Size(2, 2, 2, 1, 1), 1).task
    shift = {agent: int(np.flatnonzero(task.shifts.agent == agent)[0]) for agent in (0, 1)}
    plot = task.visits.plot
    first = int(np.flatnonzero(plot == 0)[0])
    before = np.array([0, 1, 0, 1, -1, 1, 0, 0])
    routes = Routes(np.array([first]), np.array([shift[1]]))
    assert majority(task, routes, before).tolist() == [1, 1, 0, 1, -1, 1, 0, 0]


@pytest.mark.parametrize(("closes", "all_in"), [(DAY_S, True), (-1, False)])
def test_what_has_no_room_is_put_beside_the_nearest_all_the_same(closes, all_in):
    task = line_task([10, 30, 32], service_min=300, closes=[DAY_S, DAY_S, closes])
    days = {0: [0, 1]}
    assert crowd(task, days) is all_in
    assert days == {0: [0, 1, 2] if all_in else [0, 1]}


@pytest.mark.parametrize(("most", "group"), [(4, [0, 1, 2, 3]), (3, [0, 1, 3]), (2, [0, 3])])
def test_who_is_planned_together_has_plots_nearest_to_those_that_do_not_fit(most, group):
    """Bases stand in a row from 0 to 3; who has the last has his plots beside the first's."""
    plots = [10, 11, 12, 40, 70, 13]
    at = [0, 30, 60, 90, *plots]
    lone = line_task(plots, service_min=200, place=4 + np.arange(6))
    agents, zeros = np.arange(4), np.zeros(4, np.int64)
    much = np.full(4, 2**40)
    seconds = 60 * np.abs(np.subtract.outer(at, at))
    task = replace(
        lone,
        crew=Crew(agents, zeros, np.ones((4, 6), np.bool_), much, much),
        shifts=replace(lone.shifts.take(zeros), agent=agents),
        ways=Ways([seconds], [seconds]),
    )
    owner = np.array([0, 0, 0, 1, 2, 3])
    asked = []

    def run(_, parts, efforts):
        asked.extend(parts)
        return [Found(one.part.start.by_shift(), one.agent_of) for one in parts]

    days = {0: [0, 1], 1: [3], 2: [4], 3: [5]}
    found = shared(task, Found(days, owner), most, Effort(), run)
    assert {tuple(one.part.shifts.tolist()) for one in asked} == {tuple(group)}
    assert found.days == days
