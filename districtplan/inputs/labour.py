"""Person-days by village, work and week, from the district's own figures."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from typing import TYPE_CHECKING

import pandas as pd

from districtplan.inputs.zones import REST

if TYPE_CHECKING:
    from datetime import date

    from districtplan.plan import Plan

SUNDAY = 6
"""The last day of a week, as dates count it from Monday on."""
WORKS = {
    "peg_and_dig": "peg_and_dig",
    "planting": "planting",
    "weeding_1": "weeding_1",
    "weeding_2": "weeding_2",
    "weeding_3": "weeding_3",
    "harvest": "harvest",
    "carry_manure": "inputs_in_village",
}
"""Works, and the line of the calendar that says when."""


def labour(
    kits: pd.DataFrame, dated: pd.DataFrame, plan: Plan, zone_of: dict[str, str]
) -> pd.DataFrame:
    """Count the work of those who take part.

    Parameters
    ----------
    kits : pandas.DataFrame
        Their plots: ``village``, ``bean_area_ha`` and ``manure_loads``.
    dated : pandas.DataFrame
        The calendar.
    plan : Plan
        Its section ``labour``; works without a figure are left out.
    zone_of : dict[str, str]
        Zone by village, of those that have one.

    Returns
    -------
    pandas.DataFrame
        ``village``, ``work``, ``week_to`` (its Sunday: no week seems to
        end before its work), ``week_share``, the share of the work's days
        in a usual season that lie in it, and ``work_days``, spread evenly over them;
        ``hands_days`` that the village has in that week, NaN where the plan doesn't say.
    """
    columns = ["village", "work", "week_to", "week_share", "work_days", "hands_days"]
    usual: dict[tuple[str, str], tuple[date, date]] = {
        (row["zone"], row["work"]): (row["first_day"], row["last_day"])
        for row in dated[dated["season"] == "usual"].to_dict("records")
    }
    hands, week_days = plan.labour.hands_a_plot, plan.labour.work_days_a_week
    found = []
    for village, plots in kits.groupby("village", sort=True):
        there = float("nan") if hands is None else hands * len(plots) * week_days
        for work, line in WORKS.items():
            days = _person_days(work, plots, plan)
            if days is None:
                continue
            first, last = usual[zone_of.get(str(village), REST), line]
            dates = [first + timedelta(days=day) for day in range((last - first).days + 1)]
            weeks = Counter(day + timedelta(days=SUNDAY - day.weekday()) for day in dates)
            for week, count in sorted(weeks.items()):
                share = count / len(dates)
                found.append((village, work, week, share, days * share, there))
    return pd.DataFrame(found, columns=columns)


def _person_days(work: str, plots: pd.DataFrame, plan: Plan) -> float | None:
    if work == "carry_manure":
        loads = plan.labour.manure_loads_a_day
        if loads is None or plots["manure_loads"].isna().any():
            return None
        return float(plots["manure_loads"].sum()) / loads
    each = getattr(plan.labour, f"{work}_days_ha")
    return None if each is None else float(plots["bean_area_ha"].sum()) * each
