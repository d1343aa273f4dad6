"""Who makes which visit on which day.

Plots are given to agents (:mod:`~.assign`), then the days of each agent are planned alone
(:mod:`~.alone`). Who can't fit all in hands plots on (:mod:`~.hand_on`). Then agents are planned
together (:mod:`~.together`), all of them where there are few, else those whose visits still don't
all fit, with their neighbours. What is left out then may fit once two agents change plots.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from districtplan.visits.alone import Found, alone
from districtplan.visits.assign import assign
from districtplan.visits.fit import left_out
from districtplan.visits.hand_on import Turns, handed_on
from districtplan.visits.limits import keep_to
from districtplan.visits.reasons import reason
from districtplan.visits.room import moved
from districtplan.visits.route import Effort
from districtplan.visits.together import shared
from districtplan.workers import workers

if TYPE_CHECKING:
    from collections.abc import Generator

    import numpy as np
    from numpy.typing import NDArray

    from districtplan.visits.alone import Run
    from districtplan.visits.assign import Assigned
    from districtplan.visits.fit import Days
    from districtplan.visits.reasons import Reason
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

TOGETHER = (4, 3, 2)
"""Agents planned together at most, in turn, until all visits fit."""
HANDED_ON = Turns(240, 12, in_return=False)
"""How plots change hands before that."""
EXCHANGED = Turns(96, 48, in_return=True)
"""And after it."""
PROCESSES = 2
"""Agents planned at a time; the plan is the same with any number."""
ALONE_MOST = 100
"""Visits up to which no other process is worth its start."""


@dataclass(frozen=True)
class Schedule:
    """A plan of visits.

    Attributes
    ----------
    days : dict[int, list[int]]
        Visits in order by the number of the day.
    agent_of : numpy.ndarray
        Agent by plot, -1 where nobody can go there.
    dropped : dict[int, Reason]
        Visits that no day has, with the reason.
    assigned : Assigned
        How plots were shared out at first.
    reproducible : bool
        Whether the same task gives the same plan: no clock stopped the search.
    """

    days: Days
    agent_of: Ints
    dropped: dict[int, Reason]
    assigned: Assigned
    reproducible: bool


def schedule(task: Task, effort: Effort | None = None, processes: int = PROCESSES) -> Schedule:
    """Plan visits.

    Parameters
    ----------
    task : Task
        What is planned.
    effort : Effort | None, default None
        When to stop; None for as usual.
    processes : int, default PROCESSES
        Agents planned at a time.

    Returns
    -------
    Schedule
        The plan. No visit that it leaves out for want of room fits into its agent's days as they
        stand.
    """
    effort = effort or Effort()
    assigned = assign(task)
    with _running(1 if len(task.visits) <= ALONE_MOST else processes) as run:
        found = Found({}, assigned.agent)
        found = _settled(task, found, effort, run)
    days, agent_of = dict(found.days), found.agent_of
    why = keep_to(task, days)
    missing = left_out(task, days)
    for visit in missing:
        why.setdefault(visit, reason(task, visit, agent_of))
    return Schedule(
        {shift: days[shift] for shift in sorted(days) if days[shift]},
        agent_of,
        {visit: why[visit] for visit in missing},
        assigned,
        not found.by_clock,
    )


@contextlib.contextmanager
def _running(processes: int) -> Generator[Run]:
    """Give what works several tasks: one after the other, or some at a time."""
    if processes == 1:
        yield map
        return
    with workers(processes) as pool:
        yield pool.map


def _settled(task: Task, begun: Found, effort: Effort, run: Run) -> Found:
    """Plan each agent alone and then some together, until nothing is left out."""
    found = alone(task, begun, effort, run)
    found = handed_on(task, found, HANDED_ON, effort, run)
    for most in TOGETHER:
        found = moved(task, shared(task, found, most, effort, run))
        if not left_out(task, found.days):
            return found
    return moved(task, handed_on(task, found, EXCHANGED, effort, run))
