"""What to buy and for whom, put together from its parts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from districtplan.inputs import money
from districtplan.inputs.amounts import GOODS as AMOUNTS
from districtplan.inputs.calendar import with_nurseries as nurseries_dated
from districtplan.inputs.calendar import zoned
from districtplan.inputs.counting import exact_sum, half_up, unknown
from districtplan.inputs.enrolment import LINES, NO_GO, NO_GO_HA, taking_part
from districtplan.inputs.labour import labour
from districtplan.inputs.no_go import Buffers, in_buffers
from districtplan.inputs.nutrients import GOODS, balance, cap_in_every_hole_kg_ha, manure_share
from districtplan.inputs.orders import (
    SEASONS,
    distribution,
    handed_out,
    lots,
    orders,
    pole_orders,
)
from districtplan.inputs.outline_error import area_sd_m2
from districtplan.inputs.seed import stand

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

BOUGHT = money.BOUGHT


class Beside(NamedTuple):
    """Rows used of files beside that of who takes part; None where the plan names none.

    Attributes
    ----------
    onsets : pandas.DataFrame | None
        When the rains begin, by village and zone.
    stocks : pandas.DataFrame | None
        What buying points have in store.
    arrived : pandas.DataFrame | None
        What has come, by village.
    belts : Buffers | None
        Belts of rivers and forest, in the metres of the outlines.
    """

    onsets: pd.DataFrame | None = None
    stocks: pd.DataFrame | None = None
    arrived: pd.DataFrame | None = None
    belts: Buffers | None = None


@dataclass(frozen=True)
class Purchase:
    """What is bought, and for whom.

    Attributes
    ----------
    is_order : bool
        Whether it is known who takes part; else all of it is an upper limit, not an order.
    kits : pandas.DataFrame
        A row a plot: its line, land under the crop, ``area_error_share``, ``empty_holes`` and
        ``standing`` expected on that land, and ``seed_g`` (what is bought, with gap filling and
        spillage), ``npk_g``, ``urea_g``, ``manure_g``, ``manure_loads`` and ``poles`` for it.
    lines : pandas.DataFrame
        The same by ``village`` and ``order_line``, with ``plots``; lines are never added up. Lines
        of belts count all plots that reach into one, and the area in it.
    uptake : pandas.DataFrame
        What those enrolled need at low, usual and high uptake: ``season``, ``uptake_share`` and
        grams.
    orders : pandas.DataFrame
        What each buying point buys for those enrolled and the demo kits.
    poles : pandas.DataFrame
        Poles for climbing beans by buying point; no rows for other crops.
    distribution : pandas.DataFrame
        What each of their plots gets; no rows where it isn't known who takes part.
    handed_out : pandas.DataFrame
        The same by farmer, in packs and what is weighed out of one.
    lots : pandas.DataFrame
        The orders loaded on vehicles, all there before the usual onset of the first zone.
    manure_there_share : float
        Share of the manure wanted that there is [1].
    nutrients : pandas.DataFrame
        What the goods bring, of the manure what there is, and what is lacking.
    cap_in_every_hole_kg_ha : float | None
        What a whole cap of NPK in every hole would come to: never do that [kg/ha].
    calendar : pandas.DataFrame
        The works of the season, dated.
    labour : pandas.DataFrame
        Person-days of those served, by village, work and week; no rows without figures.
    kit_costs : pandas.DataFrame
        What each kit costs, good by good.
    costs : pandas.DataFrame
        The same by village and line.
    margins : pandas.DataFrame
        A hectare with the practice and without, as a range; no rows without prices of grain.
    """

    is_order: bool
    kits: pd.DataFrame
    lines: pd.DataFrame
    uptake: pd.DataFrame
    orders: pd.DataFrame
    poles: pd.DataFrame
    distribution: pd.DataFrame
    handed_out: pd.DataFrame
    lots: pd.DataFrame
    manure_there_share: float
    nutrients: pd.DataFrame
    cap_in_every_hole_kg_ha: float | None
    calendar: pd.DataFrame
    labour: pd.DataFrame
    kit_costs: pd.DataFrame
    costs: pd.DataFrame
    margins: pd.DataFrame


def purchase(
    joined: pd.DataFrame,
    outlines: NDArray[np.object_],
    enrolled: pd.DataFrame | None,
    plan: Plan,
    handbook: Handbook,
    beside: Beside = Beside(),  # noqa: B008 - it can't be changed
) -> Purchase:
    """Work out what is bought.

    Parameters
    ----------
    joined : pandas.DataFrame
        Plots with ``village``, ``area_ha``, ``slope_used_pct``, ``holes``, ``row_length_m`` and the
        columns made by inputs.
    outlines : numpy.ndarray
        Their outlines in a grid of metres, shape (plots,).
    enrolled : pandas.DataFrame | None
        Rows used of the file of who takes part; None where the plan names none.
    plan : Plan
        What is wanted, its rates filled in.
    handbook : Handbook
        The published tables.
    beside : Beside, default Beside()
        Onsets by zone, stocks and deliveries.

    Returns
    -------
    Purchase
        The kits, lines, orders and lists. Without a file of who takes part, all land that may be
        planted is ordered for, as an upper limit.
    """
    in_belts = None if beside.belts is None else in_buffers(outlines, beside.belts)
    taking = taking_part(joined, enrolled, plan, in_belts)
    served = ["registered"] if enrolled is None else ["enrolled", "demo"]
    kits, there = _kits(joined, taking, served, plan, handbook)
    error = area_sd_m2(outlines, plan.enrolment.outline_error_m, plan.enrolment.outline_alike_m)
    kits["area_error_share"] = error / (joined["area_ha"].to_numpy() * 10_000)
    theirs = kits[kits["order_line"].isin(served)]
    # Nothing is loaded or handed out while it isn't known to whom.
    known = theirs if enrolled is not None else theirs.iloc[:0]
    limit = enrolled is None
    bought = orders(theirs, plan, beside.stocks, as_planned=limit)
    dated = zoned(plan, handbook, beside.onsets)
    listed = distribution(known, _arrived(beside.arrived))
    usual = dated[(dated["season"] == "usual") & (dated["work"] == "inputs_in_village")]
    costed = money.costs(kits, plan)
    return Purchase(
        is_order=enrolled is not None,
        kits=kits,
        lines=_lines(kits),
        uptake=_uptake(kits[kits["order_line"] == served[0]], plan),
        orders=bought,
        poles=pole_orders(theirs, plan, as_planned=limit),
        distribution=listed,
        handed_out=handed_out(listed, plan),
        lots=lots(
            bought if enrolled is not None else bought.iloc[:0],
            plan,
            usual["last_day"].min(),
        ),
        manure_there_share=there,
        nutrients=balance(plan, there),
        cap_in_every_hole_kg_ha=cap_in_every_hole_kg_ha(plan),
        calendar=dated,
        labour=labour(theirs, dated, plan, _zone_of(beside.onsets)),
        kit_costs=costed,
        costs=money.sums(costed, ["village", "order_line"]),
        margins=money.margins(plan, _cost_ha(theirs, costed)),
    )


def with_nurseries(
    bought: Purchase, nurseries: pd.DataFrame, onsets: pd.DataFrame | None
) -> Purchase:
    """Date the nurseries of the calendar by the measures that are chosen.

    Parameters
    ----------
    bought : Purchase
        What is bought.
    nurseries : pandas.DataFrame
        ``village`` and ``nursery_weeks`` of the plants that are raised.
    onsets : pandas.DataFrame | None
        Rows used of the file of onsets; None where the plan names none.

    Returns
    -------
    Purchase
        The same with another calendar.
    """
    return replace(bought, calendar=nurseries_dated(bought.calendar, nurseries, _zone_of(onsets)))


def _zone_of(onsets: pd.DataFrame | None) -> dict[str, str]:
    """Give the zone by village, of those that have one."""
    if onsets is None:
        return {}
    return dict(zip(onsets["village"], onsets["zone"], strict=True))


def _arrived(rows: pd.DataFrame | None) -> dict[tuple[str, str], int]:
    """Give what came by village and good; what isn't told came in full."""
    if rows is None:
        return {}
    return {
        (row["village"], good): int(row[f"{good}_g"])
        for row in rows.to_dict("records")
        for good in AMOUNTS
        if pd.notna(row[f"{good}_g"])
    }


