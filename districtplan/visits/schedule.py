"""Who makes which visit on which day.

Plots are given to agents (:mod:`~.assign`), then the days of each agent are planned alone
(:mod:`~.route`). Then agents are planned together, all of them where there are few visits, else
those whose visits don't all fit, with their neighbours; each plot goes to the agent that made most
of its visits, whose days are planned alone again, and the better of the two is kept.
"""

from __future__ import annotations

import contextlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from districtplan.visits.assign import NOBODY, assign
from districtplan.visits.fit import days_of, fill, fit, left_out, travel
from districtplan.visits.limits import keep_to
from districtplan.visits.part import Part
from districtplan.visits.reasons import reason
from districtplan.visits.route import Effort, Routes, route

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from districtplan.visits.assign import Assigned
    from districtplan.visits.fit import Days
    from districtplan.visits.reasons import Reason
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]
    Run = Callable[..., Iterable[Any]]

TOGETHER_MOST = 650
"""Visits up to which agents are planned together."""
GROUP = 3
"""Agents planned together where there are more visits than that."""
ROUNDS = 2
"""Times that agents whose visits don't all fit are planned with neighbours at most."""
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


class _Found(NamedTuple):
    """Days, agent by plot, and whether a clock stopped any search."""

    days: Days
    agent_of: Ints
    by_clock: bool = False


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
        found = _alone(task, _Found({}, assigned.agent), effort, run)
        for _ in range(ROUNDS):
            found = _moved(task, _shared(task, found, effort, run))
            if not left_out(task, found.days):
                break
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
def _running(processes: int) -> Iterator[Run]:
    """Give what works several tasks: one after the other, or some at a time."""
    if processes == 1:
        yield map
        return
    # Started anew and not forked: threads of compiled loops don't outlive a fork.
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        yield pool.map


def _alone(task: Task, begun: _Found, effort: Effort, run: Run) -> _Found:
    """Plan the days of each agent by itself."""
    agent_of = begun.agent_of
    parts, owner, may = [], agent_of[task.visits.plot], task.may()
    for agent in np.unique(owner[owner != NOBODY]):
        visits = np.flatnonzero((owner == agent) & may[agent])
        shifts = np.flatnonzero(task.shifts.agent == agent)
        if len(visits) and len(shifts):
            parts.append(Part.of(task, begun.days, visits, shifts))
    routes: list[Routes] = list(run(_routed, parts, [effort] * len(parts)))
    days: Days = {}
    for part, found in zip(parts, routes, strict=True):
        days.update(part.back(found.by_shift()))
    fill(task, days, agent_of)
    return _Found(days, agent_of, begun.by_clock or any(found.by_clock for found in routes))


def _routed(part: Part, effort: Effort) -> Routes:
    return route(part.task, effort, part.start)


def _shared(task: Task, found: _Found, effort: Effort, run: Run) -> _Found:
    """Plan some agents together; keep what betters their days."""
    owner = found.agent_of[task.visits.plot]
    parts = []
    for group in _groups(task, found):
        visits = np.flatnonzero(np.isin(owner, group))
        shifts = np.flatnonzero(np.isin(task.shifts.agent, group))
        parts.append(Part.of(task, found.days, visits, shifts))
    days, agent_of, by_clock = dict(found.days), found.agent_of.copy(), found.by_clock
    known, efforts = [found.agent_of] * len(parts), [effort] * len(parts)
    for part, better in zip(parts, run(_together, parts, known, efforts), strict=True):
        by_clock |= better.by_clock
        for shift in part.shifts.tolist():
            days.pop(shift, None)
        days.update(part.back(better.days))
        plots = np.unique(part.task.visits.plot)
        agent_of[plots] = better.agent_of[plots]
    return _Found(days, agent_of, by_clock)


def _groups(task: Task, found: _Found) -> list[Ints]:
    """List agents to be planned together: those with visits left out, and who is nearest to them.

    Each agent is in one group at most.
    """
    agents = np.unique(task.shifts.agent)
    owner = found.agent_of[task.visits.plot]
    count = np.bincount(owner[owner != NOBODY], minlength=len(task.crew))
    if len(agents) == 1 or not len(owner):
        return []
    if count.sum() <= TOGETHER_MOST:
        return [agents]
    missing = owner[left_out(task, found.days)]
    short = np.bincount(missing[missing != NOBODY], minlength=len(task.crew))
    free, groups = set(agents.tolist()), []
    for agent in np.argsort(-short, kind="stable"):
        if not short[agent] or agent not in free:
            continue
        near = task.ways.seconds[task.crew.mode[agent]][task.crew.base[agent]][task.crew.base]
        group = [int(agent)]
        for other in np.argsort(near, kind="stable").tolist():
            full = count[[*group, other]].sum() > TOGETHER_MOST or len(group) == GROUP
            if other in free and other not in group and not full:
                group.append(other)
        if len(group) > 1:
            free -= set(group)
            groups.append(np.array(sorted(group)))
    return groups


def _together(part: Part, agent_of: Ints, effort: Effort) -> _Found:
    """Plan agents at once, then each with the plots that it mostly went to."""
    task = part.task
    at_once = route(task, effort, part.start)
    count = np.zeros((len(task.crew), len(agent_of)), np.int64)
    np.add.at(count, (task.shifts.agent[at_once.shift], task.visits.plot[at_once.visit]), 2)
    # Of equals, who had the plot before.
    plots = np.unique(task.visits.plot)
    count[agent_of[plots], plots] += 1
    most = agent_of.copy()
    most[plots] = count[:, plots].argmax(axis=0)
    again = _alone(task, _Found(at_once.by_shift(), most, at_once.by_clock), effort, map)
    before = _Found(part.start.by_shift(), agent_of, again.by_clock)
    return min(before, again, key=lambda found: worth(task, found.days))


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


def _moved(task: Task, found: _Found) -> _Found:
    """Make room for visits left out: their plot, or another of that agent, goes to a neighbour."""
    days, agent_of, may = dict(found.days), found.agent_of.copy(), task.may()
    for visit in left_out(task, days):
        agent = int(agent_of[task.visits.plot[visit]])
        made = any(visit in order for order in days.values())
        if agent == NOBODY or made or not may[agent, visit]:
            continue
        for plot in _near_others(task, days, agent_of, visit):
            moved = _given_away(task, days, agent_of, plot)
            if moved is None:
                continue
            without, other = moved
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
    for agent in np.argsort(near, kind="stable")[: GROUP + 1].tolist():
        if agent != now and agent in may:
            moved = _taken_over(task, dict(without), mine, agent)
            if moved is not None:
                return moved, agent
    return None


def _taken_over(task: Task, days: Days, visits: list[int], agent: int) -> Days | None:
    for visit in visits:
        found = fit(task, days, visit, days_of(task, visit, [agent]))
        if found is None:
            return None
        days[found.shift] = found.order
    return days
