"""How near plans come to the best that is known: ``python -m tests.published_speed``.

Published routing instances are planned through the project's own tasks and its one way to the
solver, with three seeds each; the median of how much longer the ways are is held to a limit, and so
is the time where the instance has one. Solomon's are told in convention A: distances truncated to
one decimal, the least distance whatever the number of vehicles. Round trips end by steps.

Seconds are those of the processor: beside other work a search would else be given fewer steps, and
the machine's load would be measured. On a machine with nothing else to do they are the clock's.

Fails where a limit is missed. The instances aren't part of the project; without them it says so and
ends. ``python -m tests.published_speed NAME ...`` plans some instances alone.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from statistics import median
from typing import TYPE_CHECKING, NamedTuple
from unittest import mock

import pytest

from districtplan.visits import Effort, solver
from districtplan.visits.clocked import timed
from districtplan.visits.route import route
from tests.benchmark import CALIBRATION
from tests.support import benchmark_data
from tests.visits import published_tasks

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from districtplan.visits.task import Task

SEEDS = (1, 2, 3)
ENDLESS, STEPS = 10**9, 40_000
SPARE_S = 0.5
"""What a search leaves of its seconds for telling the model and reading the plan."""


class Kind(NamedTuple):
    """Instances that are told alike, and what they are held to."""

    file: str
    told: Callable[[Path], Task]
    known: str
    unit: int
    """What one of the best known lengths is in the task's seconds."""
    most: float
    """Share by which the ways may be longer."""
    seconds: float | None


class Instance(NamedTuple):
    """A published instance."""

    name: str
    kind: Kind


class Found(NamedTuple):
    """What three plans of an instance came to."""

    gaps: list[float]
    """Share by which the ways are longer than the best known, by seed."""
    worked: float
    clock: float
    """Most seconds of a plan, of the processor and by the clock."""


SOLOMON = Kind("solomon/{}.txt", published_tasks.solomon, "solomon_A_one_decimal", 10, 0.01, 10)
MULTI_DEPOT = Kind("mdvrptw/{}.vrp", published_tasks.multi_depot, "mdvrptw_x1000", 1, 0.05, 60)
TSPLIB = Kind("tsplib/{}.tsp", published_tasks.tsplib, "tsplib", 1, 0.01, None)
NAMES = {
    SOLOMON: ("c101", "c201", "r101", "r102", "r201", "rc101", "rc201"),
    MULTI_DEPOT: ("PR11A", "PR17A"),
    TSPLIB: ("berlin52", "eil51", "eil76", "kroA100", "a280"),
}
INSTANCES = {name: Instance(name, kind) for kind, names in NAMES.items() for name in names}


class Worked:
    """Stops a search after seconds of the processor."""

    def __init__(self, seconds: float) -> None:
        self.ends = time.process_time() + seconds

    def __call__(self, best_cost: float) -> bool:
        """Say whether the search is over."""
        return time.process_time() >= self.ends


def known() -> dict[str, dict[str, float]]:
    """Read the best lengths that are known, by convention and name."""
    told: dict[str, dict[str, float]] = json.loads(
        (benchmark_data() / "best_known.json").read_text(encoding="utf-8")
    )
    return told


def beyond(instance: Instance, effort: Effort) -> float:
    """Plan every customer; give the share by which the ways are longer than the best known."""
    task, kind = told(instance), instance.kind
    with mock.patch.object(solver, "MaxRuntime", Worked):
        found = route(task, effort)
    if sorted(found.visit.tolist()) != list(range(len(task.visits))):
        return float("inf")
    days = [timed(task, shift, order) for shift, order in found.by_shift().items()]
    if None in days:
        return float("inf")
    best = kind.unit * known()[kind.known][instance.name]
    return sum(sum(day.travel) for day in days if day is not None) / best - 1


def told(instance: Instance) -> Task:
    """Tell an instance as a task."""
    return instance.kind.told(benchmark_data() / instance.kind.file.format(instance.name))


def measured(instance: Instance) -> Found:
    """Plan an instance with each seed."""
    seconds, gaps, took = instance.kind.seconds, [], []
    for seed in SEEDS:
        effort = (
            Effort(STEPS, STEPS, seed)
            if seconds is None
            else Effort(ENDLESS, ENDLESS, seed, seconds - SPARE_S)
        )
        begun = time.process_time(), time.perf_counter()
        gaps.append(beyond(instance, effort))
        took.append((time.process_time() - begun[0], time.perf_counter() - begun[1]))
    return Found(gaps, *(max(times) for times in zip(*took, strict=True)))


def missed(kind: Kind, found: Found) -> list[str]:
    """Name the limits that are missed."""
    limits = {
        f"more than {kind.most:.0%} beyond": not median(found.gaps) <= kind.most,
        "shorter than the best that is known": min(found.gaps) < 0,
        "too slow": kind.seconds is not None and found.worked > kind.seconds,
    }
    return [name for name, is_missed in limits.items() if is_missed]


def main() -> int:
    """Measure each instance."""
    try:
        benchmark_data()
    except (pytest.skip.Exception, pytest.fail.Exception) as absent:
        sys.exit(str(absent))
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", CALIBRATION], check=True)
    print(f"calibration {time.perf_counter() - begun:.1f} s", flush=True)  # noqa: T201
    count = 0
    for name in sys.argv[1:] or INSTANCES:
        instance = INSTANCES[name]
        found = measured(instance)
        gaps = ", ".join(f"{gap:.2%}" for gap in found.gaps)
        text = (
            f"{name}: {gaps} beyond the best known, {median(found.gaps):.2%} at the median; at "
            f"most {found.worked:.1f} s of the processor, {found.clock:.1f} s by the clock"
        )
        some = missed(instance.kind, found)
        print(text, *some, sep="; MISSED: ", flush=True)  # noqa: T201 - this script's result
        count += len(some)
    return count


if __name__ == "__main__":
    sys.exit(main())
