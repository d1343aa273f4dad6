"""Published routing instances told as tasks of visits: customers are plots, depots are bases.

A vehicle is an agent with one day in the field. Where an instance has one depot and times in the
same unit as distances, that is all there is to it: the day's hours are the depot's, what a customer
demands is carried there, and a second of the task is a tenth or a thousandth of the unit.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from districtplan.visits.task import ANYONE, Crew, Shifts, Task, Visits, Ways

ENOUGH = 2**40


def task_of(seconds, base, visits: dict, shift: dict) -> Task:
    """One mode, agents with a day each, nothing barred; what isn't told is without limit."""
    count, agents = len(visits["place"]), len(base)
    zeros = np.zeros(count, np.int64)
    told = {
        "plot": np.arange(count), "opens": zeros, "closes": zeros + ENOUGH, "service": zeros,
        "priority": zeros, "agent": zeros + ANYONE, "load": zeros, **visits,
    }  # fmt: skip
    none, much = np.zeros(agents, np.int64), np.full(agents, ENOUGH)
    hours = {"leaves": none, "returns": much, "longest": much, "carries": much, **shift}
    crew = Crew(base, none, np.ones((agents, count), np.bool_), much, much)
    return Task(
        Visits(**told), crew, Shifts(np.arange(agents), **hours), Ways([seconds], [seconds])
    )


def away(places) -> np.ndarray:
    return np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))


def solomon(path: Path) -> Task:
    """Distances and times truncated to one decimal: a second is a tenth of the unit."""
    lines = path.read_text(encoding="utf-8").splitlines()
    vehicles, capacity = (int(part) for part in lines[4].split())
    table = np.array([line.split() for line in lines[9:] if line.strip()], float)
    seconds = (10 * (away(table[:, 1:3]) + 1e-9)).astype(np.int64)
    demand, opens, closes, service = (table[1:, column].astype(np.int64) for column in range(3, 7))
    return task_of(
        seconds,
        np.zeros(vehicles, np.int64),
        {
            "place": np.arange(1, len(table)), "opens": 10 * opens, "closes": 10 * closes,
            "service": 10 * service, "load": demand,
        },
        {
            "returns": np.full(vehicles, 10 * int(table[0, 5])),
            "carries": np.full(vehicles, capacity),
        },
    )  # fmt: skip


def sections(path: Path) -> tuple[dict[str, str], dict[str, np.ndarray]]:
    """Read a file of keys and of tables of numbers."""
    keys, tables, name = {}, {}, ""
    for line in path.read_text(encoding="utf-8").splitlines():
        key, colon, value = line.partition(":")
        if colon:
            keys[key.strip()] = value.strip()
        elif line.strip() and line.strip()[0] not in "-0123456789":
            name = line.strip()
        elif name and line.strip():
            tables.setdefault(name, []).append([float(part) for part in line.split()])
    return keys, {name: np.array(rows) for name, rows in tables.items() if len(rows[0]) > 1}


def tsplib(path: Path) -> Task:
    """A round of one agent in one day; distances to the nearest whole number."""
    _, tables = sections(path)
    places = tables["NODE_COORD_SECTION"][:, 1:]
    return task_of(
        (away(places) + 0.5).astype(np.int64),
        np.zeros(1, np.int64),
        {"place": np.arange(1, len(places))},
        {},
    )


def multi_depot(path: Path) -> Task:
    """Distances times 1,000, to the nearest whole number; a vehicle's duration is limited."""
    keys, tables = sections(path)
    places = tables["NODE_COORD_SECTION"][:, 1:]
    base = tables["VEHICLES_DEPOT_SECTION"][:, 1].astype(np.int64) - 1
    customers = np.arange(base.max() + 1, len(places))
    opens, closes = (
        np.rint(1_000 * tables["TIME_WINDOW_SECTION"][:, column]).astype(np.int64)
        for column in (1, 2)
    )
    vehicles = len(base)
    return task_of(
        np.rint(1_000 * away(places)).astype(np.int64),
        base,
        {
            "place": customers, "opens": opens[customers], "closes": closes[customers],
            "service": (1_000 * tables["SERVICE_TIME_SECTION"][customers, 1]).astype(np.int64),
            "load": tables["DEMAND_SECTION"][customers, 1].astype(np.int64),
        },
        {
            "leaves": opens[base], "returns": closes[base],
            "longest": np.full(vehicles, 1_000 * int(keys["VEHICLES_MAX_DURATION"])),
            "carries": np.full(vehicles, int(keys["CAPACITY"])),
        },
    )  # fmt: skip
