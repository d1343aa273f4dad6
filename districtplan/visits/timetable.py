"""A plan's days as rows: when each visit is made, and the way there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from districtplan.visits.clocked import timed

if TYPE_CHECKING:
    from districtplan.visits.fit import Days
    from districtplan.visits.task import Task

HOME = -1
"""What stands for a visit where the row is the way home."""
COLUMNS = (
    "visit", "shift", "agent", "sequence", "leaves", "arrives", "begins", "ends", "travel_s",
    "metres",
)  # fmt: skip


def timetable(task: Task, days: Days) -> pd.DataFrame:
    """Time all days.

    Parameters
    ----------
    task : Task
        What is planned.
    days : dict[int, list[int]]
        Visits in order by the number of the day; each day can be kept.

    Returns
    -------
    pandas.DataFrame
        A row a visit and one a way home, by day and then by time: ``visit`` (-1 on the way home),
        ``shift``, ``agent``, ``sequence`` from 1, ``leaves`` for it, ``arrives``, ``begins``,
        ``ends``, ``travel_s`` [s] and ``metres`` [m] of the way to it.
    """
    rows = []
    for shift in sorted(days):
        order = days[shift]
        day = timed(task, shift, order)
        if day is None:
            raise ValueError(f"day {shift} can't be kept")
        agent, leaves = int(task.shifts.agent[shift]), day.leaves
        stops = zip([*order, HOME], day.travel, day.metres, strict=True)
        for place, (visit, seconds, metres) in enumerate(stops):
            arrives = leaves + seconds
            begins, ends = arrives, arrives
            if visit != HOME:
                begins = day.begins[place]
                ends = begins + int(task.visits.service[visit])
            rows.append(
                (visit, shift, agent, place + 1, leaves, arrives, begins, ends, seconds, metres)
            )
            leaves = ends
    return pd.DataFrame(rows, columns=list(COLUMNS))
