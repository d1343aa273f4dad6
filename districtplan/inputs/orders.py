"""Orders: wants less stock, in whole packs, once a buying point; lots and distribution lists."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.inputs.counting import packs_each, unknown
from districtplan.inputs.enough import enough
from districtplan.inputs.need import pack_sizes
from districtplan.inputs.seed import TESTED

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from numpy.typing import NDArray

    from districtplan.plan import Plan

POINTS = {"plot": "plot_id", "farmer": "farmer_id", "group": "group", "village": "village"}
"""Column of who buys, by level; the district is one."""


def shared(total: int, wants: Sequence[int]) -> list[int]:
    """Share out what there is by what each wants.

    Parameters
    ----------
    total : int
        What there is, in whole units.
    wants : Sequence[int]
        What each wants, in the same units.

    Returns
    -------
    list[int]
        What each gets: never more than it wants, and in all as much as there is or is wanted. Each
        gets its share rounded down, and what is left over goes one by one to those whose share lost
        most by that, the earlier first.

    Examples
    --------
    >>> shared(10, [7, 7, 1]), shared(99, [7, 7, 1])
    ([5, 5, 0], [7, 7, 1])
    """
    wanted = sum(wants)
    if total >= wanted:
        return list(wants)
    if total == 0:
        return [0] * len(wants)
    found = [total * want // wanted for want in wants]
    lost = [total * want % wanted for want in wants]
    order = sorted(range(len(wants)), key=lambda place: (-lost[place], place))
    for place in order[: total - sum(found)]:
        found[place] += 1
    return found


def orders(kits: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Work out what each buying point buys.

    Parameters
    ----------
    kits : pandas.DataFrame
        Plots that take part: ``plot_id``, ``village``, ``farmer_id``, ``group``,
        ``area_error_share`` and ``seed_g``, ``npk_g``, ``urea_g`` (null where there is no rate).
    plan : Plan
        Level, packs, stock, chance and uptake.

    Returns
    -------
    pandas.DataFrame
        A row a buying point and good, the columns made by orders, with ``chance_share`` that it is
        enough (NaN for plots and farmers, who buy their own kit as planned) and ``dominates``.
        Stock goes to buying points by their wants.
    """
    level = plan.orders.bought_at
    if level == "district":
        names, point = np.array(["district"], dtype=object), np.zeros(len(kits), dtype=np.intp)
    else:
        point, found_names = pd.factorize(kits[POINTS[level]], sort=True)
        names = found_names.to_numpy(dtype=object)
    found = [
        _of_good(kits, good, size, (names, point), plan)
        for good, size in pack_sizes(plan).items()
        if len(kits) and not kits[f"{good}_g"].isna().any()
    ]
    columns = (*tables.made_by("orders"), "chance_share", "dominates")
    if not found:
        return pd.DataFrame(columns=list(columns))
    return pd.concat(found, ignore_index=True)[list(columns)]


def _of_good(
    kits: pd.DataFrame,
    good: str,
    pack_kg: float | None,
    points: tuple[NDArray[np.object_], NDArray[np.intp]],
    plan: Plan,
) -> pd.DataFrame:
    names, point = points
    grams = kits[f"{good}_g"].to_numpy(dtype=np.int64)
    planned = np.zeros(len(names), dtype=np.int64)
    np.add.at(planned, point, grams)
    chance, dominates = np.nan, ["" for _ in names]
    wanted = planned
    if plan.orders.bought_at not in {"plot", "farmer"}:
        chance = plan.orders.chance_enough_share
        sure = enough(
            grams.astype(np.float64),
            kits["area_error_share"].to_numpy(dtype=np.float64),
            point,
            plan.enrolment,
            chance,
        )
        wanted, dominates = sure.amount_g, sure.dominates
    there = round(getattr(plan.orders, f"{good}_stock_kg") * 1000)
    stock = np.array(shared(there, wanted.tolist()), dtype=np.int64)
    short = wanted - stock
    if pack_kg is None:
        count, bought = unknown(pd.RangeIndex(len(names))), short
    else:
        whole = packs_each(short, pack_kg)
        count = pd.Series(whole, dtype="Int64")
        bought = np.rint(whole * (pack_kg * 1000)).astype(np.int64)
    return pd.DataFrame(
        {
            "buying_point": names,
            "good": good,
            "planned_g": pd.array(planned, dtype="Int64"),
            "wanted_g": pd.array(wanted, dtype="Int64"),
            "stock_g": pd.array(stock, dtype="Int64"),
            "packs": count,
            "ordered_g": pd.array(bought, dtype="Int64"),
            "leftover_g": pd.array(bought - short, dtype="Int64"),
            "chance_share": chance,
            "dominates": dominates,
        }
    )


