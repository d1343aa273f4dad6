"""Small tasks of visits."""

from __future__ import annotations

import numpy as np

from districtplan.visits.task import ANYONE, DAY_S, Crew, Shifts, Task, Visits, Ways

MUCH = 2**40
MORNING_S, HOUR_S = 7 * 3600, 3600


def random_task(seed: int) -> Task:
    """A few agents, days and visits, with whatever limits the seed draws; not all will fit."""
    rng = np.random.default_rng(seed)
    agents, count = int(rng.integers(1, 4)), int(rng.integers(1, 25))
    plots, days, modes = int(rng.integers(1, count + 1)), int(rng.integers(1, 6)), 2
    at = rng.uniform(0, 12_000, (agents + plots, 2))
    metres = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    high = rng.uniform(0, 300, len(at))
    up = np.maximum(high[None] - high[:, None], 0)
    ways = Ways(
        [np.rint(metres / speed + 2 * up).astype(np.int32) for speed in (1.2, 4.0)],
        [np.zeros_like(metres, np.int32), np.rint(metres).astype(np.int32)],
    )
    plot = rng.integers(0, plots, count)
    first = rng.integers(0, days, count)
    last = np.minimum(first + rng.integers(0, 4, count), days - 1)
    fixed = np.where(rng.random(count) < 0.1, rng.integers(0, agents, count), ANYONE)
    visits = Visits(
        agents + plot, plot, DAY_S * first, DAY_S * (last + 1) - 1,
        60 * rng.integers(10, 150, count), rng.integers(0, 3, count), fixed,
        rng.integers(0, 8_000, count),
    )  # fmt: skip
    crew = Crew(
        np.arange(agents), rng.integers(0, modes, agents), rng.random((agents, plots)) < 0.9,
        np.where(rng.random(agents) < 0.3, rng.integers(0, 60_000, agents), MUCH),
        np.where(rng.random(agents) < 0.3, rng.integers(0, days + 1, agents), MUCH),
    )  # fmt: skip
    worked = rng.random((agents, days)) < 0.8
    agent, day = np.nonzero(worked)
    leaves = DAY_S * day + MORNING_S
    length = HOUR_S * rng.integers(4, 9, len(agent))
    shifts = Shifts(
        agent, leaves, leaves + length, np.maximum(length - 1_800, 0),
        rng.integers(5_000, 40_000, len(agent)),
    )  # fmt: skip
    return Task(visits, crew, shifts, ways)


def line_task(
    minutes: list[int], service_min: int = 60, days: int = 1, hours: int = 7, **visits
) -> Task:
    """One agent at the end of a road; plots so many minutes along it, a visit each."""
    count = len(minutes)
    at = np.array([0, *minutes])
    seconds = 60 * np.abs(at[:, None] - at[None])
    zeros = np.zeros(count, np.int64)
    told = {
        "place": np.arange(1, count + 1), "plot": np.arange(count), "opens": zeros,
        "closes": zeros + days * DAY_S, "service": zeros + 60 * service_min, "priority": zeros,
        "agent": zeros + ANYONE, "load": zeros,
    }  # fmt: skip
    told |= {name: np.asarray(value) for name, value in visits.items()}
    leaves = DAY_S * np.arange(days) + MORNING_S
    none, much = np.zeros(1, np.int64), np.full(1, MUCH)
    return Task(
        Visits(**told),
        Crew(none, none, np.ones((1, count), np.bool_), much, much),
        Shifts(
            np.zeros(days, np.int64), leaves, leaves + hours * HOUR_S,
            np.full(days, hours * HOUR_S), np.full(days, MUCH),
        ),
        Ways([seconds], [10 * seconds]),
    )  # fmt: skip
