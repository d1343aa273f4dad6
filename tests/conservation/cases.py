"""Plots beside measures: tables as the stages before hand them over, on numbers alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from districtplan import conservation, erosion
from districtplan.conservation.land import Land, land_of
from districtplan.conservation.measures import Options, options
from districtplan.handbook import Handbook, packaged
from districtplan.plan import Plan
from tests.conftest import plan_of
from tests.support import SOIL, assessed

DEEP = {"soil_depth_m": 1.5}
FREE = SOIL | {"drainage": "free"}
DAYS = {
    "contour_ridges": 4, "grass_strips": 6, "trash_lines": 3, "stone_lines": 20,
    "cut_off_drain": 15, "grassed_waterway": 25, "hillside_ditch": 18, "retention_bund": 25,
    "bench_terraces": 0.5, "permanent_cover": 60,
}  # fmt: skip
"""Invented labour, of the size that a district may measure."""
MEASURES = {measure.name: measure for measure in conservation.catalogue(packaged())}


def plan_with(soil: dict | None = None, **conservation: object) -> Plan:
    """A plan for deep, freely draining soil."""
    return plan_of(soil=FREE if soil is None else soil, conservation=DEEP | conservation)


def with_labour(days: dict[str, float] | None = None) -> Handbook:
    """The handbook of a district that has measured labour."""
    own = packaged()
    costs = own.rows("measure_costs").copy()
    given = DAYS if days is None else days
    costs["days"] = [float(given.get(name, np.nan)) for name in costs["name"]]
    return Handbook(
        {**own.tables, "measure_costs": replace(own.tables["measure_costs"], rows=costs)}
    )


def plots_of(
    slope_pct, length_m=60.0, plan: Plan | None = None, book: Handbook | None = None, **columns
) -> pd.DataFrame:
    """Plots by slope and length down the fall, with what the stages before find of them."""
    slope, length = np.broadcast_arrays(np.asarray(slope_pct, float), np.asarray(length_m, float))
    slope, length = slope.ravel(), length.ravel()
    practice = columns.pop("practice", None)
    above = columns.pop("above", None)
    plots = assessed(
        slope,
        length,
        plan or plan_with(),
        book,
        beside=erosion.Beside(practice=practice, above=above),
    )
    area_ha = np.full(len(slope), 0.3)
    count = (area_ha * 20_000).astype(np.int64)
    plots = plots.assign(
        village="Hill",
        area_ha=area_ha,
        slope_mean_pct=slope,
        slope_measured_pct=np.nan,
        slope_used_pct=slope,
        slope_length_m=length,
        run_on_area_ha=0.0,
        flow_line_length_m=0.0,
        flow_strip_m2=0.0,
        row_method="straight",
        outlet_flags=pd.Series([()] * len(slope), dtype=object),
        row_length_m=area_ha * 20_000,
        **{
            name: pd.array(count, dtype="Int64")
            for name in ("rows", "holes", "seed_g", "npk_g", "urea_g", "manure_g")
        },
    )
    return plots.assign(**columns)


def standing_on(
    plots: pd.DataFrame, practice: pd.DataFrame | None = None, book: Handbook | None = None
) -> pd.DataFrame:
    """What stands on plots."""
    return erosion.standing(plots["plot_id"], practice, book or packaged())


def land(plots: pd.DataFrame, plan: Plan, practice: pd.DataFrame | None = None) -> Land:
    """The plots as measures see them."""
    return land_of(plots, standing_on(plots, practice), plan)


def options_of(
    plots: pd.DataFrame,
    plan: Plan,
    book: Handbook | None = None,
    practice: pd.DataFrame | None = None,
) -> Options:
    """Every plot beside every measure."""
    book = book or packaged()
    equations = erosion.Equations(plan, book)
    return options(plots, standing_on(plots, practice, book), equations, plan, book)


def option(found: Options, measure: str) -> pd.Series:
    """The option of the only plot that a measure is offered on."""
    return found.offered[found.offered["measure"] == measure].iloc[0]


def why_not(found: Options) -> dict[str, str]:
    """Reasons by measure, of the only plot."""
    return dict(zip(found.refused["measure"], found.refused["measure_reason"], strict=True))


def practice_of(**given) -> pd.DataFrame:
    """Current practice of the first plot."""
    return pd.DataFrame([{"plot_id": "P0", **given}]).reindex(columns=list(erosion.PRACTICE))
