"""The simple plan to compare with: from the base to the nearest visit that can be made today."""

from __future__ import annotations

import numpy as np

from districtplan.visits.clocked import timed
from districtplan.visits.task import Task


def nearest_first(task: Task, agent_of: np.ndarray) -> dict[int, list[int]]:
    """Go day by day from the base to the nearest open visit that fits today; ties by plot."""
    visits, shifts, made, days = task.visits, task.shifts, set(), {}
    may, owner = task.may(), agent_of[task.visits.plot]
    for shift in np.argsort(shifts.leaves, kind="stable").tolist():
        agent = int(shifts.agent[shift])
        seconds = task.ways.seconds[task.crew.mode[agent]]
        some = (owner == agent) & may[agent]
        some &= (visits.opens <= shifts.returns[shift]) & (visits.closes >= shifts.leaves[shift])
        today = [visit for visit in np.flatnonzero(some).tolist() if visit not in made]
        order: list[int] = []
        while True:
            here = visits.place[order[-1]] if order else task.crew.base[agent]
            left = [visit for visit in today if visit not in order]
            by_way = sorted(
                (seconds[here, visits.place[one]], visits.plot[one], one) for one in left
            )
            for _, _, visit in by_way:
                if timed(task, shift, [*order, visit]) is not None:
                    order.append(visit)
                    break
            else:
                break
        if order:
            days[shift] = order
            made.update(order)
    return days
