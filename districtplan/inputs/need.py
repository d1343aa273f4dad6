"""Plants, seed, fertiliser and manure a plot, as whole numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from districtplan import tables
from districtplan.inputs.counting import half_up, packs, unknown
from districtplan.inputs.seed import hundred_seed_weight_g

if TYPE_CHECKING:
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan


def need(rows: pd.DataFrame, plan: Plan, handbook: Handbook) -> pd.DataFrame:
    """Work out what each plot needs.

    Seed in the ground is holes times seeds a hole, whatever germinates; germination and emergence
    give the plants expected. A rate in kilograms a hectare of map area is grams a metre of row at
    the nominal spacing, and a plot takes that along all of its rows. What the plan has no rate for
    is null.

    Parameters
    ----------
    rows : pandas.DataFrame
        ``plot_id``, ``holes``, ``row_length_m`` and ``maize_holes``.
    plan : Plan
        What is wanted: practice and orders.
    handbook : Handbook
        The published tables.

    Returns
    -------
    pandas.DataFrame
        ``plot_id`` and the columns made by inputs, in the order of ``rows``; packs are null
        unless they are bought by plot.
    """
    practice = plan.practice
    rows = rows.reset_index(drop=True)
    found = pd.DataFrame({"plot_id": rows["plot_id"].to_numpy()})
    found["seeds"] = rows["holes"] * seeds_per_hole(plan, handbook)
    found["plants"] = half_up(
        found["seeds"].astype("float64") * practice.germination_share * practice.emergence_share
    )
    found["maize_seeds"] = rows["maize_holes"] * practice.maize_seeds_per_hole
    weight = hundred_seed_weight_g(plan, handbook)
    found["seed_g"] = (
        unknown(found.index)
        if weight is None
        else half_up(found["seeds"].astype("float64") * weight / 100)
    )
    for good in ("npk", "urea", "manure"):
        found[f"{good}_g"] = _along(rows["row_length_m"], grams_a_metre(plan, good))
    for what, size in pack_sizes(plan).items():
        bought_here = plan.orders.bought_at == "plot"
        found[f"{what}_packs"] = _packs(found[f"{what}_g"], size if bought_here else None)
    return tables.check(found, ("plot_id", *tables.made_by("inputs")))


def grams_a_metre(plan: Plan, good: str) -> float | None:
    """Give the rate of a good along a row.

    Parameters
    ----------
    plan : Plan
        Its rates on map area, and the distance of bean rows.
    good : str
        ``npk``, ``urea`` or ``manure``.

    Returns
    -------
    float | None
        Rate, None where the plan has none [g/m].
    """
    rate = getattr(plan.practice, f"{good}_kg_ha")
    # 1 kg/ha is 0.1 g/m², and a metre of row has so many square metres as rows are metres apart.
    return None if rate is None else rate * plan.practice.bean_rows_apart_cm / 1000


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
    return plan.practice.seeds_each(handbook)


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


def _along(row_length_m: pd.Series, rate_g_m: float | None) -> pd.Series:
    return unknown(row_length_m.index) if rate_g_m is None else half_up(row_length_m * rate_g_m)


def _packs(need_g: pd.Series, pack_kg: float | None) -> pd.Series:
    if pack_kg is None:
        return unknown(need_g.index)
    counted = [pd.NA if pd.isna(grams) else packs(grams, pack_kg) for grams in need_g]
    return pd.Series(counted, index=need_g.index, dtype="Int64")
