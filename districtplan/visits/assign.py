"""Which agent follows which plot: a transport problem, solved exactly.

What plots need flows to agents who have the hours for it, the nearest first; each agent gets about
the same share of his own hours. A solution of the linear problem divides fewer plots than there are
agents; each of these goes whole to who got most of it, which is the slack that is told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.visits.task import DAY_S, NO_WAY_S

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.task import Task

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

NOBODY = -1
"""A plot that no agent may or can go to."""
CANDIDATES = 8
"""Nearest agents of a plot that are thought of first; the others are too far to help."""
TOLERANCE = 0.02
"""Share by which an agent may have more work than others before balance counts."""
FULL = 0.95
"""Share of the hours up to which that holds: work is only estimated."""
OVER_TIMES = 4
"""How many times the longest way a second of work beyond that counts."""
DECIMALS = 9
"""What shares are rounded to: the solver is no more exact."""
NEIGHBOURS = 5
"""Nearest plots, itself among them, that say how long it takes from one to another. They share what
their ways from a base count, so that plots visited on one day aren't parted."""


class Assigned(NamedTuple):
    """Who follows which plot, and how evenly.

    Attributes
    ----------
    agent : numpy.ndarray
        Number of the agent, ``NOBODY`` where none may or can go, shape (plots,).
    work : numpy.ndarray
        Work of each agent, with ways between plots [s].
    hours : numpy.ndarray
        Hours of each agent [s].
    divided : int
        Plots that the exact solution divided.
    """

    agent: Ints
    work: Floats
    hours: Floats
    divided: int

    @property
    def slack(self) -> Floats:
        """Share of each agent's hours that its work leaves.

        Returns
        -------
        numpy.ndarray
            Below 0 where work exceeds the hours, shape (agents,).
        """
        return 1 - self.work / np.maximum(self.hours, 1)


class _Plots(NamedTuple):
    """Plots with visits, by what each needs."""

    number: Ints
    place: Ints
    visits: Ints
    work: Floats
    may: Bools
    """Who may make most of its visits: all, but where some are bound. Shape (agents, plots)."""
    near: Ints
    """Nearest plots by their places here, itself first, shape (plots, near)."""


def assign(task: Task) -> Assigned:
    """Give each plot to an agent.

    Parameters
    ----------
    task : Task
        What is planned.

    Returns
    -------
    Assigned
        Who follows which plot.
    """
    plots = _plots(task)
    hours = np.zeros(len(task.crew))
    away = np.minimum(task.shifts.returns - task.shifts.leaves, task.shifts.longest)
    np.add.at(hours, task.shifts.agent, away.astype(np.float64))
    base = task.crew.base[:, None]
    there_and_back = np.empty(plots.may.shape)
    for mode in np.unique(task.crew.mode):
        mine, seconds = task.crew.mode == mode, task.ways.seconds[mode]
        there_and_back[mine] = seconds[base[mine], plots.place].astype(np.float64)
        there_and_back[mine] += seconds[plots.place, base[mine]]
    can = plots.may & (there_and_back < NO_WAY_S)
    working = can & (hours > 0)[:, None]
    can = np.where(working.any(axis=0), working, can)
    day = float(np.median(away)) if len(away) else float(DAY_S)
    plots = _with_ways(plots, np.where(can, there_and_back, np.inf), day)
    share = _shares(plots, there_and_back, can, hours)
    agent = np.full(task.crew.serves.shape[1], NOBODY)
    reached = can.any(axis=0)
    agent[plots.number[reached]] = share.argmax(axis=0)[reached]
    work = np.zeros(len(task.crew))
    np.add.at(work, agent[plots.number[reached]], plots.work[reached])
    return Assigned(agent, work, hours, int(((share > 0) & (share < 1)).any(axis=0).sum()))


def _plots(task: Task) -> _Plots:
    visits = task.visits
    number, first, plot = np.unique(visits.plot, return_index=True, return_inverse=True)
    count = np.bincount(plot)
    place = visits.place[first]
    made = np.zeros((len(number), len(task.crew)), np.int64)
    np.add.at(made, plot, task.may().T)
    may = ((made == made.max(axis=1, keepdims=True)) & (made > 0)).T
    between = task.ways.seconds[0][np.ix_(place, place)].astype(np.float64)
    np.fill_diagonal(between, 0)
    near = between.argsort(axis=1, kind="stable")[:, :NEIGHBOURS]
    step = np.take_along_axis(between, near, axis=1).sum(axis=1) / max(near.shape[1] - 1, 1)
    service = np.bincount(plot, visits.service).astype(np.float64)
    work = service + count * np.where(step < NO_WAY_S, step, 0)
    return _Plots(number, place, count, work, may, near)


def _with_ways(plots: _Plots, there_and_back: Floats, day: float) -> _Plots:
    """Add each visit's part of a day's way from the base of the nearest agent."""
    nearest = there_and_back.min(axis=0)
    each = plots.work / plots.visits
    in_a_day = np.maximum((day - nearest) / np.maximum(each, 1), 1)
    more = plots.visits * nearest / in_a_day
    return plots._replace(work=plots.work + np.where(np.isfinite(more), more, 0))


def _shares(plots: _Plots, there_and_back: Floats, can: Bools, hours: Floats) -> Floats:
    """Solve the transport problem; give the share of each plot that each agent gets."""
    # Takes half a second to import.
    from scipy.optimize import linprog
    from scipy.sparse import coo_array

    agents, count = can.shape
    share = np.zeros((agents, count))
    far = np.where(can, there_and_back, np.inf)
    rank = far.argsort(axis=0, kind="stable").argsort(axis=0, kind="stable")
    agent, plot = np.nonzero(can & (rank < CANDIDATES))
    if not len(agent):
        return share
    shared = there_and_back[:, plots.near].mean(axis=2)
    cost = np.minimum(shared, NO_WAY_S)[agent, plot] * plots.visits[plot]
    even = plots.work[can.any(axis=0)].sum() / max(hours.sum(), 1.0)
    # Where hours are short nobody may have more than others.
    most = hours * max(even, min(even * (1 + TOLERANCE), FULL))
    ways = np.arange(len(agent))
    over = len(agent) + np.arange(agents)
    # An agent's work may exceed its share at a price: never is a plot nobody's for balance.
    loads = coo_array(
        (
            np.concatenate([plots.work[plot], -np.ones(agents)]),
            (np.concatenate([agent, np.arange(agents)]), np.concatenate([ways, over])),
        ),
        shape=(agents, len(agent) + agents),
    )
    held, row = np.unique(plot, return_inverse=True)
    whole = coo_array((np.ones(len(agent)), (row, ways)), shape=(len(held), len(agent) + agents))
    each = cost.max() / max(plots.work[plot].min(), 1.0)
    found = linprog(
        np.concatenate([cost, np.full(agents, OVER_TIMES * max(each, 1.0))]),
        A_ub=loads.tocsr(),
        b_ub=most,
        A_eq=whole.tocsr(),
        b_eq=np.ones(len(held)),
        bounds=(0, None),
        method="highs-ds",
    )
    share[agent, plot] = np.round(found.x[: len(agent)], DECIMALS)
    return share
