"""Agents planned together, so that plots go to whoever fits them in best.

A model of several agents may send two of them to one plot, so it says who follows a plot only where
a plot has one visit in it: in one piece of the season, or in a *typical round*, which makes each
plot's mean visit once in a day of no date. What it says is a proposal: the days of all agents are
planned alone with it, and the better plan is kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.visits.alone import Found, alone, worth
from districtplan.visits.assign import NOBODY
from districtplan.visits.fit import left_out
from districtplan.visits.near import nearest
from districtplan.visits.part import Part
from districtplan.visits.pieces import Piece, pieces
from districtplan.visits.route import route
from districtplan.visits.task import ANYONE, DAY_S, Shifts, Task, Visits

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.alone import Run
    from districtplan.visits.route import Effort, Routes

    Ints = NDArray[np.int64]

AT_ONCE_MOST = 650
"""Visits up to which all of several agents' are planned at once."""
PROPOSALS = 2
"""Pieces of their season by which it is then asked who follows which plot."""
SMALL_TIMES = 4
"""Pieces with so many times fewer visits than the largest say too little."""
SEVERAL = 1.25
"""Visits a plot from which a piece doesn't say who follows it."""


class _Asked(NamedTuple):
    """A part, who follows its plots so far, and what is asked: a piece, or None for a round."""

    part: Part
    agent_of: Ints
    by: Piece | None


def shared(task: Task, found: Found, most: int, effort: Effort, run: Run) -> Found:
    """Plan some agents together; keep what betters their days.

    Parameters
    ----------
    task : Task
        What is planned.
    found : Found
        Days as they stand.
    most : int
        Agents planned together at most: fewer are planned more thoroughly.
    effort : Effort
        When to stop.
    run : Callable
        What works several tasks, as ``map`` does.

    Returns
    -------
    Found
        Days that are no worse.
    """
    owner = found.agent_of[task.visits.plot]
    asked = []
    for group in _groups(task, found, most):
        visits = np.flatnonzero(np.isin(owner, group))
        shifts = np.flatnonzero(np.isin(task.shifts.agent, group))
        part = Part.of(task, found.days, visits, shifts)
        asked += [_Asked(part, found.agent_of, by) for by in _proposals(part)]
    answers: list[Found] = list(run(_answer, asked, [effort] * len(asked)))
    days, agent_of, by_clock = dict(found.days), found.agent_of.copy(), found.by_clock
    best: dict[int, tuple[tuple[int, ...], Part, Found]] = {}
    for one, answer in zip(asked, answers, strict=True):
        by_clock |= answer.by_clock
        rank, first = worth(one.part.task, answer.days), int(one.part.shifts[0])
        if first not in best or rank < best[first][0]:
            best[first] = rank, one.part, answer
    for _, part, answer in best.values():
        for shift in part.shifts.tolist():
            days.pop(shift, None)
        days.update(part.back(answer.days))
        plots = np.unique(part.task.visits.plot)
        agent_of[plots] = answer.agent_of[plots]
    return Found(days, agent_of, by_clock)


def _groups(task: Task, found: Found, most: int) -> list[Ints]:
    """List agents to be planned together: those with visits left out, and who is nearest to them.

    Each agent is in one group at most.
    """
    agents = np.unique(task.shifts.agent)
    owner = found.agent_of[task.visits.plot]
    count = np.bincount(owner[owner != NOBODY], minlength=len(task.crew))
    if len(agents) <= 1 or not len(owner):
        return []
    if count.sum() <= AT_ONCE_MOST and len(agents) <= most:
        return [agents]
    missing = owner[left_out(task, found.days)]
    short = np.bincount(missing[missing != NOBODY], minlength=len(task.crew))
    free, groups = set(agents.tolist()), []
    for agent in np.argsort(-short, kind="stable").tolist():
        if not short[agent] or agent not in free:
            continue
        near = [other for other in nearest(task, owner, agent) if other in free]
        group = [agent, *near[: most - 1]]
        if len(group) > 1:
            free -= set(group)
            groups.append(np.array(sorted(group)))
    return groups


