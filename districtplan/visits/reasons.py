"""Why a visit is in no day."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from districtplan.visits.clocked import timed
from districtplan.visits.fit import days_of
from districtplan.visits.task import NO_WAY_S

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

Reason = Literal[
    "nobody may go", "another agent", "no way", "no day", "too heavy", "too long", "days full",
    "fuel", "paid days",
]  # fmt: skip
"""Nobody serves the place; the visit is bound to an agent that doesn't follow the plot; no way
leads there; no working day in its window; more than can be carried; there, work and back take more
than a day; all days in its window are full; what fuel there is, is used; so are the paid days."""


def reason(task: Task, visit: int, agent_of: Ints) -> Reason:
    """Say why a visit can't be made, or that there is no room for it.

    Parameters
    ----------
    task : Task
        What is planned.
    visit : int
        Number of the visit.
    agent_of : numpy.ndarray
        Agent by plot.

    Returns
    -------
    Reason
        The first of these that holds, ``"days full"`` where none of the others does.
    """
    may = np.flatnonzero(task.may()[:, visit])
    if not len(may):
        return "nobody may go"
    agent = int(agent_of[task.visits.plot[visit]])
    if agent not in may:
        can = [one for one in may.tolist() if _reached(task, visit, one)]
        return "another agent" if can else "no way"
    if not _reached(task, visit, agent):
        return "no way"
    days = days_of(task, visit, [agent])
    if not days:
        return "no day"
    if any(timed(task, day, [visit]) is not None for day in days):
        return "days full"
    light = replace(task, visits=replace(task.visits, load=np.zeros_like(task.visits.load)))
    return (
        "too heavy" if any(timed(light, day, [visit]) is not None for day in days) else "too long"
    )


def _reached(task: Task, visit: int, agent: int) -> bool:
    seconds = task.ways.seconds[task.crew.mode[agent]]
    base, place = task.crew.base[agent], task.visits.place[visit]
    return bool(seconds[base, place] + seconds[place, base] < NO_WAY_S)
