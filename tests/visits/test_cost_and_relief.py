"""Kilometres, fuel and days by month; how days are spent; what would help."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from districtplan.visits import Effort, schedule
from districtplan.visits.cost import costs, spent, spread
from districtplan.visits.relief import cut, reliefs
from districtplan.visits.task import Ways
from districtplan.visits.timetable import timetable
from tests.visits.cases import line_task

QUICK = Effort(iterations=100, stale=50)
DATES = [date(2026, 3, 31), date(2026, 4, 1)]


def test_a_month_by_hand():
    # Ten and thirty minutes along the road: twice of each, ten metres a second.
    task = line_task([10, 30], days=2)
    rows = timetable(task, {0: [0], 1: [1]})
    table = costs(rows, DATES, np.array([3.0]))
    assert table["month"].tolist() == [date(2026, 3, 1), date(2026, 4, 1)]
    assert table["days"].tolist() == [1, 1]
    assert table["visits"].tolist() == [1, 1]
    assert table["metres"].tolist() == [12_000, 36_000]
    assert table["fuel_ml"].tolist() == [360, 1_080]


def test_a_day_by_hand():
    task = line_task([10, 30], days=1, opens=[0, 12 * 3600])
    days = spent(timetable(task, {0: [0, 1]}))
    row = days.iloc[0]
    assert (row["visits"], row["travel_s"], row["work_s"]) == (2, 3_600, 7_200)
    assert row["away_s"] == row["travel_s"] + row["work_s"] + row["wait_s"]
    assert row["road_share"] == pytest.approx(3_600 / row["away_s"])
    assert spread(timetable(task, {0: [0, 1]}), 1) == (row["away_s"], row["away_s"])


def short_task():
    """One day for four visits of two hours: three fit."""
    return line_task([10, 10, 10, 10], service_min=120)


def test_what_one_more_agent_and_a_faster_way_would_recover():
    task = short_task()
    half = [task.ways.seconds[0] // 2]
    task = replace(task, ways=Ways([*task.ways.seconds, *half], [*task.ways.metres] * 2))
    found = schedule(task, QUICK)
    assert len(found.dropped) == 1
    told = {one.change: one.gained for one in reliefs(task, found, 10_000, 1, QUICK)}
    assert told == {"one more agent": 1, "a faster way": 0}
    enough = line_task([10])
    assert reliefs(enough, schedule(enough, QUICK), 10_000, 0, QUICK) == []


def test_what_a_tank_of_fuel_would_recover():
    task = line_task([20, 40], service_min=60)
    task = replace(task, crew=replace(task.crew, furthest_m=np.array([24_000])))
    found = schedule(task, QUICK)
    assert found.dropped == {1: "fuel"}
    told = {one.change: one.gained for one in reliefs(task, found, 24_000, 0, QUICK)}
    assert told["a tank of fuel"] == 1


def test_what_a_cut_would_drop():
    task = line_task([10] * 5, service_min=360, days=5)
    found = schedule(task, QUICK)
    assert found.dropped == {}
    assert cut(task, found, 0.2, QUICK).gained == -1