def _proposals(part: Part) -> list[Piece | None]:
    """List what may say who follows which plot, most wanting first."""
    task = part.task
    every = pieces(task, np.arange(len(task.visits)), np.arange(len(task.shifts)))
    made = np.isin(np.arange(len(task.visits)), part.start.visit)
    missing = [-int((~made[piece.visits]).sum()) for piece in every]
    largest = max((len(piece.visits) for piece in every), default=0)
    ranked = [
        every[place]
        for place in np.argsort(missing, kind="stable")
        if SMALL_TIMES * len(every[place].visits) >= largest
    ]
    one_each = [
        piece
        for piece in ranked
        if len(piece.visits) < SEVERAL * len(np.unique(task.visits.plot[piece.visits]))
    ]
    if len(task.visits) <= AT_ONCE_MOST:
        return [*ranked, None]
    return one_each[:PROPOSALS] or [None]


def _answer(asked: _Asked, effort: Effort) -> Found:
    """Plan agents at once, then each with the plots that it mostly went to."""
    task, start = asked.part.task, asked.part.start
    before = Found(start.by_shift(), asked.agent_of)
    if asked.by is None:
        part, days = Part.whole(typical_round(task)), dict(before.days)
    else:
        part = Part.of(task, before.days, *asked.by)
        kept = np.setdiff1d(np.arange(len(task.shifts)), asked.by.shifts).tolist()
        days = {shift: before.days[shift] for shift in kept if shift in before.days}
    at_once = route(part.task, effort, part.start if len(part.start.visit) else None)
    if asked.by is not None:
        days |= part.back(at_once.by_shift())
    most = majority(part.task, at_once, asked.agent_of)
    again = alone(task, Found(days, most, at_once.by_clock), effort, map)
    before = before._replace(by_clock=again.by_clock)
    return min(before, again, key=lambda found: worth(task, found.days))


def majority(task: Task, routes: Routes, agent_of: Ints) -> Ints:
    """Give each plot to the agent that makes most of its visits.

    Parameters
    ----------
    task : Task
        What was planned.
    routes : Routes
        Its days, perhaps with several agents at a plot.
    agent_of : numpy.ndarray
        Agent by plot so far, who keeps it among equals and where nobody goes, shape (plots,).

    Returns
    -------
    numpy.ndarray
        Agent by plot, shape (plots,).
    """
    count = np.zeros((len(task.crew), len(agent_of)), np.int64)
    np.add.at(count, (task.shifts.agent[routes.shift], task.visits.plot[routes.visit]), 2)
    known = np.flatnonzero(agent_of != NOBODY)
    count[agent_of[known], known] += 1
    found: Ints = np.where(count.any(axis=0), count.argmax(axis=0), agent_of)
    return found


def typical_round(task: Task) -> Task:
    """Make one visit of each plot, in days of no date.

    Parameters
    ----------
    task : Task
        What is planned.

    Returns
    -------
    Task
        Visits of all plots, each as long as all of the plot's are over as many rounds as the plot
        with most visits has; and of each agent's days as many as one round has.
    """
    visits, shifts = task.visits, task.shifts
    plot, first, number = np.unique(visits.plot, return_index=True, return_inverse=True)
    rounds = int(np.bincount(number).max(initial=1))
    none, bound = np.zeros(len(plot), np.int64), np.full(len(plot), ANYONE)
    np.maximum.at(bound, number, visits.agent)
    one = Visits(
        visits.place[first], plot, none, none + DAY_S,
        np.bincount(number, visits.service).astype(np.int64) // rounds, none,
        bound, none,
    )  # fmt: skip
    days = []
    for agent in range(len(task.crew)):
        own = np.flatnonzero(shifts.agent == agent)
        days += own[::rounds][: max(len(own) // rounds, 1)].tolist()
    taken = shifts.take(np.array(days, np.int64))
    long = np.minimum(taken.returns - taken.leaves, taken.longest)
    free = np.zeros(len(days), np.int64)
    return Task(one, task.crew, Shifts(taken.agent, free, long, long, taken.carries), task.ways)
