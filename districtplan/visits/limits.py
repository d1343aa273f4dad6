"""Fuel that is short, and days in the field that are paid: what must go, goes by priority."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.visits.fit import days_of, fit, metres, travel

if TYPE_CHECKING:
    from districtplan.visits.fit import Days
    from districtplan.visits.reasons import Reason
    from districtplan.visits.task import Task


def keep_to(task: Task, days: Days) -> dict[int, Reason]:
    """Leave out visits until no agent has more days than are paid, or rides further than it can.

    Parameters
    ----------
    task : Task
        What is planned.
    days : dict[int, list[int]]
        Visits in order by the number of the day; changed in place.

    Returns
    -------
    dict[int, Reason]
        Why, by the number of the visit.
    """
    why: dict[int, Reason] = {}
    for agent in range(len(task.crew)):
        for visit in _fewer_days(task, days, agent):
            why[visit] = "paid days"
        for visit in _nearer(task, days, agent):
            why[visit] = "fuel"
    return why


def _own(task: Task, days: Days, agent: int) -> list[int]:
    return [shift for shift in sorted(days) if days[shift] and task.shifts.agent[shift] == agent]


def _fewer_days(task: Task, days: Days, agent: int) -> list[int]:
    """Close days whose visits others can take over, or that matter least."""
    gone: list[int] = []
    while len(own := _own(task, days, agent)) > task.crew.days_most[agent]:
        closed = min((_closing(task, days, shift, own) for shift in own), key=lambda one: one[0])
        _, shift, moved, lost = closed
        days.update(moved)
        days.pop(shift)
        gone += lost
    return gone


def _closing(
    task: Task, days: Days, shift: int, own: list[int]
) -> tuple[tuple[int, ...], int, Days, list[int]]:
    """Say what closing a day loses: visits by priority, and then ways."""
    others = {other: days[other] for other in own if other != shift}
    before = sum(travel(task, other, days[other]) for other in own)
    lost = []
    for visit in sorted(days[shift], key=lambda visit: int(task.visits.priority[visit])):
        open_days = [day for day in days_of(task, visit, [_agent(task, shift)]) if day in others]
        found = fit(task, others, visit, open_days)
        if found is None:
            lost.append(visit)
        else:
            others[found.shift] = found.order
    after = sum(travel(task, other, order) for other, order in others.items())
    levels = int(task.visits.priority.max()) + 1
    by_level = np.bincount(task.visits.priority[lost], minlength=levels).tolist()
    return (*by_level, after - before), shift, others, lost


def _agent(task: Task, shift: int) -> int:
    return int(task.shifts.agent[shift])


def _nearer(task: Task, days: Days, agent: int) -> list[int]:
    """Leave out what saves most metres, of the last priority first; then take back what fits."""
    own = _own(task, days, agent)
    ridden = {shift: metres(task, shift, days[shift]) for shift in own}
    most, gone = int(task.crew.furthest_m[agent]), list[int]()
    while sum(ridden.values()) > most:
        saved = [
            (
                -int(task.visits.priority[visit]),
                _without(task, days, shift, visit) - far,
                visit,
                shift,
            )
            for shift, far in ridden.items()
            for visit in days[shift]
        ]
        _, _, visit, shift = min(saved)
        days[shift] = [other for other in days[shift] if other != visit]
        ridden[shift] = metres(task, shift, days[shift]) if days[shift] else 0
        gone.append(visit)
    taken = set()
    for visit in sorted(gone, key=lambda visit: (int(task.visits.priority[visit]), visit)):
        found = fit(
            task, days, visit, [day for day in days_of(task, visit, [agent]) if day in ridden]
        )
        if found is None:
            continue
        longer = metres(task, found.shift, found.order)
        if sum(ridden.values()) - ridden[found.shift] + longer <= most:
            days[found.shift], ridden[found.shift] = found.order, longer
            taken.add(visit)
    for shift in own:
        if not days[shift]:
            days.pop(shift)
    return [visit for visit in gone if visit not in taken]


def _without(task: Task, days: Days, shift: int, visit: int) -> int:
    order = [other for other in days[shift] if other != visit]
    return metres(task, shift, order) if order else 0
