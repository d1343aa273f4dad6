"""The simple plan to compare with: from the base to the nearest visit that can be made today."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.visits.clocked import timed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.fit import Days
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]


def nearest_first(task: Task, agent_of: Ints) -> Days:
    """Go day by day from the base to the nearest open visit that fits today; ties by plot.

    Parameters
    ----------
    task : Task
        What is planned.
    agent_of : numpy.ndarray
        Agent by plot, shape (plots,).

    Returns
    -------
    dict[int, list[int]]
        Visits in order by the number of the day. Priorities, fuel and paid days aren't looked at.
    """
    visits, shifts = task.visits, task.shifts
    made, days = set[int](), dict[int, list[int]]()
    may, owner = task.may(), agent_of[task.visits.plot]
    for shift in np.argsort(shifts.leaves, kind="stable").tolist():
        agent = int(shifts.agent[shift])
        some = (owner == agent) & may[agent]
        some &= (visits.opens <= shifts.returns[shift]) & (visits.closes >= shifts.leaves[shift])
        today = [visit for visit in np.flatnonzero(some).tolist() if visit not in made]
        order = _day(task, shift, today)
        if order:
            days[shift] = order
            made.update(order)
    return days


def _day(task: Task, shift: int, today: list[int]) -> list[int]:
    visits, agent = task.visits, int(task.shifts.agent[shift])
    seconds = task.ways.seconds[task.crew.mode[agent]]
    order: list[int] = []
    while True:
        here = visits.place[order[-1]] if order else task.crew.base[agent]
        left = [visit for visit in today if visit not in order]
        left.sort(key=lambda one: (seconds[here, visits.place[one]], visits.plot[one], one))
        for visit in left:
            if timed(task, shift, [*order, visit]) is not None:
                order.append(visit)
                break
        else:
            return order
