"""Some visits and some days of a task by themselves, and back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from districtplan.visits.route import Routes
from districtplan.visits.task import Task, Ways

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from districtplan.visits.fit import Days

    Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Part:
    """A part of a task; agents and plots keep their numbers.

    Attributes
    ----------
    visits, shifts : numpy.ndarray
        What it has of the whole, by number, rising.
    task : Task
        The part as a task of its own, with no places but its own.
    start : Routes
        Days as they stand, in the part's own numbers.
    """

    visits: Ints
    shifts: Ints
    task: Task
    start: Routes

    @classmethod
    def of(cls, task: Task, days: Days, visits: Ints, shifts: Ints) -> Part:
        """Take a part.

        Parameters
        ----------
        task : Task
            The whole.
        days : dict[int, list[int]]
            Days as they stand; what isn't of the part is left out.
        visits, shifts : numpy.ndarray
            What the part has, by number, rising.

        Returns
        -------
        Part
            The part.
        """
        started: Days = {}
        for place, shift in enumerate(shifts.tolist()):
            order = np.array(days.get(shift, []), np.int64)
            order = order[np.isin(order, visits)]
            if len(order):
                started[place] = np.searchsorted(visits, order).tolist()
        return cls(visits, shifts, _compact(task.only(visits, shifts)), Routes.of(started))

    @classmethod
    def whole(cls, task: Task) -> Part:
        """Take all of a task, with nothing planned yet.

        Parameters
        ----------
        task : Task
            The whole.

        Returns
        -------
        Part
            All of it, with no places but those needed.
        """
        return cls.of(task, {}, np.arange(len(task.visits)), np.arange(len(task.shifts)))

    def back(self, days: Days) -> Days:
        """Give days the numbers of the whole.

        Parameters
        ----------
        days : dict[int, list[int]]
            Visits in order by the number of the day, in the part's own numbers.

        Returns
        -------
        dict[int, list[int]]
            The same in numbers of the whole.
        """
        return {
            int(self.shifts[shift]): self.visits[order].tolist() for shift, order in days.items()
        }


def _compact(task: Task) -> Task:
    """Leave out places that no visit is at and no working agent starts from."""
    working = np.zeros(len(task.crew), np.bool_)
    working[task.shifts.agent] = True
    base = np.where(working, task.crew.base, task.crew.base[np.argmax(working)])
    at, number = np.unique(np.concatenate([base, task.visits.place]), return_inverse=True)
    modes = np.unique(task.crew.mode[working])
    none = np.zeros((0, 0), np.int64)

    def cut(matrices: Sequence[NDArray[np.integer]]) -> list[NDArray[np.integer]]:
        return [
            matrix[np.ix_(at, at)] if mode in modes else none
            for mode, matrix in enumerate(matrices)
        ]

    return replace(
        task,
        visits=replace(task.visits, place=number[len(base) :]),
        crew=replace(task.crew, base=number[: len(base)]),
        ways=Ways(cut(task.ways.seconds), cut(task.ways.metres)),
    )
