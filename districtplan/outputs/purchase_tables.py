"""What is bought as the tables that files carry, so that they all agree."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pandas as pd

from districtplan import tables
from districtplan.inputs import NO_GO

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping

    from districtplan.inputs import Purchase
    from districtplan.results import Results

GOODS = ("seed", "npk", "urea", "manure")
COSTS = (*(f"{good}_cost" for good in GOODS), "kit_cost")
ORDER, LIMIT = "order", "upper limit, not an order"
SIGNATURE = "signature"
"""A column that is left empty, for a signature or thumbprint."""

KIT = ("plot_id", "village", *tables.made_by("taking part"), *tables.made_by("kits"))
LINE = (
    "village",
    "order_line",
    "plots",
    "bean_area_ha",
    *(f"kit_{good}_g" for good in GOODS),
    "kit_cost",
)
CALENDAR = ("season", *tables.made_by("calendar"))
LABOUR = ("village", "season_work", *tables.made_by("labour"))


def purchase_tables(results: Results) -> dict[str, pd.DataFrame]:
    """Make the tables of what is bought.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    dict[str, pandas.DataFrame]
        ``kits`` (a row a plot), ``lines`` (by village and line), ``uptake``, ``orders``, ``poles``,
        ``deliveries``, ``distribution`` (by farmer), ``calendar``, ``labour`` and ``margins``; each
        without rows where nothing is known of it.
    """
    bought = results.purchase
    return {
        "kits": kits(bought),
        "lines": _lines(bought),
        "uptake": bought.uptake.rename(columns={f"{good}_g": f"kit_{good}_g" for good in GOODS}),
        "orders": bought.orders.assign(order_status=status(bought)),
        "poles": bought.poles,
        "deliveries": bought.lots,
        "distribution": distribution(results),
        "calendar": calendar(bought),
        "labour": bought.labour.rename(columns={"work": "season_work"})[list(LABOUR)],
        "margins": bought.margins.rename(columns={"row": "margin_of"}),
    }


def status(bought: Purchase) -> str:
    """Say what the order is worth.

    Parameters
    ----------
    bought : Purchase
        What is bought.

    Returns
    -------
    str
        ``order``, or ``upper limit, not an order`` where it isn't known who takes part.
    """
    return ORDER if bought.is_order else LIMIT


def served(bought: Purchase) -> tuple[str, ...]:
    """List the lines that are bought for.

    Parameters
    ----------
    bought : Purchase
        What is bought.

    Returns
    -------
    tuple[str, ...]
        Those enrolled and the demo kits; all land that may be planted where it isn't known who
        takes part.
    """
    return ("enrolled", "demo") if bought.is_order else ("registered",)


def theirs(bought: Purchase) -> pd.DataFrame:
    """Give the kits that are bought for.

    Parameters
    ----------
    bought : Purchase
        What is bought.

    Returns
    -------
    pandas.DataFrame
        Rows of ``bought.kits`` on the lines that are served; none where nobody takes part.
    """
    return bought.kits[bought.kits["order_line"].isin(served(bought))]


def waiting(results: Results) -> pd.DataFrame:
    """Give the kits that are bought for plots whose rows must wait for a safe outlet.

    The order is worked out before measures are laid out, which make more plots wait: the plots
    themselves are asked.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        Rows of the kits on the lines that are served.
    """
    plots = results.plots
    waits = plots.loc[plots["outlet_flags"].map(len) > 0, "plot_id"]
    kits = theirs(results.purchase)
    return kits[kits["plot_id"].isin(waits)]


def in_all(bought: Purchase) -> dict[str, dict[str, int | None]]:
    """Add the orders up by good, over all buying points.

    Parameters
    ----------
    bought : Purchase
        What is bought.

    Returns
    -------
    dict[str, dict[str, int | None]]
        Grams by column, and ``packs``, of each good that is ordered, in the order of ``GOODS``;
        None where a part isn't known.
    """
    orders = bought.orders
    summed = [*(str(name) for name in orders if str(name).endswith("_g")), "packs"]
    by_good = {good: orders[orders["good"] == good] for good in GOODS}
    return {
        good: {
            name: None if theirs[name].isna().any() else int(theirs[name].sum()) for name in summed
        }
        for good, theirs in by_good.items()
        if len(theirs)
    }


def in_stock(results: Results, good: str) -> int:
    """Give what there is of a good in stock, whether it is used or not.

    Parameters
    ----------
    results : Results
        The run.
    good : str
        Seed, NPK, urea or manure.

    Returns
    -------
    int
        What the district and all buying points have [g].
    """
    district = round(1000 * getattr(results.plan.orders, f"{good}_stock_kg", 0.0))
    return district + sum(_own_stock(results, good).values())


def stock_at(results: Results, point: str, good: str, order: Mapping[Hashable, Any]) -> int:
    """Give what a buying point can take from: its own stock, and its part of the district's.

    Parameters
    ----------
    results : Results
        The run.
    point : str
        The buying point.
    good : str
        Seed, NPK or urea.
    order : Mapping[Hashable, Any]
        Its order: ``wanted_g`` and ``stock_g``.

    Returns
    -------
    int
        What there is [g]; at least the stock that the order uses.
    """
    left = _own_stock(results, good).get(point, 0) - int(order["wanted_g"])
    return int(order["stock_g"]) + max(left, 0)


def _own_stock(results: Results, good: str) -> dict[str, int]:
    """Give what buying points have in stock themselves [g]."""
    given = results.beside.get("stock")
    if given is None or f"{good}_g" not in given.used:
        return {}
    known = given.used.set_index("buying_point")[f"{good}_g"].dropna()
    return {str(point): int(grams) for point, grams in known.items()}


def costs_in_all(bought: Purchase) -> dict[str, float | None]:
    """Add the costs of the orders up by good, over all buying points.

    Parameters
    ----------
    bought : Purchase
        What is bought.

    Returns
    -------
    dict[str, float | None]
        Money by good, as in :func:`in_all`; None where the plan has no price.
    """
    orders = bought.orders
    by_good = {good: orders.loc[orders["good"] == good, "order_cost"] for good in in_all(bought)}
    return {
        good: None if costs.isna().any() else round(math.fsum(costs), 2)
        for good, costs in by_good.items()
    }


def served_totals(results: Results) -> tuple[pd.DataFrame, pd.Series]:
    """Give the totals with what is bought for those served, in place of all land's.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    villages : pandas.DataFrame
        Rows of ``results.villages`` with grams and packs for those enrolled and demo kits; where it
        isn't known who takes part, for all land that may be planted.
    district : pandas.Series
        The same over the district.
    """
    bought = results.purchase
    kept = theirs(bought)
    villages, district = results.villages.copy(), results.district.copy()
    for good in GOODS:
        name = f"{good}_g"
        if bought.kits[name].isna().any():
            villages[name], district[name] = pd.array([pd.NA] * len(villages), "Int64"), pd.NA
            continue
        by_village = kept.groupby("village")[name].sum()
        sums = [int(by_village.get(village, 0)) for village in villages["village"]]
        villages[name], district[name] = pd.array(sums, dtype="Int64"), sum(sums)
    by_point = results.plan.orders.bought_at == "village"
    for good in GOODS[:3]:
        packs = bought.orders[bought.orders["good"] == good].set_index("buying_point")["packs"]
        known = len(packs) > 0 and packs.notna().all()
        district[f"{good}_packs"] = int(packs.sum()) if known else pd.NA
        counts = [
            packs.get(village, 0) if known and by_point else pd.NA
            for village in villages["village"]
        ]
        villages[f"{good}_packs"] = pd.array(counts, dtype="Int64")
    return villages, district


def kits(bought: Purchase) -> pd.DataFrame:
    """Make the table of kits.

    Parameters
    ----------
    bought : Purchase
        What is bought.

    Returns
    -------
    pandas.DataFrame
        One row a plot: who it is for, what it holds and costs.
    """
    table = bought.kits.rename(columns={f"{good}_g": f"kit_{good}_g" for good in GOODS})
    return tables.check(
        pd.concat([table[list(KIT)], _costs(bought.kit_costs)], axis=1), (*KIT, *COSTS)
    )


def _costs(costed: pd.DataFrame) -> pd.DataFrame:
    """Give whole hundredths as amounts of money."""
    cents = {f"{good}_cost": f"{good}_cost_cents" for good in GOODS} | {"kit_cost": "cost_cents"}
    return pd.DataFrame(
        {
            name: costed[column].astype("Float64").to_numpy("float64", na_value=float("nan")) / 100
            if column in costed
            else float("nan")
            for name, column in cents.items()
        },
        index=costed.index,
    )


def _lines(bought: Purchase) -> pd.DataFrame:
    table = bought.lines.rename(columns={f"{good}_g": f"kit_{good}_g" for good in GOODS})
    beside = bought.costs.assign(kit_cost=_costs(bought.costs)["kit_cost"])
    keys = ["village", "order_line"]
    table = table.merge(beside[[*keys, "kit_cost"]], on=keys, how="left", validate="one_to_one")
    if bought.kit_costs["cost_cents"].notna().all():
        table["kit_cost"] = table["kit_cost"].where(~table["order_line"].isin(NO_GO), 0.0)
    return tables.check(table, LINE).assign(order_status=status(bought))


def distribution(results: Results) -> pd.DataFrame:
    """Make the distribution list.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        One row a farmer of a village and good, with what is held back of it until plots have a
        safe outlet, and an empty column to sign.
    """
    listed = results.purchase.handed_out
    if "farmer_name" in results.plots:
        kept = results.purchase.kits[["farmer_id", "village"]].assign(
            farmer_name=results.plots["farmer_name"].to_numpy(dtype=object)
        )
        names = kept.drop_duplicates(["farmer_id", "village"])
        named = listed.merge(names, on=["village", "farmer_id"], how="left", validate="many_to_one")
        listed = listed.copy()
        listed.insert(2, "farmer_name", named["farmer_name"].to_numpy(dtype=object))
    return listed.assign(held_back_g=_held_back(listed, results), **{SIGNATURE: ""})


def _held_back(listed: pd.DataFrame, results: Results) -> list[int]:
    """Work out what part of what farmers are issued is for plots that wait for an outlet.

    A short delivery is shared by what was planned, so the part is the same of both.
    """
    kept = waiting(results).groupby(["village", "farmer_id"])
    planned = {good: kept[f"{good}_g"].sum().to_dict() for good in GOODS}
    columns = ["village", "farmer_id", "good", "farmer_planned_g", "issued_g"]
    return [
        round(issued * planned[good].get((village, farmer), 0) / max(of_all, 1))
        for village, farmer, good, of_all, issued in listed[columns].itertuples(index=False)
    ]


def calendar(bought: Purchase) -> pd.DataFrame:
    """Make the calendar.

    Parameters
    ----------
    bought : Purchase
        What is bought.

    Returns
    -------
    pandas.DataFrame
        One row a zone, season and work.
    """
    dated = bought.calendar.rename(columns={"work": "season_work", "source": "work_source"})
    return tables.check(dated[list(CALENDAR)], CALENDAR)
