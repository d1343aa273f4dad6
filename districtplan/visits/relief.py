"""What would help, and what would hurt: the same season planned with more and with less."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from districtplan.visits.schedule import PROCESSES, schedule
from districtplan.visits.task import Crew, Shifts

if TYPE_CHECKING:
    from districtplan.visits.route import Effort
    from districtplan.visits.schedule import Schedule
    from districtplan.visits.task import Task

Change = Literal["one more agent", "a faster way", "a tank of fuel", "a cut of days"]


@dataclass(frozen=True)
class Relief:
    """How many visits a change makes room for.

    Attributes
    ----------
    change : Change
        What is changed.
    agent : int | None
        For whom; of one more agent, who works from the same base.
    gained : int
        Visits made more than before; below 0 where fewer are.
    """

    change: Change
    agent: int | None
    gained: int


def reliefs(
    task: Task,
    found: Schedule,
    tank_m: int,
    fastest: int,
    effort: Effort,
    processes: int = PROCESSES,
) -> list[Relief]:
    """Plan again with one more agent, a faster way to go about, or a tank of fuel.

    Parameters
    ----------
    task : Task
        What is planned.
    found : Schedule
        Its plan.
    tank_m : int
        How far a tank of fuel leads [m].
    fastest : int
        Number of the fastest mode.
    effort : Effort
        When to stop.
    processes : int, default PROCESSES
        Agents planned at a time.

    Returns
    -------
    list[Relief]
        What each would recover for the agent who leaves most visits out; empty where none are.
    """
    if not found.dropped:
        return []
    owner = found.agent_of[task.visits.plot[sorted(found.dropped)]]
    owner = owner[owner >= 0]
    agent = int(np.bincount(owner).argmax()) if len(owner) else 0
    furthest, mode = task.crew.furthest_m.copy(), task.crew.mode.copy()
    furthest[agent] += tank_m
    changed: list[tuple[Change, Task]] = [("one more agent", _one_more(task, agent))]
    if mode[agent] != fastest:
        mode[agent] = fastest
        changed.append(("a faster way", replace(task, crew=replace(task.crew, mode=mode))))
    if "fuel" in found.dropped.values():
        fuelled = replace(task.crew, furthest_m=furthest)
        changed.append(("a tank of fuel", replace(task, crew=fuelled)))
    return [
        Relief(change, agent, len(found.dropped) - len(schedule(other, effort, processes).dropped))
        for change, other in changed
    ]


def cut(
    task: Task, found: Schedule, share: float, effort: Effort, processes: int = PROCESSES
) -> Relief:
    """Plan again with fewer days: every so-manieth day of each agent is taken away.

    Parameters
    ----------
    task : Task
        What is planned.
    found : Schedule
        Its plan.
    share : float
        Share of each agent's days that is lost, above 0.
    effort : Effort
        When to stop.
    processes : int, default PROCESSES
        Agents planned at a time.

    Returns
    -------
    Relief
        How many visits that loses, as a number below 0.
    """
    agent = task.shifts.agent
    first = np.searchsorted(agent, agent)
    place = np.arange(len(agent)) - first
    lost = np.floor((place + 1) * share) > np.floor(place * share)
    fewer = task.only(np.arange(len(task.visits)), np.flatnonzero(~lost))
    dropped = schedule(fewer, effort, processes).dropped
    return Relief("a cut of days", None, len(found.dropped) - len(dropped))


def _one_more(task: Task, agent: int) -> Task:
    """Give the agent a twin, with the same base, days and villages."""
    crew, shifts, twin = task.crew, task.shifts, len(task.crew)
    mine = np.flatnonzero(shifts.agent == agent)
    own = shifts.take(mine)
    return replace(
        task,
        crew=Crew(
            np.append(crew.base, crew.base[agent]), np.append(crew.mode, crew.mode[agent]),
            np.vstack([crew.serves, crew.serves[agent]]),
            np.append(crew.furthest_m, crew.furthest_m[agent]),
            np.append(crew.days_most, crew.days_most[agent]),
        ),
        shifts=Shifts(
            np.append(shifts.agent, np.full(len(mine), twin)),
            np.append(shifts.leaves, own.leaves), np.append(shifts.returns, own.returns),
            np.append(shifts.longest, own.longest), np.append(shifts.carries, own.carries),
        ),
    )  # fmt: skip