def lots(bought: pd.DataFrame, plan: Plan, due: date) -> pd.DataFrame:
    """Load orders on vehicles, seed never with fertiliser.

    Parameters
    ----------
    bought : pandas.DataFrame
        Orders.
    plan : Plan
        What a vehicle carries, lots a day, and sizes of packs.
    due : datetime.date
        Day by which all has arrived.

    Returns
    -------
    pandas.DataFrame
        ``lot`` (from 1), ``day``, ``buying_point``, ``good``, ``packs``, ``kg`` and
        ``seeds_to_test``, 100 of each delivery of seed; none without a vehicle or packs.
    """
    names = ["lot", "day", "buying_point", "good", "packs", "kg", "seeds_to_test"]
    sizes, vehicle = pack_sizes(plan), plan.orders.vehicle_kg
    loaded: list[tuple[int, str, str, int, float]] = []
    lot = 0
    for goods in (("seed",), ("npk", "urea")):
        room = 0.0
        for point, good, number in bought.loc[
            bought["good"].isin(goods) & bought["packs"].gt(0).fillna(value=False),
            ["buying_point", "good", "packs"],
        ].itertuples(index=False):
            size, left = sizes[good], int(number)
            while vehicle is not None and size is not None and left:
                if room < size:
                    lot, room = lot + 1, max(vehicle, size)
                taken = min(left, int(room // size))
                loaded.append((lot, point, good, taken, taken * size))
                left, room = left - taken, room - taken * size
    table = pd.DataFrame(loaded, columns=["lot", "buying_point", "good", "packs", "kg"])
    days_before = (lot - table["lot"]) // plan.orders.lots_a_day
    table["day"] = pd.Timestamp(due) - pd.to_timedelta(days_before.astype("int64"), unit="D")
    table["seeds_to_test"] = np.where(table["good"] == "seed", TESTED, 0)
    return table[names]


def distribution(kits: pd.DataFrame, arrived_g: dict[tuple[str, str], int]) -> pd.DataFrame:
    """List what each plot of a village gets, from what has arrived.

    Parameters
    ----------
    kits : pandas.DataFrame
        Plots that take part: ``plot_id``, ``farmer_id``, ``village`` and ``seed_g``, ``npk_g``,
        ``urea_g``.
    arrived_g : dict[tuple[str, str], int]
        What arrived by village and good [g]; goods that aren't in it have come in full.

    Returns
    -------
    pandas.DataFrame
        ``village``, ``plot_id``, ``farmer_id``, ``good``, ``planned_g`` and ``issued_g``, good by
        good, villages in order of name. A short delivery is shared by what was planned.
    """
    ordered = kits.sort_values("village", kind="stable")
    listed = ordered[["village", "plot_id", "farmer_id"]]
    found = []
    for good in ("seed", "npk", "urea"):
        planned = ordered[f"{good}_g"]
        if planned.isna().any() or planned.empty:
            continue
        found.append(listed.assign(good=good, planned_g=planned, issued_g=planned))
    if not found:
        return pd.DataFrame(columns=[*listed, "good", "planned_g", "issued_g"])
    table = pd.concat(found, ignore_index=True)
    for (village, good), grams in arrived_g.items():
        theirs = (table["village"] == village) & (table["good"] == good)
        table.loc[theirs, "issued_g"] = shared(grams, table.loc[theirs, "planned_g"].tolist())
    return table
