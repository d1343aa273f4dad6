"""Which agent follows which plot: a transport problem by days, solved exactly, then made whole.

Plots that one day holds are a load (:mod:`~.loads`) and stay together. In a linear problem loads
go to agents, and each of their visits to days of that agent within its window, the nearest first; a
day holds what it has hours for, and each agent gets about the same share of his own hours. Where
its answer divides loads, a second one gives them out as near to it as possible: it divides fewer
loads than there are agents, and each of these goes whole to who got most of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.visits.loads import Rounds, loads
from districtplan.visits.task import DAY_S, NO_WAY_S

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from districtplan.visits.task import Task

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

NOBODY = -1
"""A plot that no agent may or can go to."""
CANDIDATES = 4
"""Nearest agents of a load that are thought of; the others are too far to help."""
TOLERANCE = 0.02
"""Share by which an agent may have more work than others before balance counts."""
FULL = 0.95
"""Share of the hours up to which that holds: work is only estimated."""
OVER_TIMES = 4
"""How many times the longest way a second of work beyond that counts."""
DECIMALS = 9
"""What shares are rounded to: the solver is no more exact."""
NEIGHBOURS = 5
"""Nearest plots, itself among them, that say how long it takes from one to another."""


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
        Loads that the exact solution divided.
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
    """How many each has."""
    work: Floats
    """Share of a day that a visit takes: a day holds whole visits."""
    way: Floats
    """There and back, shape (agents, plots); infinite where one can't or mayn't go [s]."""


class _Load(NamedTuple):
    """Plots that stay together, by their places here; work and ways as of plots."""

    plots: Ints
    visits: Ints
    opens: Ints
    closes: Ints
    work: float
    way: Floats


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
    hours = np.zeros(len(task.crew))
    away = np.minimum(task.shifts.returns - task.shifts.leaves, task.shifts.longest)
    np.add.at(hours, task.shifts.agent, away.astype(np.float64))
    day = float(np.median(away)) if len(away) else float(DAY_S)
    plots = _plots(task, hours, day)
    held = _loads(task, plots, day)
    agent = np.full(task.crew.serves.shape[1], NOBODY)
    work, divided = np.zeros(len(task.crew)), 0
    if held:
        share = _shares(task, held, hours / day, day)
        divided = int(((share > 0) & (share < 1)).any(axis=0).sum())
        for load, mine in zip(held, share.argmax(axis=0).tolist(), strict=True):
            agent[plots.number[load.plots]] = mine
            work[mine] += day * load.work * len(load.visits)
    return Assigned(agent, work, hours, divided)


def _plots(task: Task, hours: Floats, day: float) -> _Plots:
    """Tell what plots need; agents without hours count where nobody who may go has any."""
    visits, crew = task.visits, task.crew
    number, first, plot = np.unique(visits.plot, return_index=True, return_inverse=True)
    count, place = np.bincount(plot), visits.place[first]
    made = np.zeros((len(number), len(crew)), np.int64)
    np.add.at(made, plot, task.may().T)
    # Who may make most of its visits: all, but where some are bound.
    may = ((made == made.max(axis=1, keepdims=True)) & (made > 0)).T
    way = np.empty(may.shape)
    for mode in np.unique(crew.mode):
        mine, seconds = crew.mode == mode, task.ways.seconds[mode]
        base = crew.base[mine][:, None]
        way[mine] = seconds[base, place].astype(np.float64)
        way[mine] += seconds[place, base]
    can = may & (way < NO_WAY_S)
    working = can & (hours > 0)[:, None]
    way = np.where(np.where(working.any(axis=0), working, can), way, np.inf)
    between = task.ways.seconds[0][np.ix_(place, place)].astype(np.float64)
    np.fill_diagonal(between, 0)
    near = np.sort(between, axis=1)[:, :NEIGHBOURS]
    step = near.sum(axis=1) / max(near.shape[1] - 1, 1)
    each = np.bincount(plot, visits.service) / count + np.where(step < NO_WAY_S, step, 0)
    nearest = np.where(can.any(axis=0), way.min(axis=0), 0)
    in_a_day = np.maximum(np.floor((day - nearest) / np.maximum(each, 1)), 1)
    return _Plots(number, place, count, 1 / in_a_day, way)


def _loads(task: Task, plots: _Plots, day: float) -> list[_Load]:
    """Put plots with as many visits together."""
    visits, shifts, found = task.visits, task.shifts, []
    by_plot = np.split(
        np.lexsort((visits.closes, visits.opens, visits.plot)), np.cumsum(plots.visits)[:-1]
    )
    reached = np.isfinite(plots.way).any(axis=0)
    for count in np.unique(plots.visits):
        some = np.flatnonzero((plots.visits == count) & reached)
        if not len(some):
            continue
        rows = np.array([by_plot[plot] for plot in some])
        between = task.ways.seconds[0][np.ix_(plots.place[some], plots.place[some])]
        rounds = Rounds(
            visits.opens[rows], visits.closes[rows], visits.service[rows],
            plots.way[:, some].min(axis=0), np.isfinite(plots.way[:, some]).T,
            (between + between.T.astype(np.float64)) / 2,
        )  # fmt: skip
        label = loads(rounds, np.unique(shifts.leaves), np.unique(shifts.returns), day)
        for one in np.unique(label):
            mine = np.flatnonzero(label == one)
            found.append(
                _Load(
                    some[mine], rows[mine[0]], rounds.opens[mine].max(axis=0),
                    rounds.closes[mine].min(axis=0), float(plots.work[some[mine]].sum()),
                    plots.way[:, some[mine]].mean(axis=1),
                )
            )  # fmt: skip
    return found


class _Linear:
    """A linear problem on its way: columns with what they cost, rows with what they sum up to."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.least: list[float] = []
        self.most: list[float] = []
        self.entries: list[tuple[int, int, float]] = []

    def column(self, cost: float) -> int:
        """Add a number from 0 on that is looked for."""
        self.cost.append(cost)
        return len(self.cost) - 1

    def row(self, terms: Iterable[tuple[int, float]], least: float, most: float) -> None:
        """Bound a sum."""
        self.entries += [(len(self.least), column, value) for column, value in terms]
        self.least.append(least)
        self.most.append(most)

    def solved(self) -> Floats:
        """Find the cheapest numbers."""
        # Takes half a second to import.
        from scipy.optimize import LinearConstraint, milp
        from scipy.sparse import coo_array

        row, column, value = (np.array(part) for part in zip(*self.entries, strict=True))
        table = coo_array((value, (row, column)), shape=(len(self.least), len(self.cost)))
        found = milp(
            np.array(self.cost), constraints=LinearConstraint(table.tocsr(), self.least, self.most)
        )
        answer: Floats = np.round(found.x, DECIMALS)
        return answer


