"""Fertiliser and manure: rates from needs, what they bring, and what lies beside the seed.

A need in kilograms of nutrient is met in turn: by manure first, since it is there; then P2O5 by the
compound, and the nitrogen still lacking by urea.

    kg of product = kg of nutrient / (percent of it / 100)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from districtplan.plan import Plan

GOODS = ("npk", "urea", "manure")
NUTRIENTS = ("n", "p2o5", "k2o")


def product_kg(nutrient_kg: float, grade_pct: float) -> float:
    """Give the product that brings a nutrient.

    Parameters
    ----------
    nutrient_kg : float
        Nutrient [kg].
    grade_pct : float
        Share of it in the product, above 0 [%].

    Returns
    -------
    float
        Product [kg].
    """
    return nutrient_kg / (grade_pct / 100)


def grades(plan: Plan) -> dict[str, dict[str, float]]:
    """List what goods hold.

    Parameters
    ----------
    plan : Plan
        Its section ``fertiliser``.

    Returns
    -------
    dict[str, dict[str, float]]
        Percent by good and nutrient.
    """
    held = plan.fertiliser
    return {
        good: {name: getattr(held, f"{good}_{name}_pct", 0.0) for name in NUTRIENTS}
        for good in GOODS
    }


def dosed(plan: Plan) -> Plan:
    """Work out rates from needs, where the plan asks for it and gives no rate.

    Parameters
    ----------
    plan : Plan
        What is wanted.

    Returns
    -------
    Plan
        The same plan with rates for ``fertiliser.products``. The limiting need of manure is the one
        that takes least of it, so that it brings no nutrient in excess.
    """
    held = grades(plan)
    rates = {good: getattr(plan.practice, f"{good}_kg_ha") for good in GOODS}
    asked = [good for good in plan.fertiliser.products or () if rates[good] is None]
    for good, limits in (("manure", NUTRIENTS), ("npk", ("p2o5",)), ("urea", ("n",))):
        if good not in asked:
            continue
        lacking = _lacking(plan, rates)
        rate = min(
            (
                product_kg(lacking[name], held[good][name])
                for name in limits
                if held[good][name] > 0 and name in lacking
            ),
            default=0.0,
        )
        rates[good] = rate or None
    filled = {f"{good}_kg_ha": rates[good] for good in asked}
    return plan.model_copy(update={"practice": plan.practice.model_copy(update=filled)})


def _lacking(plan: Plan, rates: dict[str, float | None]) -> dict[str, float]:
    held = grades(plan)
    needs = {name: getattr(plan.fertiliser, f"need_{name}_kg_ha") for name in NUTRIENTS}
    return {
        name: max(need - sum((rates[g] or 0.0) * held[g][name] / 100 for g in GOODS), 0.0)
        for name, need in needs.items()
        if need is not None
    }


def balance(plan: Plan, manure_there: float = 1.0) -> pd.DataFrame:
    """Set what the goods bring beside what the crop is to get.

    Parameters
    ----------
    plan : Plan
        What is wanted, its rates filled in.
    manure_there : float, default 1.0
        Share of the manure wanted that there is [1].

    Returns
    -------
    pandas.DataFrame
        A row a nutrient: ``nutrient``, ``npk_kg_ha``, ``urea_kg_ha``, ``manure_kg_ha`` that each
        brings, ``need_kg_ha`` and ``shortfall_kg_ha``, both NaN without a need.
    """
    held = grades(plan)
    rates = {good: getattr(plan.practice, f"{good}_kg_ha") for good in GOODS}
    rates["manure"] = (rates["manure"] or 0.0) * manure_there
    lacking = _lacking(plan, rates)
    return pd.DataFrame(
        [
            {
                "nutrient": name,
                **{f"{g}_kg_ha": (rates[g] or 0.0) * held[g][name] / 100 for g in GOODS},
                "need_kg_ha": getattr(plan.fertiliser, f"need_{name}_kg_ha"),
                "shortfall_kg_ha": lacking.get(name),
            }
            for name in NUTRIENTS
        ]
    ).astype({"need_kg_ha": "float64", "shortfall_kg_ha": "float64"})


def beside_seed_kg_ha(plan: Plan) -> float:
    """Add up the nitrogen and potash that lie beside the seed at planting.

    Parameters
    ----------
    plan : Plan
        What is wanted, its rates filled in.

    Returns
    -------
    float
        N and K2O of the compound, and of urea where the plan insists on it then [kg/ha]. Manure is
        mixed into the soil and isn't counted.
    """
    held = grades(plan)
    goods = ("npk", "urea") if plan.fertiliser.urea_time == "planting" else ("npk",)
    return sum(
        (getattr(plan.practice, f"{good}_kg_ha") or 0.0) * held[good][name] / 100
        for good in goods
        for name in ("n", "k2o")
    )


def cap_in_every_hole_kg_ha(plan: Plan) -> float | None:
    """Give the rate if a whole cap of NPK went into every hole, the mistake most often made.

    Parameters
    ----------
    plan : Plan
        Its spacings and the weighed cap.

    Returns
    -------
    float | None
        Rate, None where no cap was weighed [kg/ha].
    """
    if plan.string.cap_npk_g is None:
        return None
    hole_m2 = plan.practice.bean_rows_apart_cm / 100 * plan.practice.hole_spacing_cm / 100
    return plan.string.cap_npk_g / 1000 * 10_000 / hole_m2


def manure_share(need_g: int | None, plan: Plan) -> float:
    """Give the share of the manure wanted that there is.

    Parameters
    ----------
    need_g : int | None
        What all plots that take part would take [g].
    plan : Plan
        What the district has.

    Returns
    -------
    float
        1 where there is enough.
    """
    there = plan.fertiliser.manure_there_kg
    if there is None or not need_g:
        return 1.0
    return min(there * 1000 / need_g, 1.0)
