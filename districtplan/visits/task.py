"""What has to be planned: visits, the days of agents, and the ways between places.

All times are whole seconds from the midnight that begins the first day, on one axis, so that a
visit that may be made on any of several days has one window. All arrays go by numbers: the pipeline
knows which plot, agent and day they stand for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

ANYONE = -1
"""A visit that is bound to no agent."""
DAY_S = 24 * 60 * 60
NO_WAY_S = 365 * DAY_S
"""A way that nobody can go: longer than any season."""


@dataclass(frozen=True)
class Visits:
    """What is to be done where and when, each shape (visits,).

    Attributes
    ----------
    place : numpy.ndarray
        Number of the place, a row of the ways.
    plot : numpy.ndarray
        Number of the plot or meeting place that it belongs to: one agent follows all of its visits.
    opens, closes : numpy.ndarray
        When it may begin, first and last [s].
    service : numpy.ndarray
        How long it takes [s].
    priority : numpy.ndarray
        0 for what is dropped last.
    agent : numpy.ndarray
        Number of the agent that must make it, ``ANYONE`` where none is named.
    load : numpy.ndarray
        What must be carried there from the base [g].
    """

    place: Ints
    plot: Ints
    opens: Ints
    closes: Ints
    service: Ints
    priority: Ints
    agent: Ints
    load: Ints

    def __len__(self) -> int:
        return len(self.place)

    def take(self, some: Ints) -> Visits:
        """Keep some visits.

        Parameters
        ----------
        some : numpy.ndarray
            Visits by number.

        Returns
        -------
        Visits
            These, in that order.
        """
        return Visits(
            self.place[some], self.plot[some], self.opens[some], self.closes[some],
            self.service[some], self.priority[some], self.agent[some], self.load[some],
        )  # fmt: skip


@dataclass(frozen=True)
class Crew:
    """Agents, each shape (agents,) but for what they serve.

    Attributes
    ----------
    base : numpy.ndarray
        Number of the place where days begin and end.
    mode : numpy.ndarray
        Number of the way of going about, which picks the ways.
    serves : numpy.ndarray
        Whether an agent may go to a plot, bool, shape (agents, plots).
    furthest_m : numpy.ndarray
        How far all days together may lead, of the fuel that there is [m].
    days_most : numpy.ndarray
        Days in the field that are paid.
    """

    base: Ints
    mode: Ints
    serves: Bools
    furthest_m: Ints
    days_most: Ints

    def __len__(self) -> int:
        return len(self.base)


@dataclass(frozen=True)
class Shifts:
    """Days on which an agent works, each shape (shifts,), by agent and then by time.

    Attributes
    ----------
    agent : numpy.ndarray
        Number of the agent.
    leaves, returns : numpy.ndarray
        When the base is left at the earliest and reached again at the latest [s].
    longest : numpy.ndarray
        How long the agent may be away [s].
    carries : numpy.ndarray
        What can be carried from the base [g].
    """

    agent: Ints
    leaves: Ints
    returns: Ints
    longest: Ints
    carries: Ints

    def __len__(self) -> int:
        return len(self.agent)

    def take(self, some: Ints) -> Shifts:
        """Keep some days.

        Parameters
        ----------
        some : numpy.ndarray
            Shifts by number.

        Returns
        -------
        Shifts
            These, in that order.
        """
        return Shifts(
            self.agent[some], self.leaves[some], self.returns[some], self.longest[some],
            self.carries[some],
        )  # fmt: skip


@dataclass(frozen=True)
class Ways:
    """How long and how far it is from place to place, for each way of going about.

    Attributes
    ----------
    seconds : Sequence[numpy.ndarray]
        From row to column, at most ``NO_WAY_S``; one array a mode, shape (places, places) [s].
    metres : Sequence[numpy.ndarray]
        The same ways in metres, of what is ridden or driven where fuel counts [m].
    """

    seconds: Sequence[NDArray[np.integer]]
    metres: Sequence[NDArray[np.integer]]


@dataclass(frozen=True)
class Task:
    """All that a plan of visits is made of.

    Attributes
    ----------
    visits : Visits
        What is to be done.
    crew : Crew
        Who does it.
    shifts : Shifts
        On which days.
    ways : Ways
        How they get there.
    """

    visits: Visits
    crew: Crew
    shifts: Shifts
    ways: Ways

    def only(self, visits: Ints, shifts: Ints) -> Task:
        """Keep some visits and some days; agents, plots and places keep their numbers.

        Parameters
        ----------
        visits, shifts : numpy.ndarray
            What is kept, by number.

        Returns
        -------
        Task
            The smaller task.
        """
        return replace(self, visits=self.visits.take(visits), shifts=self.shifts.take(shifts))

    def may(self) -> Bools:
        """Say which agent may make which visit.

        Returns
        -------
        numpy.ndarray
            Bool, shape (agents, visits).
        """
        named = self.visits.agent
        bound = (named == ANYONE) | (named == np.arange(len(self.crew))[:, None])
        found: Bools = self.crew.serves[:, self.visits.plot] & bound
        return found
