"""Entries of the plan that are allowed but most often a slip."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.inputs.marked_string import MEASURES, TABLE, marked_string
from districtplan.inputs.nutrients import beside_seed_kg_ha
from districtplan.inputs.seed import hundred_seed_weight_g, judge_test

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

RANGES = "practice_ranges"
"""The handbook's table of what is published of practices."""


def delivery_doubts(lots: pd.DataFrame, dated: pd.DataFrame, plan: Plan) -> list[str]:
    """Say whether lots would have to come before they are ordered.

    Parameters
    ----------
    lots : pandas.DataFrame
        Orders loaded on vehicles.
    dated : pandas.DataFrame
        The works of the season, by zone.
    plan : Plan
        What a vehicle carries, and lots a day.

    Returns
    -------
    list[str]
        One sentence, or none.
    """
    usual = dated[dated["season"] == "usual"]
    ordered = usual.loc[usual["work"] == "order", "last_day"].min()
    if lots.empty or lots["delivery_day"].min() > ordered:
        return []
    first, count = lots["delivery_day"].min(), lots["lot"].nunique()
    return [
        f"{count:,} lots at lots_a_day = {plan.orders.lots_a_day} would begin to arrive on "
        f"{first}, though orders are placed until {ordered}. Raise lots_a_day or vehicle_kg, "
        "or order earlier."
    ]


def doubts(plan: Plan, handbook: Handbook) -> list[str]:
    """Say which entries of the plan's practice look wrong.

    Parameters
    ----------
    plan : Plan
        What is wanted.
    handbook : Handbook
        The published tables.

    Returns
    -------
    list[str]
        A sentence a doubt; empty where there is none.

    Raises
    ------
    InputError
        If no string can carry a measure of the plan.
    """

    def number(name: str) -> float:
        return handbook.number("practice", name)

    said = list(_unusual(plan, handbook))
    weight = hundred_seed_weight_g(plan, handbook)
    low, high = number("hundred_seed_weight_low_g"), number("hundred_seed_weight_high_g")
    if weight is not None and not low <= weight <= high:
        rate = plan.practice.seed_kg_ha
        told = "" if rate is None else f"seed_kg_ha = {rate:g} implies "
        said.append(
            f"{told}hundred_seed_weight_g = {weight:.3g} lies outside {low:g} to {high:g}. "
            "Weigh 100 seeds again."
        )
    ceiling = number("fertiliser_high_kg_ha")
    for key in ("npk_kg_ha", "urea_kg_ha"):
        rate = getattr(plan.practice, key)
        if rate is not None and rate > ceiling:
            said.append(
                f"{key} = {rate:g} lies above {ceiling:g}. Check that it is kilograms of the "
                "product a hectare: so much beside the seed injures beans."
            )
    said += _risks(plan, handbook)
    close = handbook.number(TABLE, "rounding_max_pct")
    for mark in marked_string(plan, handbook).marks:
        if abs(mark.error_pct) > close:
            key = MEASURES[mark.good]
            way = "more" if mark.error_pct > 0 else "less"
            said.append(
                f"{key} = {mark.measure_g:g} doesn't fit whole holes: the marked string gives "
                f"{abs(mark.error_pct):.0f} % {way} than the plan's rate. Use another measure."
            )
    return said


def _risks(plan: Plan, handbook: Handbook) -> Iterator[str]:
    """Tell what would harm the stand."""
    beside, most = beside_seed_kg_ha(plan), handbook.number("practice", "beside_seed_max_kg_ha")
    if beside > most:
        yield (
            f"N and K2O at planting come to {beside:.0f} kg/ha, above {most:g}, which injures "
            f"seed beside it ({handbook.source('practice', 'beside_seed_max_kg_ha')}). Give less, "
            "or a part of it later."
        )
    if plan.fertiliser.urea_time == "planting" and plan.practice.urea_kg_ha is not None:
        yield (
            "Urea is to be given at planting, where it injures bean seed. Give it at the first "
            "weeding."
        )
    sprouted = plan.practice.sprouted_of_100
    if sprouted is not None and judge_test(sprouted, handbook).choice == "buy seed":
        yield (
            f"sprouted_of_100 = {sprouted} is too few, even for two seeds a hole. Buy seed, or "
            "test another lot."
        )


def _unusual(plan: Plan, handbook: Handbook) -> Iterator[str]:
    """Tell numbers of the practice that lie outside what is published, and by whom."""
    practice = handbook.numbers("practice")
    for name, low, high in handbook.rows(RANGES)[["name", "low", "high"]].itertuples(index=False):
        value = getattr(plan.practice, name, practice.get(name))
        if value is not None and not low <= value <= high:
            yield (
                f"{name} = {value:g} lies outside {low:g} to {high:g}, which is published "
                f"({handbook.source(RANGES, name)}). Check it."
            )
