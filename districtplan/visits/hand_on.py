"""Plots handed on from agents whose visits don't all fit to neighbours, until they do.

A plot that lies among another agent's goes to that one first; where both are full, for another
*in return*. Both are planned again, piece by piece of their season; what they had stands where a
search doesn't fit all in. A plot that makes room but finds none with its taker is handed over all
the same where nothing else helps: the taker then hands on another, and so what is left out wanders
to who has hours to spare. No plot is handed on twice, so that ends.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.visits.assign import NOBODY
from districtplan.visits.fit import left_out, travel
from districtplan.visits.near import leaning, nearest
from districtplan.visits.part import Part
from districtplan.visits.pieces import pieces
from districtplan.visits.route import route

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.alone import Found, Run
    from districtplan.visits.fit import Days
    from districtplan.visits.route import Effort, Routes
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

TAKERS = 3
"""Agents with the nearest plots who are asked to take one."""
AT_ONCE = 4
"""Ways tried at a time: the first that helps is taken."""


class _Way(NamedTuple):
    """Who gives which plot away, who takes it and what he gives in return, if anything."""

    plot: int
    giver: int
    taker: int
    back: int = NOBODY

    def agent_of(self, before: Ints) -> Ints:
        """Tell who follows which plot after it."""
        after = before.copy()
        after[self.plot] = self.taker
        if self.back != NOBODY:
            after[self.back] = self.giver
        return after


class _Outcome(NamedTuple):
    """Days of both agents after it, and whether less is left out, or as much by another."""

    way: _Way
    days: Days
    is_better: bool


class Turns(NamedTuple):
    """How plots are handed on.

    Attributes
    ----------
    trials : int
        Ways that are tried in all.
    each : int
        Ways that are tried before another agent's turn.
    in_return : bool
        Whether the taker gives a plot in return.
    """

    trials: int
    each: int
    in_return: bool


def handed_on(task: Task, found: Found, turns: Turns, effort: Effort, run: Run) -> Found:
    """Hand plots on to whoever can fit their visits in.

    Parameters
    ----------
    task : Task
        What is planned.
    found : Found
        Days as they stand, each agent's planned alone.
    turns : Turns
        How plots are handed on.
    effort : Effort
        When to stop one search; those here have half of it.
    run : Callable
        What works several tasks, as ``map`` does.

    Returns
    -------
    Found
        Days that leave out no more.
    """
    # Where all are full nobody has to be asked.
    trials = round(turns.trials * _hope(task, found))
    if not trials:
        return found
    half = replace(effort, iterations=effort.iterations // 2, stale=effort.stale // 2)
    owner = found.agent_of[task.visits.plot]
    near = [nearest(task, owner, agent)[:TAKERS] for agent in range(len(task.crew))]
    settled: set[int] = set()
    stuck: dict[int, list[_Outcome]] = {}
    while trials > 0:
        giver = _shortest(task, found, stuck)
        if giver != NOBODY:
            ways = [
                way
                for way in _ways(task, found.agent_of, giver, near[giver], turns)
                if settled.isdisjoint((way.plot, way.back))
            ][: min(turns.each, trials)]
            trials -= len(ways)
            outcomes, by_clock = _tried(task, found, ways, half, run)
            found = found._replace(by_clock=found.by_clock or by_clock)
            if not (outcomes and outcomes[-1].is_better):
                stuck[giver] = outcomes
                continue
            chosen = outcomes[-1]
        else:
            spare = [outcome for outcomes in stuck.values() for outcome in outcomes]
            if not spare:
                break
            room = _room_near(task, found, near)
            chosen = max(spare, key=lambda one: (room[one.way.taker], -one.way.plot))
        found = _taken(task, found, chosen)
        settled |= {chosen.way.plot, chosen.way.back} - {NOBODY}
        changed = {chosen.way.giver, chosen.way.taker}
        stuck = {
            agent: outcomes
            for agent, outcomes in stuck.items()
            if not changed & {agent, *near[agent]}
        }
    return found


def _room(task: Task, days: Days) -> Ints:
    """Tell how many seconds each day has to spare, shape (days,)."""
    shifts = task.shifts
    room: Ints = np.minimum(shifts.returns - shifts.leaves, shifts.longest).astype(np.int64)
    for shift, order in days.items():
        room[shift] -= travel(task, shift, order) + task.visits.service[order].sum()
    return room


def _room_near(task: Task, found: Found, near: list[list[int]]) -> list[int]:
    """Tell how many seconds the days of an agent's neighbours have to spare, by agent."""
    room = np.zeros(len(task.crew), np.int64)
    np.add.at(room, task.shifts.agent, _room(task, found.days))
    return [int(room[some].max(initial=0)) for some in near]


