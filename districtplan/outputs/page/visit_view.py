"""Who comes when, for the page's script: routes, load by agent and week, what is left out."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pandas as pd

from districtplan.outputs import visit_words
from districtplan.outputs.page import palette, shapes
from districtplan.outputs.visit_tables import routes, visit_layers

if TYPE_CHECKING:
    from datetime import date

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results
    from districtplan.visits import VisitPlan

DAYS_MAX = 2_000
"""Days in the field that the page lists and draws; the workbook has all."""
LEFT_MAX = 100
"""Visits left out that the page lists; all are in visits.csv, and each on its plot's card."""


def district(
    results: Results, origin_deg: tuple[float, float], texts: Texts
) -> dict[str, Any] | None:
    """Gather what the view of visits shows.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any] | None
        ``agents``, each with its ``days``: what is told of each, its stops, and the ``line`` of
        ``routes`` that it is; ``plots``, the number of the agent by place; ``load``, a row a week;
        ``left``, what is left out and why; ``villages``, of each the visits that are planned, their
        hours at work, and the visits left out. None where the plan names no agents.
    """
    found = results.visits
    if found is None:
        return None
    place = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    number = {agent: at for at, agent in enumerate(found.agents["agent_id"], 1)}
    with_day = found.visits[found.visits["visit_day"].notna() & (found.visits["plot_id"] != "")]
    agent_of = dict(zip(with_day["plot_id"], with_day["agent_id"], strict=True))
    lines = visit_layers(results)["visit_routes"]["geometry"].to_numpy(dtype=object)[:DAYS_MAX]
    days = _days(found, texts)
    missing = found.visits[found.visits["visit_left_out"].notna()]
    return {
        "look": {"fill": palette.CHOSEN, "ink": palette.ink_on(palette.CHOSEN)},
        "agents": [
            {"number": number[agent], "id": agent, "days": days.get(agent, [])} for agent in number
        ],
        "plots": [
            [place[plot_id], number[agent]]
            for plot_id, agent in agent_of.items()
            if plot_id in place and agent in number
        ],
        "routes": shapes.pack_lines(
            np.asarray(lines, dtype=object).reshape(-1), results.grid_crs, origin_deg
        ),
        "days_left_out": max(len(found.days) - DAYS_MAX, 0),
        "load": _load(found, texts),
        "villages": _of_villages(found, results.villages["village"].tolist()),
        "left": [
            f"{visit_words.stage(row, texts)}, {row['visit_place']}: "
            f"{texts.say('visits.why.' + row['visit_left_out'])}"
            for row in cast("list[dict[str, Any]]", missing[:LEFT_MAX].to_dict("records"))
        ],
        "left_more": max(len(missing) - LEFT_MAX, 0),
    }


def _days(found: VisitPlan, texts: Texts) -> dict[str, list[dict[str, Any]]]:
    """Tell of each agent's days."""
    table = {(row["agent_id"], row["visit_day"]): row for row in found.days.to_dict("records")}
    told: dict[str, list[dict[str, Any]]] = {}
    for line, (agent, when, stops, _) in enumerate(islice(routes(found), DAYS_MAX)):
        day = table[agent, when]
        told.setdefault(agent, []).append(
            {
                "line": line,
                "day": texts.day(cast("date", when)),
                "said": texts.say(
                    "visits.day", leaves=day["day_leaves"], home=day["day_home"],
                    way=day["day_way_min"], share=texts.number(day["day_way_share_pct"], ".0f"),
                    work=day["day_work_min"], slack=day["day_slack_min"],
                ),
                "stops": [
                    f"{row['visit_begins']} {row['visit_place']}: {visit_words.stage(row, texts)}"
                    for row in cast("list[dict[str, Any]]", stops.to_dict("records"))
                ],
            }
        )  # fmt: skip
    return told


def _load(found: VisitPlan, texts: Texts) -> list[list[str]]:
    """Give hours away by week, a column an agent; nothing is an empty cell."""
    hours = {
        (row["load_week"], row["agent_id"]): row["load_hours"]
        for row in found.load.to_dict("records")
    }
    agents = found.agents["agent_id"].tolist()
    return [
        [
            texts.day(week),
            *(
                texts.number(hours[week, one], ".0f") if (week, one) in hours else ""
                for one in agents
            ),
        ]
        for week in sorted({week for week, _ in hours})
    ]


def _of_villages(found: VisitPlan, names: list[str]) -> list[list[int]]:
    """Count the visits planned in each village, their hours at work, and those left out."""
    made = found.visits[found.visits["visit_day"].notna()]
    begins, ends = (pd.to_timedelta(made[f"visit_{end}"] + ":00") for end in ("begins", "ends"))
    hours = ((ends - begins) / pd.Timedelta(hours=1)).groupby(made["village"]).sum()
    left = found.visits.loc[found.visits["visit_left_out"].notna(), "village"].value_counts()
    planned = made["village"].value_counts()
    return [
        [int(planned.get(name, 0)), round(float(hours.get(name, 0))), int(left.get(name, 0))]
        for name in names
    ]


def of_plots(results: Results, texts: Texts) -> list[list[str]]:
    """Say of each plot who visits it when; nothing where the plan names no agents.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[list[str]]
        Sentences, in the order of the plots.
    """
    if results.visits is None:
        return []
    told = visit_words.of_plots(results.visits, texts)
    none = [texts.say("visits.plot_none")]
    return [told.get(plot_id, none) for plot_id in results.plots["plot_id"]]
