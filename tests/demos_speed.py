"""How sure a choice of demonstration plots is, and how fast: ``python -m tests.demos_speed``.

Invented districts with every condition in force: so many plots, at least and at most so many a
village, one a farmer, a distance, slope classes in proportion, plots forced in and out. Each is
chosen in a process of its own; greedy's loss and the conditions that bind stand beside it, and what
a fixed sum of products takes on the same machine. ``python -m tests.demos_speed NUMBER`` chooses in
one district alone.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections import Counter
from typing import NamedTuple

import numpy as np
from scipy.spatial import KDTree

from districtplan.demos import Conditions, Reach, Rule, Sites, choose, rules
from districtplan.demos.rules import Table
from tests.benchmark import CALIBRATION

SIDE_M, FARMERS, FARMERS_AT_ONCE = 40_000.0, 100_000, 5_000
CLASSES_PCT = (5.0, 12.0, 25.0, 40.0)


class District(NamedTuple):
    """What a district is made of."""

    sites: int
    villages: int
    count: int
    everywhere: bool
    """At least one plot in every village, or in the ten largest alone."""
    most: int


DISTRICTS = (
    District(2_000, 400, 60, everywhere=False, most=1),
    District(2_000, 100, 130, everywhere=True, most=3),
    District(20_000, 400, 60, everywhere=False, most=1),
)


def made(district: District, seed: int = 1) -> tuple[Reach, list[Rule]]:
    """Make homesteads around villages, and candidates of some of their farmers."""
    rng = np.random.default_rng(seed)
    count, villages = district.sites, district.villages
    centre, size = rng.uniform(0, SIDE_M, (villages, 2)), rng.lognormal(0, 0.5, villages)
    village = rng.choice(villages, FARMERS, p=size / size.sum())
    home = centre[village] + rng.normal(0, 1_200, (FARMERS, 2))
    # A tenth of the candidates are second plots of a farmer.
    farmer = rng.choice(FARMERS, count, replace=False)
    farmer[count * 9 // 10 :] = farmer[: count - count * 9 // 10]
    place = home[farmer] + rng.normal(0, 300, (count, 2))
    slope_class = np.digitize(rng.gamma(2, 6, count), CLASSES_PCT)
    land = np.digitize(rng.gamma(2, 8, FARMERS), CLASSES_PCT)
    share = np.bincount(land, rng.lognormal(-1, 0.6, FARMERS), len(CLASSES_PCT) + 1)
    within = walking_distance(place, home, 6 * count // 1_000)
    reach = linked(place, home, within)
    largest = np.argsort(-np.bincount(village, minlength=villages))[:10]
    asked = Conditions(
        count=district.count,
        village_least=dict.fromkeys(
            range(villages) if district.everywhere else largest.tolist(), 1
        ),
        village_most=dict.fromkeys(range(villages), district.most),
        class_share=share / share.sum(),
        class_tolerance=0.03,
        apart_m=0.4 * within,
        forced_in=[3, 500, 1001],
        forced_out=range(20, 60),
    )
    sites = Sites(village[farmer], farmer, slope_class, np.ones(count), place)
    return reach, rules(sites, asked)


def walking_distance(place, home, links_each: int) -> float:
    """Find the distance within which a farmer has so many candidates on average."""
    tree, some = KDTree(place), home[::20]
    low, high = 10.0, 10_000.0
    while high - low > 1:
        middle = (low + high) / 2
        found = tree.query_ball_point(some, middle, return_length=True).mean()
        low, high = (middle, high) if found < links_each else (low, middle)
    return high


def linked(place, home, within: float) -> Reach:
    """Link farmers and candidates, some farmers at a time: lists of numbers are large."""
    tree = KDTree(place)
    count, site = [], []
    for start in range(0, len(home), FARMERS_AT_ONCE):
        near = tree.query_ball_point(home[start : start + FARMERS_AT_ONCE], within)
        count.append([len(some) for some in near])
        site.append(np.concatenate([np.sort(some) for some in near]).astype(np.int64))
    first = np.concatenate([[0], np.cumsum(np.concatenate(count))]).astype(np.int64)
    return Reach(np.ones(len(home)), first, np.concatenate(site), len(place))


def told(district: District) -> str:
    """Choose, and say what came of it."""
    reach, found = made(district)
    start, worked = time.perf_counter(), time.process_time()
    cover = choose(reach, found)
    seconds, worked = time.perf_counter() - start, time.process_time() - worked
    table = Table.of(found, reach.sites)
    assert cover is not None
    assert table.kept(cover.chosen)
    sums = table.amounts[:, cover.chosen].sum(axis=1)
    at_bound = Counter(
        rule.kind
        for rule, held in zip(found, sums, strict=True)
        if held in (rule.low, rule.high) and rule.kind not in ("in", "out")
    )
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return (
        f"{district.count} of {district.sites:,} plots, {district.villages} villages, "
        f"{len(reach.site):,} links: {cover.value:,.0f} farmers, gap {cover.gap:.2%} in "
        f"{seconds:.0f} s ({worked:.0f} s of processors), {memory:.2f} GB with the district; "
        f"greedy {1 - cover.greedy_value / cover.value:.1%} less; at their bounds: "
        + ", ".join(f"{kind} {number}" for kind, number in at_bound.items())
    )


def main() -> None:
    """Choose in each district."""
    if sys.argv[1:]:
        print(told(DISTRICTS[int(sys.argv[1])]))  # noqa: T201 - this script's result
        return
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", CALIBRATION], check=True)
    print(f"calibration {time.perf_counter() - start:.1f} s", flush=True)  # noqa: T201
    for number in range(len(DISTRICTS)):
        subprocess.run([sys.executable, "-m", "tests.demos_speed", str(number)], check=True)


if __name__ == "__main__":
    main()
