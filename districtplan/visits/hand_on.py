"""Plots handed on from agents whose visits don't all fit to neighbours, until they do.

A plot that lies among another agent's goes to that one first. Both are planned again, piece by
piece of their season; what they had stands where a search doesn't fit all in. A plot that makes
room but finds none with its taker is handed over all the same where nothing else helps: the taker
then hands on another, and so what is left out wanders to who has hours to spare. No plot is handed
on twice, so that ends.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.visits.assign import NOBODY
from districtplan.visits.fit import left_out, travel
from districtplan.visits.part import Part
from districtplan.visits.pieces import pieces
from districtplan.visits.route import route
from districtplan.visits.task import NO_WAY_S

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.alone import Found, Run
    from districtplan.visits.fit import Days
    from districtplan.visits.route import Effort, Routes
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

TAKERS = 3
"""Agents with the nearest bases who are asked to take a plot."""
AMONG = 3
"""Nearest plots of an agent that say whether another plot lies among his."""
TRIED = 12
"""Ways to hand a plot on that are tried before another agent's turn."""
AT_ONCE = 4
"""Of these, so many at a time: the first that helps is taken."""
TRIALS = 240
"""Ways to hand a plot on that are tried in all."""


class _Way(NamedTuple):
    """A plot, who gives it away and who takes it."""

    plot: int
    giver: int
    taker: int


class _Outcome(NamedTuple):
    """Days of both agents after it, and whether less is left out, or as much by another."""

    way: _Way
    days: Days
    is_better: bool


