"""Room for visits left out: their plot, or another of that agent, goes to a neighbour."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.visits.assign import NOBODY
from districtplan.visits.fit import days_of, fill, fit, left_out

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.alone import Found
    from districtplan.visits.fit import Days
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

TAKERS = 4
"""Nearest agents, the plot's own perhaps among them, who are asked to take a plot."""


def moved(task: Task, found: Found) -> Found:
    """Give plots away where that makes room.

    Parameters
    ----------
    task : Task
        What is planned.
    found : Found
        Days as they stand.

    Returns
    -------
    Found
        Days with no visit fewer.
    """
    days, agent_of, may = dict(found.days), found.agent_of.copy(), task.may()
    for visit in left_out(task, days):
        agent = int(agent_of[task.visits.plot[visit]])
        made = any(visit in order for order in days.values())
        if agent == NOBODY or made or not may[agent, visit]:
            continue
        for plot in _near_others(task, days, agent_of, visit):
            given = _given_away(task, days, agent_of, plot)
            if given is None:
                continue
            without, other = given
            if plot != task.visits.plot[visit]:
                place = fit(task, without, visit, days_of(task, visit, [agent]))
                if place is None:
                    continue
                without[place.shift] = place.order
            days, agent_of[plot] = without, other
            break
    fill(task, days, agent_of)
    return found._replace(days=days, agent_of=agent_of)


def _near_others(task: Task, days: Days, agent_of: Ints, visit: int) -> list[int]:
    """List plots that could make room: the visit's own, then those near others in its days."""
    own = int(task.visits.plot[visit])
    agent = int(agent_of[own])
    made = [stop for day in days_of(task, visit, [agent]) for stop in days.get(day, [])]
    bases = np.delete(task.crew.base, agent)
    away = task.ways.seconds[task.crew.mode[agent]]
    stops = sorted(
        made, key=lambda stop: (int(away[bases, task.visits.place[stop]].min(initial=0)), stop)
    )
    return list(dict.fromkeys([own, *task.visits.plot[stops].tolist()]))


def _given_away(task: Task, days: Days, agent_of: Ints, plot: int) -> tuple[Days, int] | None:
    """Give all visits of a plot to the nearest agent who has room for them."""
    mine = np.flatnonzero(task.visits.plot == plot).tolist()
    place, now = task.visits.place[mine[0]], int(agent_of[plot])
    near = task.ways.seconds[task.crew.mode[now]][place][task.crew.base]
    may = np.flatnonzero(task.may()[:, mine].all(axis=1))
    without = {
        shift: [stop for stop in order if task.visits.plot[stop] != plot]
        for shift, order in days.items()
    }
    for agent in np.argsort(near, kind="stable")[:TAKERS].tolist():
        if agent != now and agent in may:
            taken = _taken_over(task, dict(without), mine, agent)
            if taken is not None:
                return taken, agent
    return None


def _taken_over(task: Task, days: Days, visits: list[int], agent: int) -> Days | None:
    for visit in visits:
        found = fit(task, days, visit, days_of(task, visit, [agent]))
        if found is None:
            return None
        days[found.shift] = found.order
    return days
