"""The days of each agent, planned by themselves once it is known who follows which plot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from districtplan.visits.assign import NOBODY
from districtplan.visits.fit import fill, left_out, travel
from districtplan.visits.part import Part
from districtplan.visits.pieces import pieces
from districtplan.visits.route import route

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.typing import NDArray

    from districtplan.visits.fit import Days
    from districtplan.visits.route import Effort, Routes
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]
    Run = Callable[..., Iterable[Any]]


class Found(NamedTuple):
    """A plan on its way.

    Attributes
    ----------
    days : dict[int, list[int]]
        Visits in order by the number of the day.
    agent_of : numpy.ndarray
        Agent by plot.
    by_clock : bool
        Whether a clock stopped any search.
    """

    days: Days
    agent_of: Ints
    by_clock: bool = False


def alone(task: Task, begun: Found, effort: Effort, run: Run) -> Found:
    """Plan the days of each agent; pieces of its season that have all their visits stand.

    Parameters
    ----------
    task : Task
        What is planned.
    begun : Found
        Who follows which plot, and days to begin with; visits of others in them are left out.
    effort : Effort
        When to stop.
    run : Callable
        What works several tasks, as ``map`` does.

    Returns
    -------
    Found
        Days with nobody's visits but the agent's own.
    """
    owner, may = begun.agent_of[task.visits.plot], task.may()
    days: Days = {}
    parts = []
    for agent in np.unique(owner[owner != NOBODY]):
        visits = np.flatnonzero((owner == agent) & may[agent])
        shifts = np.flatnonzero(task.shifts.agent == agent)
        for piece in pieces(task, visits, shifts):
            stands = {day: begun.days[day] for day in piece.shifts.tolist() if day in begun.days}
            made = sorted(visit for order in stands.values() for visit in order)
            if made == piece.visits.tolist():
                days |= stands
            else:
                parts.append(Part.of(task, begun.days, piece.visits, piece.shifts))
    routes: list[Routes] = list(run(_routed, parts, [effort] * len(parts)))
    for part, found in zip(parts, routes, strict=True):
        days.update(part.back(found.by_shift()))
    fill(task, days, begun.agent_of)
    return Found(days, begun.agent_of, begun.by_clock or any(one.by_clock for one in routes))


def _routed(part: Part, effort: Effort) -> Routes:
    return route(part.task, effort, part.start if len(part.start.visit) else None)


def worth(task: Task, days: Days) -> tuple[int, ...]:
    """Rank plans: what is left out by priority, and then time on the road.

    Parameters
    ----------
    task : Task
        What is planned.
    days : dict[int, list[int]]
        Visits in order by the number of the day.

    Returns
    -------
    tuple[int, ...]
        Less is better.
    """
    levels = int(task.visits.priority.max(initial=0)) + 1
    missing = np.bincount(task.visits.priority[left_out(task, days)], minlength=levels).tolist()
    return (*missing, sum(travel(task, shift, order) for shift, order in days.items() if order))
