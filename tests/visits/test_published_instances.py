"""Published routing instances through the project's own tasks, against the best that is known.

Solomon's are told in convention A: distances truncated to one decimal, the least distance whatever
the number of vehicles. The clock stops these searches, as the limits are in seconds; so they are
slow tests, and some of the easy ones with few steps are left for every
day. Round trips end by steps.
"""

from __future__ import annotations

import json
from functools import cache
from statistics import median

import pytest

from districtplan.visits import Effort
from districtplan.visits.clocked import timed
from districtplan.visits.route import route
from tests.support import benchmark_data
from tests.visits import published_tasks

SEEDS = (1, 2, 3)
ENDLESS, STEPS = 10**9, 12_000
SOLOMON = ["c101", "c201", "r101", "r102", "r201", "rc101", "rc201"]
MULTI_DEPOT = ["PR11A", "PR17A"]
TSPLIB = ["berlin52", "eil51", "eil76", "kroA100", "a280"]


@cache
def known() -> dict:
    return json.loads((benchmark_data() / "best_known.json").read_text(encoding="utf-8"))


def beyond(task, best: float, effort: Effort) -> float:
    """Plan every customer; give the share by which the ways are longer than the best known."""
    found = route(task, effort)
    assert sorted(found.visit.tolist()) == list(range(len(task.visits)))
    days = [timed(task, shift, order) for shift, order in found.by_shift().items()]
    return sum(sum(day.travel) for day in days) / best - 1


def median_beyond(task, best: float, seconds: float) -> float:
    return median(beyond(task, best, Effort(ENDLESS, ENDLESS, seed, seconds)) for seed in SEEDS)


def solomon(name: str):
    task = published_tasks.solomon(benchmark_data() / "solomon" / f"{name}.txt")
    return task, 10 * known()["solomon_A_one_decimal"][name]


def multi_depot(name: str):
    task = published_tasks.multi_depot(benchmark_data() / "mdvrptw" / f"{name}.vrp")
    return task, known()["mdvrptw_x1000"][name]


def tsplib(name: str):
    task = published_tasks.tsplib(benchmark_data() / "tsplib" / f"{name}.tsp")
    return task, known()["tsplib"][name]


@pytest.mark.parametrize(
    ("told", "name", "most"),
    [(solomon, "c101", 0.0), (solomon, "r101", 0.01), (tsplib, "eil51", 0.01)],
    ids=["c101", "r101", "eil51"],
)
def test_few_steps_do_for_easy_ones(told, name, most):
    assert 0 <= beyond(*told(name), Effort()) <= most


@pytest.mark.slow
@pytest.mark.parametrize("name", SOLOMON)
def test_solomon_1987(name):
    assert 0 <= median_beyond(*solomon(name), 10) <= 0.01


@pytest.mark.slow
@pytest.mark.parametrize("name", MULTI_DEPOT)
def test_vidal_2013_with_several_depots(name):
    assert 0 <= median_beyond(*multi_depot(name), 60) <= 0.05


@pytest.mark.slow
@pytest.mark.parametrize("name", TSPLIB)
def test_reinelt_1991(name):
    task, best = tsplib(name)
    shares = [beyond(task, best, Effort(STEPS, STEPS, seed)) for seed in SEEDS]
    assert 0 <= median(shares) <= 0.01


def test_every_instance_with_a_known_value_is_named():
    assert sorted(SOLOMON) == sorted(known()["solomon_A_one_decimal"])
    assert sorted(MULTI_DEPOT) == sorted(known()["mdvrptw_x1000"])
    assert {*TSPLIB, "pr1002"} == set(known()["tsplib"])
