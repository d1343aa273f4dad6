"""A judge of plans that shares no line with who makes them: all that a plan must keep to."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from districtplan.visits.task import Task

HOME = -1


def faults(task: Task, rows: pd.DataFrame, dropped: dict[int, str]) -> list[str]:
    """Check rows of ``visit shift agent sequence leaves arrives begins ends travel_s metres``.

    ``leaves`` is when the agent sets out for the visit. The last row of a day is the way home, with
    ``visit`` -1.
    """
    found = [*_lost(task, rows, dropped), *_of_agents(task, rows)]
    for shift, day in rows.groupby("shift"):
        for part in (_order, _ways, _stops, _limits):
            found += [f"day {shift}: {what}" for what in part(task, int(shift), day)]
    return found


def _lost(task: Task, rows: pd.DataFrame, dropped: dict[int, str]) -> Iterator[str]:
    made = rows.loc[rows["visit"] != HOME, "visit"].tolist()
    for visit in range(len(task.visits)):
        times = made.count(visit)
        if times > 1:
            yield f"visit {visit} made {times} times"
        if times == 0 and visit not in dropped:
            yield f"visit {visit} lost"
        if times and visit in dropped:
            yield f"visit {visit} both made and dropped"


def _of_agents(task: Task, rows: pd.DataFrame) -> Iterator[str]:
    if (rows["agent"].to_numpy() != task.shifts.agent[rows["shift"]]).any():
        yield "a day of another agent"
    made = rows[rows["visit"] != HOME]
    pairs = {
        (plot, agent)
        for plot, agent in zip(task.visits.plot[made["visit"]], made["agent"], strict=True)
    }
    if len(pairs) != len({plot for plot, _ in pairs}):
        yield "a plot with several agents"
    for agent, some in rows.groupby("agent"):
        if some["metres"].sum() > task.crew.furthest_m[agent]:
            yield f"agent {agent} rides too far"
        if len(set(some["shift"])) > task.crew.days_most[agent]:
            yield f"agent {agent} has too many days"


def _order(task: Task, shift: int, day: pd.DataFrame) -> Iterator[str]:
    if day["sequence"].tolist() != list(range(1, len(day) + 1)):
        yield "sequence"
    if day["visit"].tolist()[-1] != HOME or day["visit"].tolist().count(HOME) != 1:
        yield "no way home"


def _ways(task: Task, shift: int, day: pd.DataFrame) -> Iterator[str]:
    agent = task.shifts.agent[shift]
    here, mode = task.crew.base[agent], task.crew.mode[agent]
    for row in day.itertuples():
        there = task.crew.base[agent] if row.visit == HOME else task.visits.place[row.visit]
        if row.travel_s != task.ways.seconds[mode][here, there]:
            yield f"{row.visit} travel"
        if row.metres != task.ways.metres[mode][here, there]:
            yield f"{row.visit} metres"
        if row.arrives != row.leaves + row.travel_s:
            yield f"{row.visit} arrival"
        here = there


def _stops(task: Task, shift: int, day: pd.DataFrame) -> Iterator[str]:
    agent, visits, now = task.shifts.agent[shift], task.visits, task.shifts.leaves[shift]
    for row in day.itertuples():
        if row.leaves < now:
            yield f"{row.visit} left for too early"
        now = row.ends
        if row.visit == HOME:
            continue
        if row.begins < row.arrives:
            yield f"{row.visit} begun before arrival"
        if not visits.opens[row.visit] <= row.begins <= visits.closes[row.visit]:
            yield f"{row.visit} outside its window"
        if row.ends != row.begins + visits.service[row.visit]:
            yield f"{row.visit} service"
        if not task.crew.serves[agent, visits.plot[row.visit]]:
            yield f"{row.visit} barred"
        if visits.agent[row.visit] not in (-1, agent):
            yield f"{row.visit} bound to another agent"


def _limits(task: Task, shift: int, day: pd.DataFrame) -> Iterator[str]:
    shifts = task.shifts
    begun, home = day["leaves"].iloc[0], day["arrives"].iloc[-1]
    if home > shifts.returns[shift]:
        yield "home too late"
    if home - begun > shifts.longest[shift]:
        yield "too long a day"
    stops = day.loc[day["visit"] != HOME, "visit"]
    if task.visits.load[stops].sum() > shifts.carries[shift]:
        yield "too heavy"
