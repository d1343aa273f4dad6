"""Costs to the hundredth, and margins as a range: never a promise.

Low and high of what the practice adds to the value of a harvest are taken apart as far as they can
be: its low yield against the high yield without it at the low price, and the other way round.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan.errors import Fault, InputError
from districtplan.inputs.counting import exact_sum, half_up, unknown
from districtplan.inputs.nutrients import GOODS

if TYPE_CHECKING:
    from districtplan.plan import Plan

BOUGHT = ("seed", *GOODS)


def cents(grams: pd.Series, good: str, plan: Plan) -> pd.Series:
    """Cost amounts of one good.

    Parameters
    ----------
    grams : pandas.Series
        Amounts [g].
    good : str
        The good.
    plan : Plan
        Its price.

    Returns
    -------
    pandas.Series
        Whole hundredths, null where the plan has no price.

    Raises
    ------
    InputError
        If a cost is too large for the files that it is written to.
    """
    key = f"{good}_price_kg"
    price = getattr(plan.money, key)
    if price is None:
        return unknown(grams.index)
    exact = grams.astype("float64") / 1000 * (price * 100)
    if exact.max() >= np.iinfo(np.int64).max:
        told = f"{price:g} makes {exact.max() / 100:.3g} of one amount, which is too large"
        raise InputError(Fault(f"[money] {key}", told, "Give the price of a kilogram"))
    return half_up(exact)


def costs(kits: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Cost the kit of each plot, in whole hundredths so that sums are exact.

    Parameters
    ----------
    kits : pandas.DataFrame
        ``plot_id``, ``village``, ``order_line`` and grams of the goods.
    plan : Plan
        Its prices.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``, ``village``, ``order_line``, hundredths a good (``seed_cost_cents`` ...) and
        ``cost_cents``, their sum: null where a good that is given has no price.
    """
    found = kits[["plot_id", "village", "order_line"]].copy()
    total = pd.Series(0, index=kits.index, dtype="Int64")
    for good in BOUGHT:
        if kits[f"{good}_g"].isna().any():
            # The plan gives none of it: it costs nothing.
            continue
        found[f"{good}_cost_cents"] = cents(kits[f"{good}_g"], good, plan)
        total += found[f"{good}_cost_cents"]
    return found.assign(cost_cents=total)


def sums(costed: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Add up costs.

    Parameters
    ----------
    costed : pandas.DataFrame
        What :func:`costs` found.
    by : list[str]
        Columns to add up by, such as village and line.

    Returns
    -------
    pandas.DataFrame
        ``by`` and ``cost_cents``, null where a part is unknown.
    """
    if costed["cost_cents"].notna().all():
        exact_sum(costed["cost_cents"], "cost_cents")  # refuses what no file can hold
    return costed.groupby(by, sort=True)["cost_cents"].sum(min_count=1).reset_index()


def margins(plan: Plan, cost_ha: dict[str, float]) -> pd.DataFrame:
    """Set a hectare with the practice beside one without.

    Parameters
    ----------
    plan : Plan
        Yields and prices of grain.
    cost_ha : dict[str, float]
        Cost of each good on a hectare; without the practice only seed is paid for.

    Returns
    -------
    pandas.DataFrame
        Rows ``without``, ``with`` and ``added``: ``value_low``, ``value_high``, ``cost``,
        ``margin_low``, ``margin_high`` a hectare and, where it adds cost, ``value_cost_ratio_low``
        and ``value_cost_ratio_high``; none without prices of grain,
        or without costs.
    """
    names = ["value_low", "value_high", "cost", "margin_low", "margin_high"]
    ratios = ["value_cost_ratio_low", "value_cost_ratio_high"]
    money = plan.money
    low, high = money.grain_price_low_kg, money.grain_price_high_kg
    if low is None or high is None:
        return pd.DataFrame(columns=["row", *names, *ratios])
    if not cost_ha:
        return pd.DataFrame(columns=["row", *names, *ratios])
    seed, whole = cost_ha.get("seed", 0.0), sum(cost_ha.values())
    without = (money.yield_without_low_kg_ha, money.yield_without_high_kg_ha)
    given = (money.yield_with_low_kg_ha, money.yield_with_high_kg_ha)
    rows = {
        "without": (without[0] * low, without[1] * high, seed),
        "with": (given[0] * low, given[1] * high, whole),
        "added": ((given[0] - without[1]) * low, (given[1] - without[0]) * high, whole - seed),
    }
    table = pd.DataFrame(
        [(name, *row, row[0] - row[2], row[1] - row[2]) for name, row in rows.items()],
        columns=["row", *names],
    )
    added = rows["added"]
    for ratio, value in zip(ratios, added[:2], strict=True):
        table[ratio] = [None, None, value / added[2] if added[2] > 0 else None]
    return table
