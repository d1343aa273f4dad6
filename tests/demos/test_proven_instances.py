"""Published instances of maximal covering whose optimum is proven: the same value, gap 0."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest
from scipy.spatial import KDTree

from districtplan.demos import Conditions, Reach, choose, rules
from tests.demos.cases import sites_of
from tests.support import benchmark_data

SJC = [
    ("SJC324", 1), ("SJC324", 2), ("SJC324", 3), ("SJC324", 5), ("SJC500", 3), ("SJC500", 5),
    ("SJC818", 5), ("SJC818", 8),
]  # fmt: skip


@cache
def lines(name: str) -> list[list[str]]:
    text = (benchmark_data() / "mclp" / f"{name}.txt").read_text(encoding="utf-8")
    return [line.split() for line in text.splitlines()[1:] if line.strip()]


@cache
def known() -> dict:
    return json.loads((benchmark_data() / "best_known.json").read_text(encoding="utf-8"))


def proven(demand, sites, weight, within: float, count: int) -> float:
    near = KDTree(sites).query_ball_point(demand, within)
    row = np.repeat(np.arange(len(demand)), [len(some) for some in near])
    reach = Reach.of(weight, row, np.concatenate(near).astype(int), len(sites))
    cover = choose(reach, rules(sites_of(len(sites)), Conditions(count=count)))
    assert cover.value == cover.bound == reach.value(cover.chosen)
    assert cover.gap == 0
    assert len(cover.chosen) == count
    assert cover.greedy_value <= cover.value
    assert cover.reproducible
    return cover.value


@pytest.mark.parametrize(("name", "count"), SJC, ids=[f"{name} p={count}" for name, count in SJC])
def test_lorena_and_pereira_2002(name, count):
    table = np.array(lines(f"SJC_{name}"), float)[:, :3]
    value = proven(table[:, :2], table[:, :2], table[:, 2], 800, count)
    assert value == known()["mclp_S800_proved_here"][name][str(count)]


def test_zarandi_2011_layout_zds1800():
    table = np.array(lines("ZDS_ZDS1800"), float)[:, :3]
    value = proven(table[:, :2], table[:, :2], table[:, 2], 3.5, 10)
    assert value == known()["mclp_zds1800_S3.5_p10_proved_here"]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["BDS10000A", "BDS100000A"])
def test_cordeau_furini_ljubic_2019(name):
    rows = lines(f"BDS_{name}")
    sites = np.array([row[2:4] for row in rows if row[0] == "F"], float)
    table = np.array([row[2:5] for row in rows if row[0] == "C"], float)
    value = proven(table[:, :2], sites, table[:, 2], 6.25, 10)
    assert value == known()["mclp_bds_S6.25_p10_proved_here"][name]


def test_every_instance_with_a_proven_value_is_named():
    values = known()["mclp_S800_proved_here"]
    assert sorted(SJC) == sorted((name, int(count)) for name in values for count in values[name])
