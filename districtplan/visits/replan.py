"""A plan carried on in the middle of a season: what is done stays, what slipped finds a new day.

Days to come stay as they are wherever they can. A visit that slipped goes where it lengthens the
ways least; where it fits nowhere, one visit of another day makes room, if it fits elsewhere itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.visits.fit import days_of, fit, kept
from districtplan.visits.limits import keep_to
from districtplan.visits.reasons import reason

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import NDArray

    from districtplan.visits.fit import Days
    from districtplan.visits.reasons import Reason
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Replanned:
    """What became of a plan.

    Attributes
    ----------
    days : dict[int, list[int]]
        Visits still to be made, in order by the number of the day.
    moved : dict[int, tuple[int | None, int]]
        Visits with another day than before: the day before, None of a new one, and the day now.
    dropped : dict[int, Reason]
        Visits that fit nowhere any more, with the reason.
    """

    days: Days
    moved: dict[int, tuple[int | None, int]]
    dropped: dict[int, Reason]

    @property
    def changed(self) -> set[int]:
        """Say which days to come are no longer what was handed out.

        Returns
        -------
        set[int]
            Days by number.
        """
        return {day for pair in self.moved.values() for day in pair if day is not None}


def replan(task: Task, days: Days, done: Collection[int], now_s: int, agent_of: Ints) -> Replanned:
    """Carry a plan on.

    Parameters
    ----------
    task : Task
        What is planned, with windows, days and hours as they are known now; visits and days keep
        their numbers. Fuel and paid days are what is left of them.
    days : dict[int, list[int]]
        The plan that was handed out.
    done : Collection[int]
        Visits that were made.
    now_s : int
        Moment from which days are still open: those that begin later [s].
    agent_of : numpy.ndarray
        Agent by plot, which stays.

    Returns
    -------
    Replanned
        The rest of the season.
    """
    before = {visit: shift for shift, order in days.items() for visit in order}
    ahead = set(np.flatnonzero(task.shifts.leaves > now_s).tolist())
    found: Days = {}
    for shift in sorted(ahead & set(days)):
        order = kept(task, shift, [visit for visit in days[shift] if visit not in done])
        if order:
            found[shift] = order
    held = {visit for order in found.values() for visit in order}
    waiting = [
        visit for visit in range(len(task.visits)) if visit not in held and visit not in done
    ]
    dropped: dict[int, Reason] = {}
    for visit in sorted(waiting, key=lambda one: (int(task.visits.priority[one]), one)):
        agent = int(agent_of[task.visits.plot[visit]])
        may = agent >= 0 and bool(task.may()[agent, visit])
        open_days = [day for day in days_of(task, visit, [agent]) if day in ahead] if may else []
        if not _taken_in(task, found, visit, open_days, ahead):
            why = reason(task, visit, agent_of)
            dropped[visit] = "no day" if why == "days full" and not open_days else why
    dropped |= keep_to(task, found)
    after = {visit: shift for shift, order in found.items() for visit in order}
    moved = {
        visit: (before.get(visit), shift)
        for visit, shift in sorted(after.items())
        if before.get(visit) != shift
    }
    return Replanned(found, moved, dropped)


def _taken_in(
    task: Task, days: Days, visit: int, open_days: list[int], ahead: Collection[int]
) -> bool:
    """Put a visit into a day, moving one other at most; prefer days that are already used."""
    used = [day for day in open_days if day in days]
    place = fit(task, days, visit, used) or fit(task, days, visit, open_days)
    if place is not None:
        days[place.shift] = place.order
        return True
    for day in open_days:
        for other in sorted(days.get(day, []), key=lambda one: -int(task.visits.priority[one])):
            rest = [stop for stop in days[day] if stop != other]
            room = fit(task, {day: rest}, visit, [day])
            if room is None:
                continue
            agent = int(task.shifts.agent[day])
            elsewhere = [to for to in days_of(task, other, [agent]) if to in ahead and to != day]
            goes = fit(task, days, other, elsewhere)
            if goes is not None:
                days[day], days[goes.shift] = room.order, goes.order
                return True
    return False