def _cost_ha(served: pd.DataFrame, costed: pd.DataFrame) -> dict[str, float]:
    """Give the mean cost of a hectare by good; none where a price is lacking."""
    area = served["bean_area_ha"].sum()
    theirs = costed.loc[served.index]
    if area == 0 or theirs["cost_cents"].isna().any():
        return {}
    columns = {good: f"{good}_cost_cents" for good in BOUGHT}
    return {
        good: float(theirs[name].sum()) / 100 / area
        for good, name in columns.items()
        if name in theirs
    }


def _kits(
    joined: pd.DataFrame, taking: pd.DataFrame, served: list[str], plan: Plan, handbook: Handbook
) -> tuple[pd.DataFrame, float]:
    """Work out the kits, and the share of the manure wanted that there is."""
    share = taking["bean_share"]
    stood = stand(joined.reset_index(drop=True), plan, handbook)
    kits = taking.copy()
    for name in ("empty_holes", "standing"):
        kits[name] = _part(stood[name], share)
    kits["seed_g"] = _part(stood["seed_bought_g"], share)
    for good in GOODS:
        kits[f"{good}_g"] = _part(joined[f"{good}_g"].reset_index(drop=True), share)
    # Plots that take no part take none of it.
    there = _manure_there(kits[kits["order_line"].isin(served)], plan)
    kits["manure_g"] = _part(kits["manure_g"], share * 0 + there)
    loads = kits["manure_g"].astype("Float64") / (plan.fertiliser.manure_load_kg * 1000)
    kits["manure_loads"] = np.ceil(loads).astype("Int64")
    per_pole = handbook.numbers("practice").get("holes_per_pole")
    holes = joined["holes"].reset_index(drop=True)
    kits["poles"] = unknown(kits.index) if per_pole is None else _part(holes / per_pole, share)
    return kits, there


