"""The small district with demonstration plots chosen among all its plots."""

from __future__ import annotations

import dataclasses

import numpy as np

from districtplan import demos, travel
from districtplan.handbook import packaged
from districtplan.results import Results, join

MESSAGES = [
    {"name": "rows =1+1", "treatments": ["<b>seed</b>", "rows"]},
    {"name": "strips", "treatments": ["grass"], "barrier": True, "slope_min_pct": 8.0},
]
NOTHING = np.empty(0, dtype=object)


def asked_by(results: Results, **keys):
    """Its plan, with demonstration plots."""
    told = results.plan.model_dump(exclude_unset=True)
    usual = {"plots": 2, "reach_m": 130.0, "consent": "not asked", "messages": MESSAGES}
    return type(results.plan).model_validate({**told, "demos": {**usual, **keys}})


def taught_by(results: Results, **keys) -> Results:
    """The same run with such a plan, its demonstration plots chosen and laid out."""
    plan = asked_by(results, **keys)
    plots = join(results.plots, results.purchase.kits[["plot_id", "farmer_id", "order_line"]])
    outlines = plots["geometry"].to_numpy(dtype=object)
    found = demos.facts(plots, outlines, demos.Beside(NOTHING, None, None, None, None), plan)
    links = travel.straight(
        found.people.place_m, found.place_m[found.open_plots], 1.0, plan.demos.reach_m
    )
    chosen = demos.allot(found, links, plan.demos, packaged())
    laid = demos.layouts(chosen.chosen, plots, outlines, plan.demos, packaged())
    return dataclasses.replace(results, plan=plan, demos=dataclasses.replace(chosen, laid=laid))
