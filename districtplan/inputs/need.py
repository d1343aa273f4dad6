"""Holes, plants, seed, fertiliser and manure a plot, as whole numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from districtplan import tables
from districtplan.inputs.counting import half_up, packs, unknown

if TYPE_CHECKING:
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

CM2_PER_HA = 1e8


def need(plots: pd.DataFrame, plan: Plan, handbook: Handbook) -> pd.DataFrame:
    """Work out what each plot needs.

    Holes are map area over row spacing times hole spacing: an even stand over the whole plot, not
    a count along its rows. Seed in the ground is holes times seeds a hole, whatever germinates;
    germination and emergence give the plants expected. What the plan has no rate for is null.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``area_ha``.
    plan : Plan
        What is wanted: practice and orders.
    handbook : Handbook
        The published tables.

    Returns
    -------
    pandas.DataFrame
        ``plot_id`` and the columns made by inputs, in the order of ``plots``; packs are null
        unless they are bought by plot.
    """
    practice = plan.practice
    area = plots["area_ha"].reset_index(drop=True)
    found = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy()})
    found["holes"] = half_up(
        area * CM2_PER_HA / (practice.row_spacing_cm * practice.hole_spacing_cm)
    )
    found["seeds"] = found["holes"] * seeds_per_hole(plan, handbook)
    found["plants"] = half_up(
        found["seeds"].astype("float64") * practice.germination_share * practice.emergence_share
    )
    weight = practice.hundred_seed_weight_g
    found["seed_g"] = (
        unknown(found.index)
        if weight is None
        else half_up(found["seeds"].astype("float64") * weight / 100)
    )
    found["npk_g"] = _spread(area, practice.npk_kg_ha)
    found["urea_g"] = _spread(area, practice.urea_kg_ha)
    found["manure_g"] = _spread(area, practice.manure_kg_ha)
    for what, size in pack_sizes(plan).items():
        bought_here = plan.orders.bought_at == "plot"
        found[f"{what}_packs"] = _packs(found[f"{what}_g"], size if bought_here else None)
    return tables.check(found, ("plot_id", *tables.made_by("inputs")))


def seeds_per_hole(plan: Plan, handbook: Handbook) -> int:
    """Give the seeds a hole: the plan's, or else those usual for its class of seed.

    Parameters
    ----------
    plan : Plan
        What is wanted.
    handbook : Handbook
        The published tables.

    Returns
    -------
    int
        Seeds a hole.
    """
    if plan.practice.seeds_per_hole is not None:
        return plan.practice.seeds_per_hole
    name = "seeds_per_hole_" + plan.practice.seed_class.replace("-", "_")
    return round(handbook.number("bean_practice", name))


def pack_sizes(plan: Plan) -> dict[str, float | None]:
    """List what is bought in packs, and the size of each.

    Parameters
    ----------
    plan : Plan
        What is wanted.

    Returns
    -------
    dict[str, float | None]
        Size of a pack by the stem of its columns, None where the plan has none [kg].
    """
    orders = plan.orders
    return {"seed": orders.seed_pack_kg, "npk": orders.npk_pack_kg, "urea": orders.urea_pack_kg}


def _spread(area_ha: pd.Series, rate_kg_ha: float | None) -> pd.Series:
    if rate_kg_ha is None:
        return unknown(area_ha.index)
    return half_up(area_ha * rate_kg_ha * 1000)


def _packs(need_g: pd.Series, pack_kg: float | None) -> pd.Series:
    if pack_kg is None:
        return unknown(need_g.index)
    counted = [pd.NA if pd.isna(grams) else packs(grams, pack_kg) for grams in need_g]
    return pd.Series(counted, index=need_g.index, dtype="Int64")
