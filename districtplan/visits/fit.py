"""Where a visit still fits into days that stand, and which days can be kept with less."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.visits.clocked import timed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

    Days = dict[int, list[int]]
"""Visits in order by the number of the day."""


class Fit(NamedTuple):
    """A place for a visit.

    Attributes
    ----------
    seconds : int
        How much longer the ways of that day become [s].
    shift : int
        Number of the day.
    order : list[int]
        The day's visits with it, in order.
    """

    seconds: int
    shift: int
    order: list[int]


def days_of(task: Task, visit: int, agents: Iterable[int]) -> list[int]:
    """List days on which some agents could begin a visit, if they had nothing else to do.

    Parameters
    ----------
    task : Task
        What is planned.
    visit : int
        Number of the visit.
    agents : Iterable[int]
        Agents by number.

    Returns
    -------
    list[int]
        Days by number, rising.
    """
    shifts, visits = task.shifts, task.visits
    some = np.isin(shifts.agent, list(agents))
    some &= (shifts.leaves <= visits.closes[visit]) & (shifts.returns >= visits.opens[visit])
    found: list[int] = np.flatnonzero(some).tolist()
    return found


def travel(task: Task, shift: int, order: list[int]) -> int:
    """Add up the ways of a day.

    Parameters
    ----------
    task : Task
        What is planned.
    shift : int
        Number of the day.
    order : list[int]
        Visits in order.

    Returns
    -------
    int
        From the base, between visits, and home [s].
    """
    return _along(task.ways.seconds, task, shift, order)


def metres(task: Task, shift: int, order: list[int]) -> int:
    """Add up the metres of a day.

    Parameters
    ----------
    task : Task
        What is planned.
    shift : int
        Number of the day.
    order : list[int]
        Visits in order.

    Returns
    -------
    int
        From the base, between visits, and home [m].
    """
    return _along(task.ways.metres, task, shift, order)


def _along(ways: Sequence[NDArray[np.integer]], task: Task, shift: int, order: list[int]) -> int:
    agent = task.shifts.agent[shift]
    base = task.crew.base[agent]
    places = [base, *task.visits.place[order], base]
    return int(ways[task.crew.mode[agent]][places[:-1], places[1:]].sum())


def fit(task: Task, days: Days, visit: int, shifts: Iterable[int]) -> Fit | None:
    """Find where a visit lengthens the ways least, all else left as it stands.

    Parameters
    ----------
    task : Task
        What is planned.
    days : dict[int, list[int]]
        Visits in order by the number of the day.
    visit : int
        Number of the visit.
    shifts : Iterable[int]
        Days that it may go to; of equal ones the first counts.

    Returns
    -------
    Fit | None
        The place; None where it fits nowhere.
    """
    best: Fit | None = None
    for shift in shifts:
        order = days.get(shift, [])
        before = travel(task, shift, order) if order else 0
        for place in range(len(order) + 1):
            tried = [*order[:place], visit, *order[place:]]
            more = travel(task, shift, tried) - before
            if best is not None and more >= best.seconds:
                continue
            if timed(task, shift, tried) is not None:
                best = Fit(more, shift, tried)
    return best


def fill(task: Task, days: Days, agent_of: Ints) -> None:
    """Put visits that no day has into days that have room, by priority.

    Parameters
    ----------
    task : Task
        What is planned.
    days : dict[int, list[int]]
        Visits in order by the number of the day; changed in place.
    agent_of : numpy.ndarray
        Agent by plot.
    """
    may = task.may()
    for visit in left_out(task, days):
        agent = int(agent_of[task.visits.plot[visit]])
        if not may[agent, visit]:
            continue
        found = fit(task, days, visit, days_of(task, visit, [agent]))
        if found is not None:
            days[found.shift] = found.order


def crowd(task: Task, days: Days) -> bool:
    """Put visits that no day has beside the nearest one of an open day, whatever the hours say.

    Parameters
    ----------
    task : Task
        What is planned.
    days : dict[int, list[int]]
        Visits in order by the number of the day; changed in place, and perhaps no longer kept.

    Returns
    -------
    bool
        Whether each visit is in a day; some have none that is open.
    """
    may, shifts = task.may(), task.shifts
    for visit in left_out(task, days):
        best: tuple[int, int, int] | None = None
        for day in days_of(task, visit, np.flatnonzero(may[:, visit]).tolist()):
            agent = shifts.agent[day]
            near = [task.crew.base[agent], *task.visits.place[days.get(day, [])]]
            away = task.ways.seconds[task.crew.mode[agent]][near, task.visits.place[visit]]
            place = int(away.argmin())
            if best is None or (int(away[place]), day) < best[:2]:
                best = int(away[place]), day, place
        if best is None:
            return False
        _, day, place = best
        days[day] = [*days.get(day, [])[:place], visit, *days.get(day, [])[place:]]
    return True


def left_out(task: Task, days: Days) -> list[int]:
    """List visits that no day has.

    Parameters
    ----------
    task : Task
        What is planned.
    days : dict[int, list[int]]
        Visits by day.

    Returns
    -------
    list[int]
        Visits by priority, and then by number.
    """
    made = np.zeros(len(task.visits), np.bool_)
    for order in days.values():
        made[order] = True
    missing = np.flatnonzero(~made)
    by_priority = np.argsort(task.visits.priority[missing], kind="stable")
    found: list[int] = missing[by_priority].tolist()
    return found


def kept(task: Task, shift: int, stops: list[int]) -> list[int]:
    """Leave out of a day what keeps it from being kept, the last priority first.

    Parameters
    ----------
    task : Task
        What is planned.
    shift : int
        Number of the day.
    stops : list[int]
        Visits in order.

    Returns
    -------
    list[int]
        Visits that can be made, in the same order.
    """
    if timed(task, shift, stops) is not None:
        return stops
    taken: list[int] = []
    for visit in sorted(stops, key=lambda visit: int(task.visits.priority[visit])):
        tried = [stop for stop in stops if stop in taken or stop == visit]
        if timed(task, shift, tried) is not None:
            taken = tried
    return taken