def _shares(task: Task, held: list[_Load], days: Floats, day: float) -> Floats:
    """Give the share of each load that each agent gets, shape (agents, loads)."""
    need = sum(load.work * len(load.visits) for load in held)
    even = need / max(days.sum(), 1.0)
    # Where hours are short nobody may have more than others.
    most = days * max(even, min(even * (1 + TOLERANCE), FULL))
    agents = [
        [agent for agent in np.argsort(load.way, kind="stable")[:CANDIDATES].tolist()
         if np.isfinite(load.way[agent])]
        for load in held
    ]  # fmt: skip
    wished = _wished(task, held, agents, most, day)
    problem = _Linear()
    got = [
        {agent: problem.column(1 - wished[agent, place]) for agent in some}
        for place, some in enumerate(agents)
    ]
    _balanced(problem, held, got, most, OVER_TIMES)
    return _read(problem.solved(), got, len(days))


def _wished(
    task: Task, held: list[_Load], agents: list[list[int]], most: Floats, day: float
) -> Floats:
    """Give visits to days; say which share of a load each agent gets that way."""
    shifts = task.shifts
    # Days of an agent on which the same visits may be made are one.
    opens = np.unique(np.concatenate([load.opens for load in held]))
    closes = np.unique(np.concatenate([load.closes for load in held]))
    kind = np.stack([
        shifts.agent,
        np.searchsorted(opens, shifts.returns, side="right"),
        np.searchsorted(closes, shifts.leaves),
    ], axis=1)  # fmt: skip
    _, first, number = np.unique(kind, axis=0, return_index=True, return_inverse=True)
    room = np.bincount(
        number.reshape(-1), np.minimum(shifts.returns - shifts.leaves, shifts.longest) / day
    )
    leaves, returns, agent_of = shifts.leaves[first], shifts.returns[first], shifts.agent[first]
    furthest = max(float(load.way[some].max()) for load, some in zip(held, agents, strict=True))
    left_out = OVER_TIMES * max(furthest, 1.0)
    problem = _Linear()
    got: list[dict[int, int]] = []
    held_by: list[list[tuple[int, float]]] = [[] for _ in first]
    for load, some in zip(held, agents, strict=True):
        got.append({agent: problem.column(0) for agent in some})
        for low, high in zip(load.opens, load.closes, strict=True):
            open_days = (leaves <= high) & (returns >= low)
            lacking = problem.column(left_out * load.work)
            for agent in some:
                terms = [(lacking, 1.0), (got[-1][agent], -1.0)]
                for one in np.flatnonzero(open_days & (agent_of == agent)).tolist():
                    made = problem.column(float(load.way[agent]) * min(load.work, 1))
                    terms.append((made, 1.0))
                    held_by[one].append((made, load.work))
                problem.row(terms, 0, np.inf)
    for terms, limit in zip(held_by, room, strict=True):
        problem.row(terms, -np.inf, limit)
    _balanced(problem, held, got, most, left_out)
    return _read(problem.solved(), got, len(most))


def _balanced(
    problem: _Linear, held: list[_Load], got: list[dict[int, int]], most: Floats, price: float
) -> None:
    """Give each load to somebody; more than his part, an agent gets at a price only."""
    for columns in got:
        problem.row([(column, 1.0) for column in columns.values()], 1, 1)
    for agent, limit in enumerate(most):
        terms = [
            (columns[agent], load.work * len(load.visits))
            for load, columns in zip(held, got, strict=True)
            if agent in columns
        ]
        problem.row([*terms, (problem.column(price), -1.0)], -np.inf, limit)


def _read(found: Floats, got: list[dict[int, int]], agents: int) -> Floats:
    share = np.zeros((agents, len(got)))
    for place, columns in enumerate(got):
        for agent, column in columns.items():
            share[agent, place] = found[column]
    return share
