"""Sites and demand of invented districts, and every choice of small ones."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from districtplan.demos import Conditions, Reach, Rule, Sites
from districtplan.demos.rules import Table


def sites_of(count: int, **known) -> Sites:
    """Sites alike but for what is told, in a village and of a farmer each."""
    own = np.arange(count)
    alike = {
        "village": own, "farmer": own, "slope_class": np.zeros(count, int),
        "kits": np.ones(count), "place_m": np.c_[own * 1000.0, np.zeros(count)],
    }  # fmt: skip
    return Sites(**{**alike, **{name: np.asarray(value) for name, value in known.items()}})


def reach_of(*reached: tuple[int, ...], sites: int, weight=None) -> Reach:
    """Rows of demand, each told by the sites that reach it."""
    row = [number for number, some in enumerate(reached) for _ in some]
    site = [one for some in reached for one in some]
    weight = np.ones(len(reached)) if weight is None else np.array(weight, float)
    return Reach.of(weight, np.array(row, int), np.array(site, int), sites)


def kept_choices(found: list[Rule], sites: int) -> Iterator[np.ndarray]:
    """Every choice that keeps to the rules."""
    table = Table.of(found, sites)
    for size in range(sites + 1):
        for chosen in itertools.combinations(range(sites), size):
            if table.kept(np.array(chosen, int)):
                yield np.array(chosen, int)


def random_case(seed: int) -> tuple[Reach, Sites, Conditions]:
    """A few sites and farmers, with whatever conditions the seed draws."""
    rng = np.random.default_rng(seed)
    sites, rows = int(rng.integers(2, 10)), int(rng.integers(1, 15))
    place, home = rng.uniform(0, 1000, (sites, 2)), rng.uniform(0, 1000, (rows, 2))
    near = np.hypot(*(home[:, None] - place[None]).transpose(2, 0, 1)) < rng.uniform(150, 500)
    weight = rng.integers(1, 5, rows) if rng.random() < 0.5 else rng.uniform(0.1, 3, rows)
    reach = Reach.of(weight.astype(float), *np.nonzero(near), sites)
    classes = int(rng.integers(1, 4))
    known = Sites(
        rng.integers(0, 3, sites),
        rng.integers(0, sites, sites),
        rng.integers(0, classes, sites),
        rng.integers(1, 4, sites).astype(float),
        place,
        rng.integers(0, sites, sites) if rng.random() < 0.3 else None,
        rng.integers(0, 2, sites) if rng.random() < 0.5 else None,
    )
    by_count = rng.random() < 0.6
    return (
        reach,
        known,
        Conditions(
            count=int(rng.integers(0, min(sites, 5) + 1)) if by_count else None,
            budget=None if by_count else float(rng.integers(0, 9)),
            village_least={int(rng.integers(3)): 1} if rng.random() < 0.3 else {},
            village_most={int(rng.integers(3)): int(rng.integers(1, 3))},
            message_least={0: (1, [1])} if rng.random() < 0.2 else {},
            message_first={1: [1]} if rng.random() < 0.2 else {},
            message_plots={0: (0, 2)} if rng.random() < 0.2 else {},
            class_share=rng.dirichlet(np.ones(classes)) if rng.random() < 0.5 else None,
            class_tolerance=float(rng.uniform(0, 0.3)),
            apart_m=float(rng.choice([0, 200, 400])),
            one_a_farmer=bool(rng.random() < 0.5),
            forced_in=[0] if rng.random() < 0.2 else [],
            forced_out=[1] if rng.random() < 0.2 else [],
        ),
    )
