"""The small district with two agents, whose visits are planned."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from districtplan import travel, visits
from districtplan.handbook import packaged
from districtplan.results import Results

AGENTS = (
    ("=T1", "<b>Tavi</b> Orrel", "motorcycle", "20", "10", "3"),
    ("T2", "Mera Sund", "on foot", "", "", ""),
)
FREE = "07:00", "14:00"


def agents_near(results: Results, barred: dict[str, str]) -> pd.DataFrame:
    """Two agents beside the plots; names are text from outside. Villages are barred by agent."""
    plots = results.plots
    at = plots["longitude_deg"].mean(), plots["latitude_deg"].mean()
    given = pd.DataFrame("", index=range(len(AGENTS)), columns=list(visits.AGENTS)).astype(object)
    for row, (agent, name, mode, speed, wet, litres) in enumerate(AGENTS):
        told = {
            "agent_id": agent, "name": name, "mode": mode, "speed_km_h": speed,
            "wet_speed_km_h": wet, "litres_100_km": litres, "from": FREE[0], "to": FREE[1],
            "week_days": "mon tue wed thu fri", "longitude_deg": f"{at[0]:.6f}",
            "latitude_deg": f"{at[1]:.6f}", "barred": barred.get(agent, ""),
        }  # fmt: skip
        for column, text in told.items():
            given.loc[row, column] = text
    given = given.assign(source_row=range(1, len(AGENTS) + 1), reason=None, remedy=None)
    return visits.accept_agents(given, set(plots["village"])).used


def visited_by(
    results: Results,
    carried: pd.DataFrame | None = None,
    hand: dict[str, str] | None = None,
    barred: dict[str, str] | None = None,
    leave: tuple[tuple[str, date, date], ...] = (),
    **keys,
) -> Results:
    """The same run with its visits planned; keys go into the plan's section.

    ``hand`` names the agents of places by hand, ``barred`` villages where agents may not go,
    ``leave`` agents and their first and last day of it.
    """
    told = results.plan.model_dump(exclude_unset=True)
    usual = {"agents": "agents.csv", "iterations": 50, "visited": "all"}
    plan = type(results.plan).model_validate({**told, "visits": {**usual, **keys}})
    book, agents = packaged(), agents_near(results, barred or {})
    villages = (sorted(results.plots["village"].unique()), book)
    calendar = results.purchase.calendar
    dated = visits.dated(calendar, {}, "usual", None, villages)
    shown = set() if results.demos is None else set(results.demos.chosen["plot_id"])
    about = visits.About(shown, set(), None, set())
    plots = visits.plots(results.plots, about, plan)
    listed = pd.DataFrame({"meeting_place": ["{{big}} tree"], "village": [villages[0][0]]})
    to_zone = Transformer.from_crs(4326, results.grid_crs, always_xy=True)
    degrees = results.plots[["plot_id", "longitude_deg", "latitude_deg"]]
    tree = degrees.iloc[[0]].assign(plot_id=None)
    places = np.column_stack(to_zone.transform(degrees["longitude_deg"], degrees["latitude_deg"]))
    demos = np.flatnonzero(plots["demo"])
    meetings = visits.meetings(plots, listed)
    held = np.concatenate([places[demos], places[:1]])
    near = travel.straight(places, held, 1.3, plan.visits.walk_m)
    ground = visits.Ground(plots, meetings, near)
    own = visits.numbered(_units(ground, dated, visits.policy(plan, book), hand or {}))
    away = pd.DataFrame(leave, columns=list(visits.LEAVE))
    stood = None if carried is None else visits.before(own, agents, carried)
    days = visits.season_days(own, agents, away, plan, stood)
    bases = np.column_stack(to_zone.transform(agents["longitude_deg"], agents["latitude_deg"]))
    at = np.concatenate([bases, held[own.meetings], places[own.plots]])
    walk = travel.Walking.of(book)
    speeds = visits.speeds(agents)
    ways = travel.by_modes(
        at, lambda points: travel.straight_minutes(points, 1.3, walk), travel.Riding(None, 1.3),
        speeds,
    )  # fmt: skip
    season = visits.Season(
        own,
        agents,
        *days,
        dated.onset,
        visits.Measured(speeds, visits.ways_of(ways.minutes, ways.metres), ways.heads_m),
    )
    planned = visits.plan(season, visits.effort(plan), visits.wanted(plan), stood)
    both = pd.concat([degrees.iloc[demos], tree, degrees], ignore_index=True)
    followed = both.iloc[[*own.meetings, *(len(demos) + 1 + own.plots)]].reset_index(drop=True)
    stages = visits.stage_table(calendar, {}, dated, plan, book)
    found = visits.told(season, planned, stages, followed, carried)
    assert shapely.is_valid(shapely.points(at)).all()
    return dataclasses.replace(results, plan=plan, visits=found)


def _units(ground, dated, policy, hand: dict[str, str]) -> pd.DataFrame:
    table = visits.units(ground, dated, policy)
    stage_of = dict(zip(table["place"], table["stage"], strict=True))
    fixed = [(place, stage_of[place], agent, None) for place, agent in hand.items()]
    by_hand = pd.DataFrame(fixed, columns=list(visits.BY_HAND))
    return visits.with_hand(table, ground, dated, by_hand)
