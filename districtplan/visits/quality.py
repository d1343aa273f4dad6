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

if TYPE_CHECKING:
    from collections.abc import Mapping

AS_PLANNED, NEAREST = "as planned", "nearest first"
HOUR_S = HOUR_MIN * MINUTE_S
PCT = 100


def quality(plans: Mapping[str, pd.DataFrame], agents: int) -> pd.DataFrame:
    """Tell how good plans are, one beside the other.

    Parameters
    ----------
    plans : Mapping[str, pandas.DataFrame]
        By name, what :func:`~.timetable.timetable` gives, with ``walk_s``, what is walked of
        ``travel_s`` [s].
    agents : int
        How many agents there are.

    Returns
    -------
    pandas.DataFrame
        The columns of ``visit quality`` in :mod:`districtplan.tables`, a row for each plan.
    """
    rows = [{"quality_plan": name, **_of(plan, agents)} for name, plan in plans.items()]
    columns = tables.made_by("visit quality")
    return tables.check(pd.DataFrame(rows, columns=list(columns)), columns)


def _of(rows: pd.DataFrame, agents: int) -> dict[str, object]:
    each = spent(rows)
    away, road = each["away_s"].sum(), each["travel_s"].sum()
    visits = int(each["visits"].sum())
    least, most = spread(rows, agents)
    return {
        "quality_visits": visits,
        "quality_days": len(each),
        "quality_road_h": road / HOUR_S,
        "quality_walk_h": float(rows["walk_s"].sum()) / HOUR_S,
        "quality_road_visit_min": road / MINUTE_S / visits if visits else math.nan,
        "quality_road_share_pct": PCT * road / away if away else math.nan,
        "quality_road_share_most_pct": PCT * each["road_share"].max() if len(each) else math.nan,
        "quality_agent_least_h": least / HOUR_S,
        "quality_agent_most_h": most / HOUR_S,
    }
