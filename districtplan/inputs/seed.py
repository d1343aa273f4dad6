"""Seed: what goes into the ground, what stands, what is bought.

Two rules that are never mixed. With fixed holes the seed in the ground is holes times seeds a hole,
whatever germinates: of holes with n seeds, each up with chance g, the share (1 - g)^n stays empty.
Losses don't divide the order a second time. Only where a stand is the target do they:

    kg/ha = plants/ha / (germination x emergence) x grams of 100 seeds / 100 / 1000.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import pandas as pd

from districtplan.inputs.counting import half_up, unknown

if TYPE_CHECKING:
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

TESTED = 100
"""Seeds in a farmers' test."""


@dataclass(frozen=True)
class SeedTest:
    """What a farmers' own test of 100 seeds says.

    Attributes
    ----------
    choice : str
        One or two seeds a hole, or buy seed.
    low_share : float
        Share of all seeds that sprout, low end, 19 times in 20 [1].
    high_share : float
        The high end [1].
    """

    choice: Literal["one", "two", "buy seed"]
    low_share: float
    high_share: float


def judge_test(sprouted: int, handbook: Handbook) -> SeedTest:
    """Choose by a test of 100 seeds.

    Parameters
    ----------
    sprouted : int
        Seeds of 100 that sprouted.
    handbook : Handbook
        From which share one seed a hole will do, and from which two (table ``practice``).

    Returns
    -------
    SeedTest
        The choice, and how sure 100 seeds make of the share (Clopper & Pearson 1934).
    """
    if sprouted >= handbook.number("practice", "one_seed_from_pct"):
        choice: Literal["one", "two", "buy seed"] = "one"
    elif sprouted >= handbook.number("practice", "two_seeds_from_pct"):
        choice = "two"
    else:
        choice = "buy seed"
    # Takes as long to import as all else: only who has a test waits for it.
    from scipy import stats

    sure = stats.binomtest(sprouted, TESTED).proportion_ci()
    return SeedTest(choice, float(sure.low), float(sure.high))


def seeds_a_hectare(plan: Plan, handbook: Handbook) -> float:
    """Count the seeds in the ground.

    Parameters
    ----------
    plan : Plan
        Its spacings and seeds a hole.
    handbook : Handbook
        The published tables.

    Returns
    -------
    float
        Seeds a hectare of level ground.
    """
    practice = plan.practice
    hole_m2 = practice.bean_rows_apart_cm / 100 * practice.hole_spacing_cm / 100
    return 10_000 / hole_m2 * practice.seeds_each(handbook)


def hundred_seed_weight_g(plan: Plan, handbook: Handbook) -> float | None:
    """Give the weight of 100 seeds: as weighed, or as the plan's kilograms a hectare imply.

    Parameters
    ----------
    plan : Plan
        What is wanted.
    handbook : Handbook
        The published tables.

    Returns
    -------
    float | None
        Weight, None where the plan has neither [g].
    """
    practice = plan.practice
    if practice.seed_kg_ha is None:
        return practice.hundred_seed_weight_g
    return practice.seed_kg_ha * 1000 / seeds_a_hectare(plan, handbook) * 100


def seed_rate_kg_ha(
    plants_ha: float, germination_share: float, emergence_share: float, weight_g: float
) -> float:
    """Give the seed for a target stand, by the published formula.

    Parameters
    ----------
    plants_ha : float
        Plants a hectare that are to stand.
    germination_share : float
        Share of seeds that germinate.
    emergence_share : float
        Share of those that emerge.
    weight_g : float
        Weight of 100 seeds [g].

    Returns
    -------
    float
        Seed [kg/ha].
    """
    return plants_ha / (germination_share * emergence_share) * weight_g / 100 / 1000


def empty_share(plan: Plan, handbook: Handbook) -> float:
    """Expect the share of holes in which no seed comes up.

    Parameters
    ----------
    plan : Plan
        Its practice.
    handbook : Handbook
        The published tables.

    Returns
    -------
    float
        Share of all holes, before any is filled again [1].
    """
    practice = plan.practice
    up = practice.germination_share * practice.emergence_share
    return float((1 - up) ** practice.seeds_each(handbook))


def stand(rows: pd.DataFrame, plan: Plan, handbook: Handbook) -> pd.DataFrame:
    """Expect what stands, and the seed that is bought for it.

    Parameters
    ----------
    rows : pandas.DataFrame
        ``plot_id``, ``holes``, ``row_length_m`` and ``seed_g`` in the ground.
    plan : Plan
        Its practice.
    handbook : Handbook
        The published tables.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``; ``empty_holes`` expected before any is filled again; ``standing``, plants
        expected then, after thinning where two seeds are thinned to one; ``seed_bought_g``: seed in
        the ground, that for the holes filled again, and spillage.
    """
    practice = plan.practice
    up = practice.germination_share * practice.emergence_share
    seeds = practice.seeds_each(handbook)
    holes = rows["holes"].astype("float64")
    empty = empty_share(plan, handbook)
    thinned = seeds > 1 and practice.two_seeds == "thin to one"
    refilled = empty * practice.refill_share
    if practice.target_plants_ha is None:
        ground = rows["seed_g"]
    else:
        ground, refilled = _for_target(rows, plan, handbook), 0.0
    bought = unknown(rows.index)
    if not ground.isna().any():
        # A filled hole gets as many seeds as it had.
        bought = half_up(ground.astype("float64") * (1 + refilled) * (1 + practice.spillage_share))
    return pd.DataFrame(
        {
            "plot_id": rows["plot_id"],
            "empty_holes": half_up(holes * empty),
            "standing": half_up(holes * ((1 - empty) if thinned else seeds * up)),
            "seed_bought_g": bought,
        }
    )


def _for_target(rows: pd.DataFrame, plan: Plan, handbook: Handbook) -> pd.Series:
    """Give the seed for the plan's stand along each plot's rows [g]."""
    practice, weight = plan.practice, hundred_seed_weight_g(plan, handbook)
    if weight is None or practice.target_plants_ha is None:
        return unknown(rows.index)
    rate = seed_rate_kg_ha(
        practice.target_plants_ha, practice.germination_share, practice.emergence_share, weight
    )
    # 1 kg/ha is 0.1 g/m², and a metre of row has so many square metres as rows are metres apart.
    return rows["row_length_m"] * (rate * practice.bean_rows_apart_cm / 1000)
