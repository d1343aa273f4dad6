"""Orders: wants less stock, in whole packs, once a buying point; lots and distribution lists."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.inputs import money
from districtplan.inputs.counting import half_up, packs_each, unknown
from districtplan.inputs.enough import enough
from districtplan.inputs.need import pack_sizes
from districtplan.inputs.seed import TESTED

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from numpy.typing import NDArray

    from districtplan.plan import Enrolment, Plan

SEASONS = ("low", "usual", "high")
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


def orders(
    kits: pd.DataFrame,
    plan: Plan,
    stocks: pd.DataFrame | None = None,
    *,
    as_planned: bool = False,
) -> pd.DataFrame:
    """Work out what each buying point buys.

    Parameters
    ----------
    kits : pandas.DataFrame
        Plots that take part: ``plot_id``, ``village``, ``farmer_id``, ``group``,
        ``area_error_share`` and ``seed_g``, ``npk_g``, ``urea_g`` (null where there is no rate).
    plan : Plan
        Level, packs, the district's stock, chance and uptake.
    stocks : pandas.DataFrame | None, default None
        What buying points have in store themselves: rows used of the file of stocks.
    as_planned : bool, default False
        Whether all of them are taken to plant: an upper limit, where it isn't known who takes part.

    Returns
    -------
    pandas.DataFrame
        A row a buying point and good, the columns made by orders; ``chance_share`` is NaN for plots
        and farmers, who buy their own kit as planned, and for an upper limit. A buying point uses
        its own stock first; the district's goes by what is then still wanted. Manure has no packs.
    """
    points = _points(kits, plan)
    seasons = None if as_planned else plan.enrolment
    found = [
        _of_good(kits, (good, size), (*points, _own(points[0], good, stocks)), plan, seasons)
        for good, size in {**pack_sizes(plan), "manure": None}.items()
        if len(kits) and not kits[f"{good}_g"].isna().any()
    ]
    columns = tables.made_by("orders")
    if not found:
        return pd.DataFrame(columns=list(columns))
    return tables.check(pd.concat(found, ignore_index=True), columns)


def _own(names: NDArray[np.object_], good: str, stocks: pd.DataFrame | None) -> NDArray[np.int64]:
    """Give what each buying point has in store of a good [g]."""
    if stocks is None or f"{good}_g" not in stocks:
        return np.zeros(len(names), dtype=np.int64)
    known = stocks.set_index("buying_point")[f"{good}_g"].dropna()
    return np.array([int(known.get(name, 0)) for name in names], dtype=np.int64)


def buying_points(plots: pd.DataFrame, enrolled: pd.DataFrame | None, plan: Plan) -> set[str]:
    """List the buying points that there are.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``village`` of the plots used.
    enrolled : pandas.DataFrame | None
        Rows used of the file of who takes part.
    plan : Plan
        The level at which packs are bought.

    Returns
    -------
    set[str]
        Names of plots, farmers, groups or villages, or ``district``.
    """
    level = plan.orders.bought_at
    if level == "district":
        return {level}
    column, beside = POINTS[level], {"farmer": "plot_id", "group": "village"}
    if column in plots:
        return set(plots[column])
    named = set() if enrolled is None else set(enrolled[column]) - {""}
    return named | set(plots[beside[level]])


def pole_orders(kits: pd.DataFrame, plan: Plan, *, as_planned: bool = False) -> pd.DataFrame:
    """Work out the poles that each buying point cuts or buys.

    Parameters
    ----------
    kits : pandas.DataFrame
        Plots that take part, with ``area_error_share`` and ``poles``.
    plan : Plan
        Level, chance and uptake.
    as_planned : bool, default False
        Whether all of them are taken to plant.

    Returns
    -------
    pandas.DataFrame
        ``buying_point``, ``poles_planned`` and ``poles_wanted``, enough with the plan's chance; no
        rows where the crop needs none.
    """
    if kits.empty or kits["poles"].isna().any():
        return pd.DataFrame(columns=["buying_point", *tables.made_by("poles")])
    names, point = _points(kits, plan)
    count = kits["poles"].to_numpy(dtype=np.int64)
    planned = np.zeros(len(names), dtype=np.int64)
    np.add.at(planned, point, count)
    wanted, _ = _enough(kits, count, point, plan, None if as_planned else plan.enrolment)
    return pd.DataFrame(
        {
            "buying_point": names,
            "poles_planned": pd.array(planned, dtype="Int64"),
            "poles_wanted": pd.array(planned if wanted is None else wanted, dtype="Int64"),
        }
    )


def _points(kits: pd.DataFrame, plan: Plan) -> tuple[NDArray[np.object_], NDArray[np.intp]]:
    """Name the buying points, and number that of each plot."""
    level = plan.orders.bought_at
    if level == "district":
        return np.array(["district"], dtype=object), np.zeros(len(kits), dtype=np.intp)
    point, names = pd.factorize(kits[POINTS[level]], sort=True)
    return names.to_numpy(dtype=object), point


def _enough(
    kits: pd.DataFrame,
    amounts: NDArray[np.int64],
    point: NDArray[np.intp],
    plan: Plan,
    seasons: Enrolment | None,
) -> tuple[NDArray[np.int64] | None, list[str]]:
    """Say what is enough by buying point, and why; None where it is bought as planned."""
    if seasons is None or plan.orders.bought_at in {"plot", "farmer"}:
        return None, []
    sure = enough(
        amounts.astype(np.float64),
        kits["area_error_share"].to_numpy(dtype=np.float64),
        point,
        seasons,
        plan.orders.chance_enough_share,
        kits["order_line"].eq("demo").to_numpy(dtype=bool),
    )
    return sure.amount_g, sure.dominates


def _of_good(
    kits: pd.DataFrame,
    packed: tuple[str, float | None],
    points: tuple[NDArray[np.object_], NDArray[np.intp], NDArray[np.int64]],
    plan: Plan,
    seasons: Enrolment | None,
) -> pd.DataFrame:
    (good, pack_kg), (names, point, own) = packed, points
    grams = kits[f"{good}_g"].to_numpy(dtype=np.int64)
    planned = np.zeros(len(names), dtype=np.int64)
    np.add.at(planned, point, grams)
    sure, dominates = _enough(kits, grams, point, plan, seasons)
    wanted = planned if sure is None else sure
    there = round(getattr(plan.orders, f"{good}_stock_kg", 0.0) * 1000)
    in_stock = _in_stock(there, own, wanted)
    stock = np.minimum(in_stock, wanted)
    short = wanted - stock
    if pack_kg is None:
        count, bought = unknown(pd.RangeIndex(len(names))), short
    else:
        whole = packs_each(short, pack_kg)
        count = pd.Series(whole, dtype="Int64")
        bought = np.rint(whole * (pack_kg * 1000)).astype(np.int64)
    paid = money.cents(pd.Series(bought), good, plan).astype("Float64") / 100
    return pd.DataFrame(
        {
            "buying_point": names,
            "good": good,
            "planned_g": pd.array(planned, dtype="Int64"),
            **{
                f"need_{season}_g": half_up(
                    pd.Series(planned * getattr(plan.enrolment, f"uptake_{season}_share"))
                )
                for season in SEASONS
            },
            "wanted_g": pd.array(wanted, dtype="Int64"),
            "stock_there_g": pd.array(in_stock, dtype="Int64"),
            "stock_g": pd.array(stock, dtype="Int64"),
            "packs": count,
            "ordered_g": pd.array(bought, dtype="Int64"),
            "leftover_g": pd.array(bought - short, dtype="Int64"),
            "order_cost": paid.to_numpy("float64", na_value=np.nan),
            "chance_share": np.nan if sure is None else plan.orders.chance_enough_share,
            "dominates": "" if sure is None else dominates,
        }
    )


def _in_stock(there: int, own: NDArray[np.int64], wanted: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give what each buying point may draw on [g].

    Its own store, and its share of the district's. What the district holds beyond all wants is
    shared by them too, so that a point whose wants grow with a rate finds it.
    """
    lacking = wanted - np.minimum(own, wanted)
    given = np.array(shared(there, lacking.tolist()), dtype=np.int64)
    spare, weight = there - int(given.sum()), lacking if lacking.any() else wanted
    if spare and weight.any():
        given += np.floor(spare * (weight / weight.sum())).astype(np.int64)
    return own + given


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
        ``buying_point``, ``good``, ``packs`` and the columns made by lots, by lot; none without a
        vehicle or packs.
    """
    names = ["buying_point", "good", "packs", *tables.made_by("lots")]
    sizes, vehicle = pack_sizes(plan), plan.orders.vehicle_kg
    loaded: list[tuple[int, str, str, int, float]] = []
    lot = 0
    for goods in (("seed",), ("npk", "urea")):
        room = 0.0
        theirs = bought[bought["good"].isin(goods) & bought["packs"].gt(0).fillna(value=False)]
        columns = [theirs[name].tolist() for name in ("buying_point", "good", "packs")]
        for point, good, number in zip(*columns, strict=True):
            size, left = sizes[good], int(number)
            while vehicle is not None and size is not None and left:
                if room < size:
                    lot, room = lot + 1, max(vehicle, size)
                taken = min(left, int(room // size))
                loaded.append((lot, point, good, taken, taken * size))
                left, room = left - taken, room - taken * size
    table = pd.DataFrame(loaded, columns=["lot", "buying_point", "good", "packs", "lot_kg"])
    a_day = plan.orders.lots_a_day
    days = {one: due - timedelta(days=(lot - one) // a_day) for one in range(1, lot + 1)}
    table["delivery_day"] = [days[one] for one in table["lot"].tolist()]
    table["seeds_to_test"] = np.where(table["good"] == "seed", TESTED, 0)
    return table.astype({"lot": "int64", "packs": "int64", "lot_kg": "float64"})[names]


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


def handed_out(listed: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Put the plots of each farmer together, in whole packs and what is weighed out of one.

    Parameters
    ----------
    listed : pandas.DataFrame
        What :func:`distribution` lists.
    plan : Plan
        Sizes of packs, and who buys: plots and farmers take whole packs only, unless the
        delivery came short.

    Returns
    -------
    pandas.DataFrame
        ``village``, ``farmer_id``, ``good`` and the columns made by distribution, farmer by farmer.
    """
    names = ["village", "farmer_id", "good"]
    columns = [*names, *tables.made_by("distribution")]
    if listed.empty:
        return pd.DataFrame(columns=columns)
    sizes = pack_sizes(plan)
    pack_g = listed["good"].map({good: size and size * 1000 for good, size in sizes.items()})
    own = plan.orders.bought_at == "plot"
    table = listed.assign(
        farmer_plots=1, farmer_planned_g=listed["planned_g"], pack_g=pack_g.astype("float64")
    )
    table["whole_packs"] = _whole_packs(table, own=own)
    for name in ("village", "farmer_id"):
        table[name] = table[name].astype("category")
    table["good"] = pd.Categorical(table["good"], list(sizes))
    found = table.groupby(names, sort=True, observed=True, as_index=False).agg(
        farmer_plots=("farmer_plots", "sum"),
        farmer_planned_g=("farmer_planned_g", "sum"),
        issued_g=("issued_g", "sum"),
        whole_packs=("whole_packs", "sum"),
        pack_g=("pack_g", "first"),
    )
    found = found.astype(dict.fromkeys(names, "str"))
    got = found["issued_g"].astype("float64")
    if not own:
        found["whole_packs"] = _whole_packs(found, own=plan.orders.bought_at == "farmer")
    held = (found["whole_packs"] * found["pack_g"]).fillna(0.0)
    found["loose_g"] = np.rint(np.maximum(got - held, 0.0)).astype("int64")
    found["whole_packs"] = found["whole_packs"].where(found["pack_g"].notna()).astype("Int64")
    found["short_g"] = found["farmer_planned_g"] - found["issued_g"]
    return tables.check(found[columns], columns)


def _whole_packs(table: pd.DataFrame, *, own: bool) -> pd.Series:
    """Count the packs handed out whole.

    Who bought its own packs takes them all, the last one too; where a village's delivery came
    short, no more than what is issued, or the first would carry off what the others are to get.
    """
    packs = table["issued_g"].astype("float64") / table["pack_g"]
    lacking = (table["farmer_planned_g"] - table["issued_g"]).astype("int64")
    short = lacking.groupby([table["village"], table["good"]], observed=True).transform("sum") > 0
    counted = np.where(own & ~short, np.ceil(packs), np.floor(packs))
    return pd.Series(counted, index=table.index)
