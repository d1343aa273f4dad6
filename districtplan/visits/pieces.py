"""Pieces of a season that have nothing to do with one another.

Where no visit may be made on days of two pieces, each can be planned by itself, and nothing is
lost: so a season whose stages follow one another falls into its stages.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]


class Piece(NamedTuple):
    """Visits, and the days that they may be made on, by number, rising."""

    visits: Ints
    shifts: Ints


def pieces(task: Task, visits: Ints, shifts: Ints) -> list[Piece]:
    """Take visits and days apart.

    Parameters
    ----------
    task : Task
        What is planned.
    visits, shifts : numpy.ndarray
        What is looked at, by number, rising.

    Returns
    -------
    list[Piece]
        Pieces by their first day. Visits that may be made on none of the days are in none.
    """
    # Takes a tenth of a second to import.
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    days, made = task.shifts.take(shifts), task.visits.take(visits)
    may = task.may()[:, visits]
    can = may[days.agent]
    can &= (days.leaves[:, None] <= made.closes) & (days.returns[:, None] >= made.opens)
    day, visit = np.nonzero(can)
    nodes = len(shifts) + len(visits)
    links = coo_array((np.ones(len(day)), (day, len(shifts) + visit)), shape=(nodes, nodes))
    _, number = connected_components(links, directed=False)
    by_day, by_visit = number[: len(shifts)], number[len(shifts) :]
    _, first = np.unique(by_day, return_index=True)
    found = [
        Piece(visits[by_visit == by_day[day]], shifts[by_day == by_day[day]])
        for day in np.sort(first)
    ]
    return [piece for piece in found if len(piece.visits)]
