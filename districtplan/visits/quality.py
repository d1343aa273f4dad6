"""How good a plan is, beside one that goes to the nearest visit first.

No lower bound is told: the cheap ones, which let agents go round a few near plots for ever, lie far
below any plan.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from districtplan import tables
from districtplan.visits.cost import spent, spread
from districtplan.visits.days import HOUR_MIN, MINUTE_S
from districtplan.visits.nearest import nearest_first
from districtplan.visits.timetable import timetable

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from districtplan.visits.fit import Days
    from districtplan.visits.task import Task

    Ints = NDArray[np.int64]

HOUR_S = HOUR_MIN * MINUTE_S


def quality(task: Task, days: Days, agent_of: Ints) -> pd.DataFrame:
    """Set a plan beside the simple one.

    Parameters
    ----------
    task : Task
        What was planned.
    days : dict[int, list[int]]
        The plan: visits in order by the number of the day.
    agent_of : numpy.ndarray
        Agent by plot, shape (plots,); the simple plan has the same.

    Returns
    -------
    pandas.DataFrame
        The columns of ``visit quality`` in :mod:`districtplan.tables`: a row for the plan, and one
        for the simple plan.
    """
    told = {"as planned": days, "nearest first": nearest_first(task, agent_of)}
    rows = [{"quality_plan": name, **_of(task, plan)} for name, plan in told.items()]
    columns = tables.made_by("visit quality")
    return tables.check(pd.DataFrame(rows, columns=list(columns)), columns)


def _of(task: Task, days: Days) -> dict[str, object]:
    rows = timetable(task, days)
    each = spent(rows)
    away, road = each["away_s"].sum(), each["travel_s"].sum()
    visits = int(each["visits"].sum())
    least, most = spread(rows, len(task.crew))
    return {
        "quality_visits": visits,
        "quality_days": len(each),
        "quality_road_h": road / HOUR_S,
        "quality_road_visit_min": road / MINUTE_S / visits if visits else math.nan,
        "quality_road_share": road / away if away else math.nan,
        "quality_road_share_most": each["road_share"].max() if len(each) else math.nan,
        "quality_agent_least_h": least / HOUR_S,
        "quality_agent_most_h": most / HOUR_S,
    }
