"""A task put as a model of PyVRP, and its answer read back."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pyvrp
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.search import NeighbourhoodParams
from pyvrp.stop import MaxIterations, MaxRuntime, MultipleCriteria, NoImprovement

from districtplan.visits.fit import kept
from districtplan.visits.route import LEFT_OUT, Routes
from districtplan.visits.task import NO_WAY_S

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyvrp.stop import StoppingCriterion

    from districtplan.visits.route import Effort
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]


HISTORY, HISTORY_PART = 300, 30
"""Steps that a search remembers: at least so many, and this part of all."""
NEIGHBOURS = 25
"""Nearest visits that one may be moved beside."""


class _Model(NamedTuple):
    """A model, and the days that each of its kinds of vehicles stands for."""

    data: pyvrp.ProblemData
    shifts: list[list[int]]


def solved(task: Task, held: Bools, start: Routes | None, effort: Effort) -> Routes:
    """Solve a task.

    Parameters
    ----------
    task : Task
        What is to be planned; at least one visit and one day.
    held : numpy.ndarray
        Visits that may not be left out, bool, shape (visits,).
    start : Routes | None
        Days to better, with all visits that are held; None to start anew.
    effort : Effort
        When to stop.

    Returns
    -------
    Routes
        Days that can be kept, as timed by the project itself.
    """
    model = _model(task, held)
    steps, stale = effort.steps(len(task.visits))
    limits: list[StoppingCriterion] = [
        MaxIterations(steps),
        NoImprovement(stale),
    ]
    if effort.seconds is not None:
        limits.append(MaxRuntime(effort.seconds))
    with warnings.catch_warnings():
        # Says that no plan with every visit was found, which the answer tells too.
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        result = pyvrp.solve(
            model.data,
            MultipleCriteria(limits),
            seed=effort.seed,
            collect_stats=False,
            display=False,
            params=_params(effort, steps),
            initial_solution=None
            if start is None or not len(start.visit)
            else _solution(model, start),
        )
    by_clock = effort.seconds is not None and result.runtime >= effort.seconds
    return _read(task, model, result.best, by_clock=by_clock)


def _params(effort: Effort, steps: int) -> pyvrp.SolveParams:
    """Let long searches remember more, so that they settle later; a clock may stop any."""
    history = HISTORY if effort.seconds is not None else max(HISTORY, steps // HISTORY_PART)
    return pyvrp.SolveParams(
        ils=pyvrp.IteratedLocalSearchParams(history_length=history),
        neighbourhood=NeighbourhoodParams(num_neighbours=NEIGHBOURS),
    )


def _model(task: Task, held: Bools) -> _Model:
    visits, shifts = task.visits, task.shifts
    bases, base_of = np.unique(task.crew.base[shifts.agent], return_inverse=True)
    profile_of, seconds = _profiles(task, bases)
    kinds: dict[tuple[int, ...], list[int]] = {}
    told = (
        base_of.reshape(-1), profile_of[shifts.agent], shifts.leaves, shifts.returns,
        shifts.longest, shifts.carries,
    )  # fmt: skip
    for shift, kind in enumerate(zip(*told, strict=True)):
        kinds.setdefault(tuple(int(part) for part in kind), []).append(shift)
    vehicles = [
        pyvrp.VehicleType(
            len(some), [carries], base, base, tw_early=leaves, tw_late=returns,
            shift_duration=longest, profile=profile,
        )
        for (base, profile, leaves, returns, longest, carries), some in kinds.items()
    ]  # fmt: skip
    gone = [matrix[matrix < NO_WAY_S] for matrix in seconds]
    prize = 2 * LEFT_OUT * max(int(some.max(initial=1)) for some in gone)
    columns = (visits.load, visits.service, visits.opens, visits.closes, held)
    clients = [
        pyvrp.Client(
            len(bases) + place, [load], service_duration=service, tw_early=opens, tw_late=closes,
            prize=0 if required else prize, required=required,
        )
        for place, (load, service, opens, closes, required) in enumerate(
            zip(*(column.tolist() for column in columns), strict=True)
        )
    ]  # fmt: skip
    places = [pyvrp.Location(0, 0)] * (len(bases) + len(clients))
    depots = [pyvrp.Depot(base) for base in range(len(bases))]
    # Its types ask for arrays of a shape that no array has.
    ways: Any = seconds
    data = pyvrp.ProblemData(places, clients, depots, vehicles, ways, ways)
    return _Model(data, list(kinds.values()))


def _profiles(task: Task, bases: Ints) -> tuple[Ints, list[NDArray[Any]]]:
    """Give ways between bases and visits for each mode and each set of visits that are open."""
    agents = np.unique(task.shifts.agent)
    may, mode = task.may()[agents], task.crew.mode[agents]
    alike, profile = np.unique(np.column_stack([mode, may]), axis=0, return_inverse=True)
    profile_of = np.zeros(len(task.crew), np.int64)
    profile_of[agents] = profile.reshape(-1)
    at = np.concatenate([bases, task.visits.place])
    found = []
    for row in alike:
        seconds = task.ways.seconds[row[0]][np.ix_(at, at)].astype(np.int64)
        barred = len(bases) + np.flatnonzero(row[1:] == 0)
        seconds[barred, :] = NO_WAY_S
        seconds[:, barred] = NO_WAY_S
        np.fill_diagonal(seconds, 0)
        found.append(seconds)
    return profile_of, found


def _solution(model: _Model, start: Routes) -> pyvrp.Solution:
    kind_of = {shift: kind for kind, some in enumerate(model.shifts) for shift in some}
    days = start.by_shift()
    routes = [pyvrp.Route(model.data, days[shift], kind_of[shift]) for shift in days]
    return pyvrp.Solution(model.data, routes)


def _read(task: Task, model: _Model, best: pyvrp.Solution, *, by_clock: bool) -> Routes:
    """Read days; of one that can't be kept, those visits that can."""
    left = [list(some) for some in model.shifts]
    days = {}
    for found in best.routes():
        stops = [stop.idx for stop in found.schedule() if stop.is_client()]
        if stops:
            shift = left[found.vehicle_type()].pop(0)
            days[shift] = kept(task, shift, stops)
    return Routes.of(days, by_clock=by_clock)
