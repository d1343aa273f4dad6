"""Plots along a road, as the pipeline hands them to a choice of demonstration plots."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from districtplan import travel
from districtplan.demos import Allotment, Beside, Facts, allot, facts
from districtplan.handbook import packaged
from districtplan.plan import Plan
from tests.conftest import plan_of

ROWS = {"name": "rows", "treatments": ["seed", "rows"]}
STRIPS = {"name": "strips", "treatments": ["seed", "grass strip"], "barrier": True}
NOTHING = np.empty(0, dtype=object)


def asked(**demos) -> Plan:
    """A plan that asks for demonstration plots, of whomever."""
    usual = {"plots": 1, "reach_m": 130.0, "consent": "not asked", "messages": [ROWS]}
    return plan_of(demos={"way_factor": 1.0, **usual, **demos})


def plots_of(count: int, **known) -> tuple[pd.DataFrame, np.ndarray]:
    """Plots of a quarter hectare, 100 m apart along a road, alike but for what is told."""
    outlines = shapely.box(x := np.arange(count) * 100.0 - 25, np.full(count, -25.0), x + 50, 25.0)
    usual = {
        "plot_id": [f"P{number:02d}" for number in range(count)],
        "village": "Hill",
        "farmer_id": [f"F{number:02d}" for number in range(count)],
        "order_line": "enrolled",
        "area_ha": 0.25,
        "slope_used_pct": 6.0,
        "row_method": "straight",
        "flow_line_length_m": 0.0,
        "water_flags": [()] * count,
    }
    table = pd.DataFrame({**usual, **known}, index=range(count))
    return table, np.array(outlines, dtype=object)


def known_of(plan: Plan, count: int, beside: dict | None = None, **known) -> Facts:
    """Facts of such plots."""
    empty = {"paths": NOTHING, "enrolled": None, "answers": None, "homesteads": None, "shown": None}
    table, outlines = plots_of(count, **known)
    return facts(table, outlines, Beside(**{**empty, **(beside or {})}), plan)


def chosen_of(plan: Plan, count: int, beside: dict | None = None, **known) -> Allotment:
    """The choice among such plots, ways as the crow flies."""
    found = known_of(plan, count, beside, **known)
    ends = found.place_m[found.open_plots]
    links = travel.straight(found.people.place_m, ends, 1.0, plan.demos.reach_m)
    return allot(found, links, plan.demos, packaged())