def handed_on(task: Task, found: Found, effort: Effort, run: Run) -> Found:
    """Hand plots on to whoever can fit their visits in.

    Parameters
    ----------
    task : Task
        What is planned.
    found : Found
        Days as they stand, each agent's planned alone.
    effort : Effort
        When to stop one search; those here have half of it.
    run : Callable
        What works several tasks, as ``map`` does.

    Returns
    -------
    Found
        Days that leave out no more.
    """
    half = replace(effort, iterations=effort.iterations // 2, stale=effort.stale // 2)
    near = _near(task)
    settled: set[int] = set()
    stuck: dict[int, list[_Outcome]] = {}
    trials = TRIALS
    while trials > 0:
        giver = _shortest(task, found, stuck)
        if giver != NOBODY:
            ways = [way for way in _ways(task, found.agent_of, giver) if way.plot not in settled]
            trials -= len(ways[:TRIED])
            outcomes, by_clock = _tried(task, found, ways[:TRIED], half, run)
            found = found._replace(by_clock=found.by_clock or by_clock)
            if not (outcomes and outcomes[-1].is_better):
                stuck[giver] = outcomes
                continue
            chosen = outcomes[-1]
        else:
            spare = [outcome for outcomes in stuck.values() for outcome in outcomes]
            if not spare:
                break
            room = _room_near(task, found)
            chosen = max(spare, key=lambda one: (room[one.way.taker], -one.way.plot))
        found = _taken(task, found, chosen)
        settled.add(chosen.way.plot)
        changed = {chosen.way.giver, chosen.way.taker}
        stuck = {
            agent: outcomes
            for agent, outcomes in stuck.items()
            if not changed & {agent, *near[agent]}
        }
    return found


def _near(task: Task) -> list[list[int]]:
    """List the agents with the nearest bases, by agent."""
    found = []
    for agent, base in enumerate(task.crew.base):
        away = task.ways.seconds[task.crew.mode[agent]][base, task.crew.base]
        others = [other for other in np.argsort(away, kind="stable").tolist() if other != agent]
        found.append(others[:TAKERS])
    return found


def _room_near(task: Task, found: Found) -> list[int]:
    """Tell how many seconds the days of an agent's neighbours have to spare, by agent."""
    shifts = task.shifts
    room = np.zeros(len(task.crew), np.int64)
    np.add.at(room, shifts.agent, np.minimum(shifts.returns - shifts.leaves, shifts.longest))
    for shift, order in found.days.items():
        room[shifts.agent[shift]] -= travel(task, shift, order) + task.visits.service[order].sum()
    return [int(room[near].max(initial=0)) for near in _near(task)]


def _taken(task: Task, found: Found, outcome: _Outcome) -> Found:
    """Let both agents have the days that came of a way."""
    way, agent_of = outcome.way, found.agent_of.copy()
    agent_of[way.plot] = way.taker
    others = {
        shift: order
        for shift, order in found.days.items()
        if task.shifts.agent[shift] not in (way.giver, way.taker)
    }
    return found._replace(days=others | outcome.days, agent_of=agent_of)


def _shortest(task: Task, found: Found, stuck: dict[int, list[_Outcome]]) -> int:
    """Name the agent with fewest visits left out: they are soonest helped."""
    owner = found.agent_of[task.visits.plot[left_out(task, found.days)]]
    agent, short = np.unique(owner[owner != NOBODY], return_counts=True)
    open_to_help = ~np.isin(agent, list(stuck))
    agent, short = agent[open_to_help], short[open_to_help]
    return int(agent[short.argmin()]) if len(agent) else NOBODY


def _ways(task: Task, agent_of: Ints, giver: int) -> list[_Way]:
    """List ways to hand on an agent's plots, those first that lie most among another's."""
    plot, first, number = np.unique(task.visits.plot, return_index=True, return_inverse=True)
    place, owner = task.visits.place[first], agent_of[plot]
    barred = np.zeros((len(plot), len(task.crew)), np.int64)
    np.add.at(barred, number, ~task.may().T)
    seconds = task.ways.seconds[task.crew.mode[giver]]
    found = []
    for one in np.flatnonzero(owner == giver).tolist():
        away = seconds[place[one], place].astype(np.int64)
        away[one] = NO_WAY_S
        base = seconds[place[one], task.crew.base]
        near = [agent for agent in np.argsort(base, kind="stable").tolist() if agent != giver]
        for taker in near[:TAKERS]:
            if not barred[one, taker] and base[taker] < NO_WAY_S:
                mine, his = (
                    np.sort(away[owner == agent])[:AMONG].sum() for agent in (giver, taker)
                )
                found.append((int(his - mine), _Way(int(plot[one]), giver, taker)))
    return [way for _, way in sorted(found)]


def _tried(
    task: Task, found: Found, ways: list[_Way], effort: Effort, run: Run
) -> tuple[list[_Outcome], bool]:
    """Try ways in turn until one leaves out less, the last told; say if a clock stopped any."""
    outcomes, by_clock = [], False
    for begin in range(0, len(ways), AT_ONCE):
        some = ways[begin : begin + AT_ONCE]
        kept = [_without(task, found, way) for way in some]
        parts = [_parts(task, found, days, way) for days, way in zip(kept, some, strict=True)]
        answers = list(run(_answered, parts, [effort] * len(parts)))
        by_clock |= any(answer.by_clock for routes in answers for answer in routes)
        for way, days, asked, routes in zip(some, kept, parts, answers, strict=True):
            for part, answer in zip(asked, routes, strict=True):
                for shift in part.shifts.tolist():
                    days.pop(shift, None)
                days.update(part.back(answer.by_shift()))
            owner = found.agent_of[task.visits.plot]
            his, others = owner == way.giver, owner == way.taker
            before, after = (_lacking(task, told, his | others) for told in (found.days, days))
            his &= task.visits.plot != way.plot
            if after < before or (after == before and not any(_lacking(task, days, his))):
                outcomes.append(_Outcome(way, days, after < before))
            if after < before:
                return outcomes, by_clock
    return outcomes, by_clock


def _without(task: Task, found: Found, way: _Way) -> Days:
    """Give the days of both agents without the plot."""
    return {
        shift: [visit for visit in order if task.visits.plot[visit] != way.plot]
        for shift, order in found.days.items()
        if task.shifts.agent[shift] in (way.giver, way.taker)
    }


def _parts(task: Task, found: Found, days: Days, way: _Way) -> list[Part]:
    """List pieces of both agents' seasons that lack visits once the plot is handed on."""
    agent_of = found.agent_of.copy()
    agent_of[way.plot] = way.taker
    owner, made = agent_of[task.visits.plot], set().union(*days.values())
    every = [
        piece
        for agent in (way.taker, way.giver)
        for piece in pieces(
            task, np.flatnonzero(owner == agent), np.flatnonzero(task.shifts.agent == agent)
        )
    ]
    return [
        Part.of(task, days, piece.visits, piece.shifts)
        for piece in every
        if not made.issuperset(piece.visits.tolist())
    ]


def _answered(parts: list[Part], effort: Effort) -> list[Routes]:
    """Plan pieces, no worse than they stand."""
    return [route(part.task, effort, part.start) for part in parts]


def _lacking(task: Task, days: Days, some: NDArray[np.bool_]) -> tuple[int, ...]:
    """Count which of some visits no day has, by priority."""
    levels = int(task.visits.priority.max(initial=0)) + 1
    missing = [visit for visit in left_out(task, days) if some[visit]]
    return tuple(np.bincount(task.visits.priority[missing], minlength=levels).tolist())
