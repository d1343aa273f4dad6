"""Sentences beside the order: what will stand, what it costs, what is lacking, what never to do."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from districtplan.inputs import empty_share, judge_test, packs
from districtplan.outputs.purchase_tables import GOODS, costs_in_all, theirs, waiting
from districtplan.outputs.wording import kilograms

if TYPE_CHECKING:
    from collections.abc import Iterator

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

LACKING_MIN_KG_HA = 0.5
"""Less of a nutrient than this isn't told as lacking: it is printed as none [kg/ha]."""


def notes(results: Results, texts: Texts) -> list[str]:
    """Say what a district must know of its order beside the amounts.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        What is held back until plots have a safe outlet, seeds and stand, nutrients and manure,
        poles, the mistake with the cap, money, and what is left out.
    """
    kits = theirs(results.purchase)
    no_labour = results.purchase.labour.empty and len(kits) > 0
    return [
        *held_back(results, texts),
        *_seed(results, texts),
        *_maize(results, texts),
        *_nutrients(results, texts),
        *_poles(results, texts),
        *_cap(results, texts),
        *_money(results, texts),
        *([texts.say("purchase.no_labour")] if no_labour else []),
    ]


def held_back(results: Results, texts: Texts) -> list[str]:
    """Say what of the order is for plots whose rows must wait for a safe outlet.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        One sentence, none where no such plot takes part.
    """
    kits = waiting(results)
    sums = {good: int(kits[f"{good}_g"].sum()) for good in GOODS if kits[f"{good}_g"].notna().all()}
    told = [
        texts.say("purchase.amount", amount=kilograms(grams), good=texts.say(f"goods.{good}_g"))
        for good, grams in sums.items()
        if grams
    ]
    if not told:
        return []
    key = f"purchase.held_back.{'one' if len(kits) == 1 else 'many'}"
    return [texts.say(key, count=f"{len(kits):,}", amounts=texts.listed(told))]


def _seed(results: Results, texts: Texts) -> Iterator[str]:
    plan, book = results.plan, results.handbook
    practice = plan.practice
    if practice.sprouted_of_100 is not None:
        found = judge_test(practice.sprouted_of_100, book)
        yield texts.say(
            "purchase.tested",
            sprouted=practice.sprouted_of_100,
            low=f"{100 * found.low_share:.0f}",
            high=f"{100 * found.high_share:.0f}",
            choice=texts.say(f"purchase.test.{found.choice.replace(' ', '_')}"),
        )
    seeds = practice.seeds_each(book)
    days = {end: f"{book.number('practice', f'thin_{end}_day'):g}" for end in ("from", "to")}
    way = "thin" if practice.two_seeds == "thin to one" else "apart"
    yield texts.say(
        f"purchase.planted.{'one' if seeds == 1 else way}",
        count=seeds,
        spacing=f"{practice.hole_spacing_cm:g}",
        **days,
    )
    kits = theirs(results.purchase)
    if len(kits):
        target = practice.target_plants_ha
        rule = "holes" if target is None else "target"
        yield texts.say(
            f"purchase.stand.{rule}",
            empty=f"{100 * empty_share(plan, book):.0f}",
            standing=f"{int(kits['standing'].sum()):,}",
            target="" if target is None else f"{target:,.0f}",
        )


def _maize(results: Results, texts: Texts) -> Iterator[str]:
    """Tell that the other crop is left out, and how much of it is planted."""
    seeds = results.plots.set_index("plot_id")["maize_seeds"].astype("Float64").fillna(0.0)
    kits = theirs(results.purchase)
    planted = float((kits["plot_id"].map(seeds) * kits["bean_share"]).sum())
    if planted:
        yield texts.say("purchase.maize", count=f"{planted:,.0f}")


def _nutrients(results: Results, texts: Texts) -> Iterator[str]:
    table = results.purchase.nutrients
    brought = table[["npk_kg_ha", "urea_kg_ha", "manure_kg_ha"]].sum(axis=1)
    if brought.any():
        yield texts.say("purchase.brought", amounts=_listed(table["nutrient"], brought, texts))
    share = results.purchase.manure_there_share
    if share < 1:
        yield texts.say("purchase.manure_there", share=f"{100 * share:.0f}")
    if table["need_kg_ha"].isna().all():
        return
    lacks = table["shortfall_kg_ha"].ge(LACKING_MIN_KG_HA)
    short = table[lacks]
    if short.empty:
        yield texts.say("purchase.nothing_lacking")
    else:
        told = _listed(short["nutrient"], short["shortfall_kg_ha"], texts)
        yield texts.say("purchase.lacking", amounts=told)


def _listed(names: pd.Series, kg_ha: pd.Series, texts: Texts) -> str:
    return texts.listed(
        [
            texts.say(
                "purchase.nutrient", name=texts.say(f"nutrients.{name}"), amount=f"{one:,.0f}"
            )
            for name, one in zip(names, kg_ha, strict=True)
        ]
    )


def _poles(results: Results, texts: Texts) -> Iterator[str]:
    poles = results.purchase.poles["poles_wanted"].sum()
    if poles:
        yield texts.say("purchase.poles", count=f"{int(poles):,}")


def _cap(results: Results, texts: Texts) -> Iterator[str]:
    """Tell the mistake most often made, in bags: an officer sees that it can't be meant."""
    rate, pack = results.purchase.cap_in_every_hole_kg_ha, results.plan.orders.npk_pack_kg
    if rate is None:
        return
    told = f"{rate:,.0f}"
    if pack is not None:
        bags = f"{packs(round(rate * 1000), pack):,}"
        told = texts.say("purchase.in_bags", amount=told, bags=bags, pack=f"{pack:g}")
    yield texts.say("purchase.cap", amount=told)


def _money(results: Results, texts: Texts) -> Iterator[str]:
    bought = results.purchase
    currency = results.plan.money.currency
    unit = "" if currency is None else f" {currency}"
    costs = costs_in_all(bought)
    known = {good: cost for good, cost in costs.items() if cost is not None}
    if known and len(known) == len(costs):
        parts = [
            texts.say("purchase.cost_of", good=texts.say(f"goods.{good}_g"), cost=f"{cost:,.2f}")
            for good, cost in known.items()
        ]
        total = f"{math.fsum(known.values()):,.2f}"
        yield texts.say("purchase.cost", cost=total, unit=unit, parts=texts.listed(parts))
    if bought.kit_costs["cost_cents"].isna().any():
        yield texts.say("purchase.no_money")
    table = bought.margins.set_index("row")
    if len(table):
        told = {
            f"{row}_{end}": f"{float(table[f'margin_{end}'][row]):,.0f}"
            for row in ("with", "without")
            for end in ("low", "high")
        }
        yield texts.say("purchase.margins", unit=unit, **told)
        added = table.loc["added"]
        if pd.notna(added["value_cost_ratio_low"]):
            ends = {end: f"{added[f'value_cost_ratio_{end}']:.1f}" for end in ("low", "high")}
            yield texts.say("purchase.ratio", **ends)
