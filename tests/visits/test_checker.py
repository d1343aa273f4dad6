"""The checker is checked: faults seeded into a plan that can be kept are each found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from districtplan.visits.task import DAY_S
from districtplan.visits.timetable import timetable
from tests.visits.checker import HOME, faults
from tests.visits.planted import Size, planted

MADE = planted(Size(2, 4, 3, 2, 1), 5)
TASK, ROWS = MADE.task, timetable(MADE.task, MADE.days)


def changed(rows, at: int, **columns):
    rows = rows.copy()
    for name, value in columns.items():
        rows.loc[rows.index[at], name] = value
    return rows


def later(rows, at: int, seconds: int):
    """Everything of the day from a row on, later."""
    rows = rows.copy()
    day = (rows["shift"] == rows["shift"].iloc[at]) & (rows.index >= rows.index[at])
    rows.loc[day, ["leaves", "arrives", "begins", "ends"]] += seconds
    return rows


def swapped(rows):
    """The first two stops of a day in each other's place."""
    rows = rows.copy()
    rows.loc[rows.index[:2], "visit"] = rows["visit"].iloc[[1, 0]].to_numpy()
    return rows


def given(rows):
    """A visit of a plot made by another agent, on that agent's own day."""
    other = rows.index[rows["agent"] != rows["agent"].iloc[0]][0]
    rows = rows.copy()
    one = rows.index[0]
    pair = rows.loc[[other, one], "visit"].to_numpy()
    rows.loc[[one, other], "visit"] = pair
    return rows


def barred():
    serves = TASK.crew.serves.copy()
    serves[ROWS["agent"].iloc[0], TASK.visits.plot[ROWS["visit"].iloc[0]]] = False
    return replace(TASK, crew=replace(TASK.crew, serves=serves))


def bound():
    agent = TASK.visits.agent.copy()
    agent[ROWS["visit"].iloc[0]] = 1 - ROWS["agent"].iloc[0]
    return replace(TASK, visits=replace(TASK.visits, agent=agent))


def with_crew(**told):
    return replace(TASK, crew=replace(TASK.crew, **told))


def with_shifts(name: str, told):
    return replace(TASK, shifts=replace(TASK.shifts, **{name: told}))


def heavy():
    load, carries = np.ones_like(TASK.visits.load), np.full_like(TASK.shifts.carries, 2)
    visits, shifts = replace(TASK.visits, load=load), replace(TASK.shifts, carries=carries)
    return replace(TASK, visits=visits, shifts=shifts)


HOME_AT = int(np.flatnonzero(ROWS["visit"] == HOME)[0])
FAULTS = {
    "silent drop": (TASK, ROWS.drop(ROWS.index[0]), {}, "lost"),
    "made twice": (TASK, changed(ROWS, 1, visit=ROWS["visit"].iloc[0]), {}, "made 2 times"),
    "told as dropped": (TASK, ROWS, {0: "days full"}, "both made and dropped"),
    "another agent": (TASK, given(ROWS), {}, "several agents"),
    "a day of another": (TASK, changed(ROWS, 0, agent=1 - ROWS["agent"].iloc[0]), {}, "of another"),
    "holiday": (TASK, later(ROWS, 0, DAY_S * 200), {}, "home too late"),
    "teleport": (TASK, swapped(ROWS), {}, "travel"),
    "short way": (TASK, changed(ROWS, 0, metres=1), {}, "metres"),
    "overlap": (TASK, changed(ROWS, 1, leaves=ROWS["leaves"].iloc[1] - 60), {}, "too early"),
    "before arrival": (TASK, changed(ROWS, 1, begins=0), {}, "before arrival"),
    "too early": (TASK, later(ROWS, 0, -DAY_S * 300), {}, "outside its window"),
    "short service": (TASK, changed(ROWS, 0, ends=ROWS["ends"].iloc[0] - 60), {}, "service"),
    "late": (with_shifts("returns", TASK.shifts.leaves + 600), ROWS, {}, "home too late"),
    "long day": (with_shifts("longest", np.full_like(TASK.shifts.longest, 600)), ROWS, {},
                 "too long a day"),
    "no way home": (TASK, ROWS.drop(ROWS.index[HOME_AT]), {}, "no way home"),
    "barred village": (barred(), ROWS, {}, "barred"),
    "bound elsewhere": (bound(), ROWS, {}, "bound to another"),
    "fuel": (with_crew(furthest_m=np.array([10, 10])), ROWS, {}, "rides too far"),
    "paid days": (with_crew(days_most=np.array([1, 1])), ROWS, {}, "too many days"),
    "heavy": (heavy(), ROWS, {}, "too heavy"),
    "out of order": (TASK, changed(ROWS, 0, sequence=2), {}, "sequence"),
}  # fmt: skip


def test_they_are_told_apart():
    assert len({what for *_, what in FAULTS.values()}) >= 12


def test_the_plan_itself_has_no_fault():
    assert faults(TASK, ROWS, {}) == []


@pytest.mark.parametrize(("task", "rows", "dropped", "what"), FAULTS.values(), ids=FAULTS)
def test_each_seeded_fault_is_found(task, rows, dropped, what):
    assert any(what in fault for fault in faults(task, rows, dropped))
