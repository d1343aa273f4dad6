"""The best order of visits over many days, by iterated local search [1]_.

There is one way to the solver. A model has one vehicle an agent-day, and a visit's window spans all
of its days; whether it holds one agent or all is a matter of what the task holds. What is made
small are the seconds on the road. First every visit is required. Where that can't be done, those of
the first priority are planned alone, then those are required while ones of the next are added, and
so on: so no visit gives way to one of a lower priority.

The search stops after a number of iterations, so that the same task gives the same plan, unless
seconds are given.

References
----------
.. [1] Wouda, N.A., Lan, L., Kool, W. (2024). PyVRP: a high-performance VRP solver package. INFORMS
   Journal on Computing 36(4), 943-955.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

ITERATIONS = 2_000
STALE = 1_000
"""Iterations for every hundred visits, in all and without anything better."""
FEWEST = 50
"""Visits that a search of fewer is given steps for."""
LEFT_OUT = 10
"""How many times the longest way there and back a visit counts that is left out."""


@dataclass(frozen=True)
class Effort:
    """When to stop.

    Attributes
    ----------
    iterations : int
        Steps of the search for every hundred visits, and half as many for fewer than fifty.
    stale : int
        Of these, steps without anything better after which it stops earlier.
    seed : int
        Where random steps start.
    seconds : float | None
        Seconds after which the clock stops it; such a plan isn't reproducible.
    """

    iterations: int = ITERATIONS
    stale: int = STALE
    seed: int = 1
    seconds: float | None = None

    def steps(self, visits: int) -> tuple[int, int]:
        """Give the steps of one search.

        Parameters
        ----------
        visits : int
            How many visits it plans.

        Returns
        -------
        tuple[int, int]
            In all, and without anything better.
        """
        hundreds = max(visits, FEWEST) / 100
        return round(self.iterations * hundreds), round(self.stale * hundreds)


class Routes(NamedTuple):
    """Visits in the order in which each day makes them.

    Attributes
    ----------
    visit : numpy.ndarray
        Visits by number, by day and then by time.
    shift : numpy.ndarray
        Number of the day of each.
    by_clock : bool
        Whether the clock stopped the search.
    """

    visit: Ints
    shift: Ints
    by_clock: bool = False

    def by_shift(self) -> dict[int, list[int]]:
        """Give the visits of each day.

        Returns
        -------
        dict[int, list[int]]
            Visits in order, by the number of the day; days without any are left out.
        """
        found: dict[int, list[int]] = {}
        for visit, shift in zip(self.visit.tolist(), self.shift.tolist(), strict=True):
            found.setdefault(shift, []).append(visit)
        return found

    def only(self, some: Ints) -> Routes:
        """Keep some visits.

        Parameters
        ----------
        some : numpy.ndarray
            Visits by number, rising.

        Returns
        -------
        Routes
            The same days with these alone, numbered by their places among them.
        """
        kept = np.isin(self.visit, some)
        return Routes(np.searchsorted(some, self.visit[kept]), self.shift[kept], self.by_clock)

    @classmethod
    def of(cls, days: dict[int, list[int]], *, by_clock: bool = False) -> Routes:
        """Put days together.

        Parameters
        ----------
        days : dict[int, list[int]]
            Visits in order, by the number of the day.
        by_clock : bool, default False
            Whether the clock stopped the search.

        Returns
        -------
        Routes
            All of them.
        """
        shifts = sorted(days)
        visit = [visit for shift in shifts for visit in days[shift]]
        shift = [shift for shift in shifts for _ in days[shift]]
        return cls(np.array(visit, np.int64), np.array(shift, np.int64), by_clock)


def route(task: Task, effort: Effort, start: Routes | None = None) -> Routes:
    """Plan as many visits as fit, by priority, with the least time on the road.

    Parameters
    ----------
    task : Task
        What is to be planned; whoever may make a visit may make any visit of its plot.
    effort : Effort
        When to stop.
    start : Routes | None, default None
        Days to begin with; None to begin anew.

    Returns
    -------
    Routes
        The days. Visits in none of them didn't fit.
    """
    if not len(task.visits) or not len(task.shifts):
        return Routes.of({})
    # The solver takes half a second to import: only who plans visits waits for it.
    from districtplan.visits.fit import crowd
    from districtplan.visits.solver import solved

    every = np.arange(len(task.visits))
    found, by_clock = start or Routes.of({}), False
    days = found.by_shift()
    # Beside a plan that lacks visits, which looks cheap, the search believes in no full one.
    if crowd(task, days):
        begun = None if start is None else Routes.of(days)
        full = solved(task, np.ones(len(every), np.bool_), begun, effort)
        by_clock = full.by_clock
        if len(full.visit) == len(every):
            return full
        if len(full.visit) > len(found.visit):
            found = full
    held = np.empty(0, np.int64)
    for level in np.unique(task.visits.priority):
        some = np.flatnonzero(task.visits.priority <= level)
        part = task.only(some, np.arange(len(task.shifts)))
        begun = found.only(some)
        more = solved(part, np.isin(some, held), begun, effort)
        held = some[more.visit]
        by_clock |= more.by_clock
        found = Routes(held, more.shift)
    return found._replace(by_clock=by_clock)