def _manure_there(kits: pd.DataFrame, plan: Plan) -> float:
    """Give the share of the manure wanted that there is."""
    wanted = kits["manure_g"]
    return manure_share(None if wanted.isna().any() else int(wanted.sum()), plan)


def _part(values: pd.Series, share: pd.Series) -> pd.Series:
    if values.isna().any():
        return unknown(values.index)
    return half_up(values.astype("float64") * share)


def _lines(kits: pd.DataFrame) -> pd.DataFrame:
    """Add up by village and line, in the order of the lines."""
    groups = kits.groupby(["village", "order_line"], sort=True)
    table = pd.DataFrame(
        {"plots": groups.size(), "bean_area_ha": groups["bean_area_ha"].sum()}
        | {f"{good}_g": groups[f"{good}_g"].sum(min_count=1) for good in BOUGHT}
    ).reset_index()
    parts = [table[~table["order_line"].isin(NO_GO)], *(_no_go(kits, line) for line in NO_GO)]
    table = pd.concat(parts, ignore_index=True)
    table["order_line"] = pd.Categorical(table["order_line"], LINES)
    ordered = table.sort_values(["village", "order_line"], ignore_index=True)
    return ordered.astype({"order_line": "str"})


def _no_go(kits: pd.DataFrame, line: str) -> pd.DataFrame:
    """Add up land that is no-go by village: nothing is planted there, and nothing bought."""
    column = NO_GO_HA[line]
    land = kits[kits[column] > 0].groupby("village", sort=True)[column]
    table = pd.DataFrame(
        {"order_line": line, "plots": land.size(), "bean_area_ha": land.sum()}
    ).reset_index()
    for good in BOUGHT:
        known = kits[f"{good}_g"].notna().all()
        table[f"{good}_g"] = pd.array([0 if known else pd.NA] * len(table), dtype="Int64")
    return table


def _sum(values: pd.Series, what: str) -> int | None:
    return None if values.isna().any() else exact_sum(values, what)


def _uptake(enrolled: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Set what is needed at low, usual and high uptake side by side."""
    shares = pd.Series([getattr(plan.enrolment, f"uptake_{season}_share") for season in SEASONS])
    used = {}
    for good in BOUGHT:
        total = _sum(enrolled[f"{good}_g"], f"{good}_g")
        used[f"{good}_g"] = unknown(shares.index) if total is None else half_up(shares * total)
    return pd.DataFrame({"season": SEASONS, "uptake_share": shares, **used})