def _hope(task: Task, found: Found) -> float:
    """Estimate which share of what is left out could be fitted in.

    What the hours left would hold if all of it were as short as the shortest, and one visit more
    by shorter ways.
    """
    visits, shifts = task.visits, task.shifts
    missing = np.array(left_out(task, found.days), np.int64)
    missing = missing[found.agent_of[visits.plot[missing]] != NOBODY]
    if not len(missing):
        return 0.0
    opens, closes = visits.opens[missing], visits.closes[missing]
    may = ((shifts.leaves[:, None] <= closes) & (shifts.returns[:, None] >= opens)).any(axis=1)
    shortest = max(int(visits.service[missing].min()), 1)
    held = int((_room(task, found.days)[may] // shortest).sum()) + 1
    return min(held / len(missing), 1.0)


def _taken(task: Task, found: Found, outcome: _Outcome) -> Found:
    """Let both agents have the days that came of a way."""
    way = outcome.way
    others = {
        shift: order
        for shift, order in found.days.items()
        if task.shifts.agent[shift] not in (way.giver, way.taker)
    }
    return found._replace(days=others | outcome.days, agent_of=way.agent_of(found.agent_of))


def _shortest(task: Task, found: Found, stuck: dict[int, list[_Outcome]]) -> int:
    """Name the agent with fewest visits left out: they are soonest helped."""
    owner = found.agent_of[task.visits.plot[left_out(task, found.days)]]
    agent, short = np.unique(owner[owner != NOBODY], return_counts=True)
    open_to_help = ~np.isin(agent, list(stuck))
    agent, short = agent[open_to_help], short[open_to_help]
    return int(agent[short.argmin()]) if len(agent) else NOBODY


def _ways(task: Task, agent_of: Ints, giver: int, takers: list[int], turns: Turns) -> list[_Way]:
    """List ways to hand on an agent's plots, those first that lie most among another's."""
    found = []
    for taker in takers:
        away = leaning(task, agent_of, giver, taker)
        if turns.in_return:
            back = leaning(task, agent_of, taker, giver)
            found += [
                (lean + his, _Way(plot, giver, taker, other))
                for plot, lean in away.items()
                for other, his in back.items()
            ]
        else:
            found += [(lean, _Way(plot, giver, taker)) for plot, lean in away.items()]
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
        owner = found.agent_of[task.visits.plot]
        theirs = [np.isin(owner, (way.giver, way.taker)) for way in some]
        limits = [_lacking(task, found.days, both) for both in theirs]
        answers = list(run(_answered, parts, limits, [effort] * len(parts)))
        for way, days, asked, routes, both, before in zip(
            some, kept, parts, answers, theirs, limits, strict=True
        ):
            by_clock |= any(answer.by_clock for answer in routes)
            if len(routes) < len(asked):
                continue
            for part, answer in zip(asked, routes, strict=True):
                for shift in part.shifts.tolist():
                    days.pop(shift, None)
                days.update(part.back(answer.by_shift()))
            his = way.agent_of(found.agent_of)[task.visits.plot] == way.giver
            after = _lacking(task, days, both)
            if after < before or (after == before and not any(_lacking(task, days, his))):
                outcomes.append(_Outcome(way, days, after < before))
            if after < before:
                return outcomes, by_clock
    return outcomes, by_clock


def _without(task: Task, found: Found, way: _Way) -> Days:
    """Give the days of both agents without what changes hands."""
    return {
        shift: [visit for visit in order if task.visits.plot[visit] not in (way.plot, way.back)]
        for shift, order in found.days.items()
        if task.shifts.agent[shift] in (way.giver, way.taker)
    }


def _parts(task: Task, found: Found, days: Days, way: _Way) -> list[Part]:
    """List pieces of both agents' seasons that lack visits once the plot is handed on."""
    owner = way.agent_of(found.agent_of)[task.visits.plot]
    made = set().union(*days.values())
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


def _answered(parts: list[Part], limit: tuple[int, ...], effort: Effort) -> list[Routes]:
    """Plan pieces, no worse than they stand, as long as no more is left out than the limit."""
    answers: list[Routes] = []
    lacking = np.zeros(len(limit), np.int64)
    for part in parts:
        answers.append(route(part.task, effort, part.start))
        without = np.setdiff1d(np.arange(len(part.task.visits)), answers[-1].visit)
        lacking += np.bincount(part.task.visits.priority[without], minlength=len(limit))
        if tuple(lacking.tolist()) > limit:
            return answers[:-1]
    return answers


def _lacking(task: Task, days: Days, some: NDArray[np.bool_]) -> tuple[int, ...]:
    """Count which of some visits no day has, by priority."""
    levels = int(task.visits.priority.max(initial=0)) + 1
    missing = [visit for visit in left_out(task, days) if some[visit]]
    return tuple(np.bincount(task.visits.priority[missing], minlength=levels).tolist())
