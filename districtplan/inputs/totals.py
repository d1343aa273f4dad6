"""Totals by village and district: exact sums, packs rounded up once where they are bought."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from districtplan import tables
from districtplan.inputs.counting import exact_sum, packs
from districtplan.inputs.need import pack_sizes

if TYPE_CHECKING:
    from collections.abc import Iterable

    from districtplan.plan import Plan

    Sums = dict[str, int | None]

RASTER = "row_method_raster"
"""Column of the row method that the raster alone gives."""


def totals(joined: pd.DataFrame, plan: Plan) -> tuple[pd.DataFrame, pd.Series]:
    """Add up plots by village and over the district.

    A sum with an unknown part is unknown. Packs are rounded up once, at the level at which the
    plan buys them, and added up from there; below that level they are null.

    Parameters
    ----------
    joined : pandas.DataFrame
        Plots with ``village``, ``area_ha``, ``row_method``, ``row_method_raster``,
        ``erosion_flags``, ``holes``, ``maize_holes`` and the columns made by inputs.
    plan : Plan
        What is wanted: pack sizes and where they are bought.

    Returns
    -------
    villages : pandas.DataFrame
        ``village`` and its totals, sorted by name.
    district : pandas.Series
        The same totals over the district.

    Raises
    ------
    InputError
        If a sum is too large for the files that it is written to.
    """
    groups = list(joined.groupby("village", sort=True, dropna=False))
    by_village = [_sums(plots) for _, plots in groups]
    district = _sums(joined)
    _add_packs(by_village, district, plan)
    villages = pd.DataFrame([_areas(plots) for _, plots in groups])
    villages.insert(0, "village", [str(village) for village, _ in groups])
    for column in district:
        villages[column] = pd.Series([sums[column] for sums in by_village], dtype="Int64")
    whole = {column: pd.NA if total is None else total for column, total in district.items()}
    return villages, pd.Series(_areas(joined) | whole, dtype="object", name="district")


def _measured(plots: pd.DataFrame, by: str = "row_method") -> pd.Series:
    return plots[by] == "measure on the ground"


def _areas(plots: pd.DataFrame) -> dict[str, float]:
    return {
        "area_ha": math.fsum(plots["area_ha"]),
        "area_measure_ha": math.fsum(plots.loc[_measured(plots), "area_ha"]),
        "area_unserved_ha": math.fsum(plots.loc[_measured(plots, RASTER), "area_ha"]),
    }


def _sums(plots: pd.DataFrame) -> Sums:
    flags = plots["erosion_flags"]
    counts: Sums = {
        "plots": len(plots),
        "plots_steep": sum("rows_alone_not_enough" in codes for codes in flags),
        "plots_beyond_equations": sum("slope_beyond_equations" in codes for codes in flags),
        "plots_measure": int(_measured(plots).sum()),
        "plots_unserved": int(_measured(plots, RASTER).sum()),
    }
    summed = ("holes", "maize_holes", *tables.made_by("inputs"))
    return counts | {column: _sum(plots[column], column) for column in summed}


def _sum(values: pd.Series, what: str) -> int | None:
    return None if values.isna().any() else exact_sum(values, what)


def _add_packs(by_village: list[Sums], district: Sums, plan: Plan) -> None:
    # Packs of plots are in the sums already; those of farmers and groups are in the orders alone.
    if plan.orders.bought_at in {"plot", "farmer", "group"}:
        return
    for what, size in pack_sizes(plan).items():
        column, grams = f"{what}_packs", f"{what}_g"
        if plan.orders.bought_at == "district":
            district[column] = _packs(district[grams], size)
            continue
        for sums in by_village:
            sums[column] = _packs(sums[grams], size)
        district[column] = _sum_known(sums[column] for sums in by_village)


def _packs(need_g: int | None, pack_kg: float | None) -> int | None:
    return None if need_g is None or pack_kg is None else packs(need_g, pack_kg)


def _sum_known(counts: Iterable[int | None]) -> int | None:
    known = list(counts)
    return None if None in known else sum(count for count in known if count is not None)
