"""Tasks made from a plan that can be kept: whoever plans them needs to leave nothing out.

Agents have bases in a district with hills in the way (no way is straight). Groups of plots near one
another are visited together, once in each stage; each planted day is full but for a few minutes.
The windows of visits span the planted day and some days around it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from districtplan.visits.task import ANYONE, DAY_S, Crew, Shifts, Task, Visits, Ways

HOURS = (7 * 3600, 14 * 3600)
WEEK = 5


class Planted(NamedTuple):
    """A task and the plan that it was made from."""

    task: Task
    days: dict[int, list[int]]


class Size(NamedTuple):
    """How large a district is."""

    agents: int
    groups: int
    """Of plots an agent, each visited in one day."""
    plots: int
    """In a group."""
    stages: int
    weeks: int
    """In a stage."""


SMALL = Size(agents=3, groups=10, plots=4, stages=4, weeks=2)
LARGE = Size(agents=30, groups=10, plots=5, stages=4, weeks=2)


def planted(size: Size, seed: int, spare_s: int = 600, around: int = 4) -> Planted:
    """Make a district; days leave so much to spare, and windows so many days around."""
    rng = np.random.default_rng(seed)
    side = 12_000 * np.sqrt(size.agents)
    base, plot, owner = _places(size, rng, side)
    places = np.concatenate([base, plot])
    metres = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) * 1.3
    # Uphill takes longer than down: the way back differs from the way there.
    high = 200 * np.sin(places[:, 0] / 3_000) * np.cos(places[:, 1] / 4_000)
    seconds = np.rint(metres / 3.0 + np.maximum(high[None] - high[:, None], 0) * 2).astype(np.int32)
    days_of = 7 * (np.arange(size.weeks * size.stages * WEEK) // WEEK)
    days_of += np.arange(len(days_of)) % WEEK
    shifts = _shifts(size.agents, days_of)
    rows, days = [], {}
    stage_days = size.weeks * WEEK
    for agent in range(size.agents):
        groups = np.flatnonzero(owner == agent).reshape(size.groups, size.plots)
        for stage in range(size.stages):
            free = rng.permutation(stage_days)[: size.groups]
            for members, place in zip(groups, free, strict=True):
                shift = agent * len(days_of) + stage * stage_days + int(place)
                order, service = _day(seconds, agent, members + size.agents, spare_s)
                days[shift] = list(range(len(rows), len(rows) + len(order)))
                low, high_day = rng.integers(0, around + 1, (2, len(order)))
                first = np.maximum(stage * stage_days, stage * stage_days + place - low)
                last = np.minimum(
                    (stage + 1) * stage_days - 1, stage * stage_days + place + high_day
                )
                rows += [
                    (
                        one,
                        one - size.agents,
                        DAY_S * days_of[a],
                        DAY_S * (days_of[b] + 1) - 1,
                        service,
                    )
                    for one, a, b in zip(order, first, last, strict=True)
                ]
    table = np.array(rows, np.int64)
    shuffled = rng.permutation(len(table))
    zeros = np.zeros(len(table), np.int64)
    number = np.argsort(shuffled)
    visits = Visits(*table[shuffled].T, zeros, zeros + ANYONE, zeros)
    crew = Crew(
        np.arange(size.agents), np.zeros(size.agents, np.int64),
        np.ones((size.agents, len(plot)), np.bool_),
        np.full(size.agents, 2**40), np.full(size.agents, 2**40),
    )  # fmt: skip
    task = Task(visits, crew, shifts, Ways([seconds], [metres.astype(np.int32)]))
    return Planted(task, {shift: number[order].tolist() for shift, order in days.items()})


def _places(size: Size, rng, side: float):
    grid = int(np.ceil(np.sqrt(size.agents)))
    cell = np.stack(np.divmod(np.arange(size.agents), grid), axis=1)
    base = (cell + rng.uniform(0.35, 0.65, (size.agents, 2))) * side / grid
    groups = size.agents * size.groups
    of_agent = np.repeat(np.arange(size.agents), size.groups)
    turn, away = rng.uniform(0, 2 * np.pi, groups), rng.uniform(1_500, 6_500, groups)
    centre = base[of_agent] + (away * np.stack([np.cos(turn), np.sin(turn)])).T
    plot = np.repeat(centre, size.plots, axis=0) + rng.normal(0, 500, (groups * size.plots, 2))
    return base, plot, np.repeat(of_agent, size.plots)


def _shifts(agents: int, days_of) -> Shifts:
    agent = np.repeat(np.arange(agents), len(days_of))
    midnight = DAY_S * np.tile(days_of, agents)
    hours = np.full(len(agent), HOURS[1] - HOURS[0])
    return Shifts(
        agent, midnight + HOURS[0], midnight + HOURS[1], hours, np.full(len(agent), 2**40)
    )


def _day(seconds, base: int, members, spare_s: int) -> tuple[list[int], int]:
    """Order a group's plots the shortest way, and let work fill the day."""
    import itertools

    tours = (
        (sum(seconds[a, b] for a, b in itertools.pairwise([base, *order, base])), order)
        for order in itertools.permutations(members.tolist())
    )
    travel, order = min(tours)
    return list(order), int((HOURS[1] - HOURS[0] - spare_s - travel) // len(order))
