"""Which agents are neighbours, and which plots of one lie among those of another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.visits.task import NO_WAY_S

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

AGENTS_AMONG = 5
"""Nearest plots of an agent that say how near he is to another."""
PLOTS_AMONG = 3
"""Nearest plots of an agent that say whether another plot lies among his."""


def nearest(task: Task, owner: Ints, agent: int) -> list[int]:
    """List other agents by how near they are to an agent's plots.

    Parameters
    ----------
    task : Task
        What is planned.
    owner : numpy.ndarray
        Who follows the plot of each visit, shape (visits,).
    agent : int
        Number of the agent.

    Returns
    -------
    list[int]
        The others, by the ways to their plots, or to their base where they have none.
    """
    seconds = task.ways.seconds[task.crew.mode[agent]]
    mine = np.unique(task.visits.place[owner == agent])
    away = np.full(len(task.crew), float(NO_WAY_S))
    for other, base in enumerate(task.crew.base.tolist()):
        plots = np.unique(task.visits.place[owner == other])
        his = plots if len(plots) else np.array([base])
        if len(mine):
            away[other] = np.sort(seconds[np.ix_(mine, his)].min(axis=0))[:AGENTS_AMONG].mean()
    return [other for other in np.argsort(away, kind="stable").tolist() if other != agent]


def leaning(task: Task, agent_of: Ints, giver: int, taker: int) -> dict[int, int]:
    """Tell how much an agent's plots lie among another's.

    Parameters
    ----------
    task : Task
        What is planned.
    agent_of : numpy.ndarray
        Agent by plot, shape (plots,).
    giver, taker : int
        Numbers of the agents.

    Returns
    -------
    dict[int, int]
        By plot that the taker may and can follow: how much longer the ways to his nearest plots
        are than to the giver's own [s].
    """
    plot, first = np.unique(task.visits.plot, return_index=True)
    place, owner = task.visits.place[first], agent_of[plot]
    barred = np.isin(plot, task.visits.plot[~task.may()[taker]])
    seconds = task.ways.seconds[task.crew.mode[giver]]
    mine, his = place[owner == giver], place[owner == taker]
    found = {}
    for one in np.flatnonzero((owner == giver) & ~barred).tolist():
        if seconds[place[one], task.crew.base[taker]] < NO_WAY_S:
            away = seconds[place[one]].astype(np.int64)
            away[place[one]] = NO_WAY_S
            to_his, to_mine = (np.sort(away[some])[:PLOTS_AMONG].sum() for some in (his, mine))
            found[int(plot[one])] = int(to_his - to_mine)
    return found
