"""Every plot beside every measure: what it would take, save and cost, or why it can't be.

What belongs to the measure alone (words on upkeep and caution, whether it carries water) is in the
catalogue; a measure that does is built for a whole hillside, and ends at a safe outlet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.conservation import treatment
from districtplan.conservation.catalogue import ALL_ITS_LAND, Measure, catalogue
from districtplan.conservation.effects import WHOLE, Equations, Range, loss_after, share_left
from districtplan.conservation.land import M2_IN_HA, Land, land_of
from districtplan.conservation.planting import plants_to_raise
from districtplan.conservation.spacing import BENCH, Spacing, bench_of, spacing, vertical_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

DUST = 1e-9
"""A share or a count that differs by less is the same."""
ENDS = ("low", "likely", "high")
KEPT = ("rows", "row_length_m", "holes", "seed_g", "npk_g", "urea_g", "manure_g")
"""Columns that are told again as they would become."""


class Options(NamedTuple):
    """What may be done.

    Attributes
    ----------
    offered : pandas.DataFrame
        One row a plot and measure that it may bear, by plot and then in the order of the
        catalogue: ``plot_id`` and the columns made by options.
    refused : pandas.DataFrame
        The others: ``plot_id``, ``measure`` and ``measure_reason``.
    """

    offered: pd.DataFrame
    refused: pd.DataFrame


@dataclass(frozen=True)
class _Asked:
    plots: pd.DataFrame
    land: Land
    equations: Equations
    plan: Plan
    handbook: Handbook


class _Lines(NamedTuple):
    number: Floats
    length_m: Floats
    taken: Floats
    """Share of the plot."""
    cut_m3: Floats


def options(
    plots: pd.DataFrame,
    standing: pd.DataFrame,
    equations: Equations,
    plan: Plan,
    handbook: Handbook,
) -> Options:
    """Set every plot beside every measure.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots with the columns of terrain, water, rows, erosion and inputs; see also
        :func:`districtplan.conservation.land.land_of`.
    standing : pandas.DataFrame
        What stands on them.
    equations : Equations
        LS and P of rows on the contour; the erosion stage has them.
    plan : Plan
        What is wanted.
    handbook : Handbook
        The published tables.

    Returns
    -------
    Options
        All pairs of plot and measure, each once. Losses are null where there are no tonnes; where
        a plot is beyond the equations ``soil_saved_counted_t_yr`` goes by the loss at their
        steepest slope, and ``saved_by_floor`` says so.
    """
    asked = _Asked(plots, land_of(plots, standing, plan), equations, plan, handbook)
    measures = catalogue(handbook)
    names = [measure.name for measure in measures]
    offered, refused = [], []
    for measure in measures:
        found, reasons = _of_measure(measure, asked)
        allowed = reasons == treatment.ALLOWED
        found["measure"] = pd.Categorical.from_codes(
            np.full(len(found), names.index(measure.name), dtype=np.int64), pd.Index(names)
        )
        offered.append(found[allowed])
        refused.append(
            pd.DataFrame(
                {
                    "plot_id": plots["plot_id"].to_numpy()[~allowed],
                    "measure": found["measure"].array[~allowed],
                    "measure_reason": pd.Categorical(reasons[~allowed], treatment.REASONS),
                },
                index=np.flatnonzero(~allowed),
            )
        )
    made = ("plot_id", *tables.made_by("options"))
    told = ("plot_id", "measure", *tables.made_by("refused"))
    return Options(tables.check(_by_plot(offered), made), tables.check(_by_plot(refused), told))


def _by_plot(parts: list[pd.DataFrame]) -> pd.DataFrame:
    # Indices are places of plots; a stable sort keeps the order of the catalogue.
    return pd.concat(parts).sort_index(kind="stable").reset_index(drop=True)


def _of_measure(measure: Measure, asked: _Asked) -> tuple[pd.DataFrame, NDArray[np.object_]]:
    plots, land, plan = asked.plots, asked.land, asked.plan
    apart = spacing(measure, land.used_pct, plan, asked.handbook)
    left = share_left(measure, land, apart, asked.equations, plan, asked.handbook)
    reasons = treatment.reasons(measure, land, plan)
    idle = (left.likely >= WHOLE - DUST) & (measure.effect != "none")
    reasons = np.where(idle & (reasons == treatment.ALLOWED), "saves_nothing", reasons)
    if BENCH in measure.spacing_rules:
        # A cut to the rock leaves nothing to root in, however deep the soil is said to have to be.
        through = bench_of(measure, land.used_pct, plan).cut_depth_m >= land.soil_depth_m
        reasons = np.where(through & (reasons == treatment.ALLOWED), "soil_shallow", reasons)
    lines = _lines(measure, apart, asked)
    area_ha = land.area_m2 / M2_IN_HA
    plants = plants_to_raise(measure, lines.length_m, area_ha, asked.handbook)
    found = pd.DataFrame(
        {
            "plot_id": plots["plot_id"].to_numpy(),
            "lines": _whole(lines.number),
            "measure_length_m": lines.length_m,
            "land_taken_pct": lines.taken * 100,
            "measure_plants": _whole(plants),
            **{f"loss_left_{end}_share": getattr(left, end) for end in ENDS},
            **{_after(name): _kept(plots[name], lines.taken) for name in KEPT},
            **_spacing(apart, land),
            **_tonnes(left, asked),
            **_costs(measure, lines, asked),
        }
    )
    return found, reasons


def _after(name: str) -> str:
    stem, _, unit = name.rpartition("_")
    return f"{stem}_after_{unit}" if unit in {"m", "g"} else f"{name}_after"


def _lines(measure: Measure, apart: Spacing | None, asked: _Asked) -> _Lines:
    land = asked.land
    nothing, unknown = np.zeros_like(land.area_m2), np.full_like(land.area_m2, np.nan)
    if measure.effect == "contour":
        rows, length = (_numbers(asked.plots[name]) for name in ("rows", "row_length_m"))
        return _Lines(rows, length, nothing, nothing)
    if measure.effect == ALL_ITS_LAND:
        return _Lines(unknown, unknown, nothing + 1, nothing)
    across = land.area_m2 / land.length_m
    if apart is None and measure.effect == "none":
        # Rows keep clear of the strip along flow lines already; what is left of it is taken.
        clear = np.nan_to_num(_numbers(asked.plots["flow_strip_m2"]))
        strip = asked.plan.water.strip_width_m * land.flow_line_m
        taken = np.clip(strip - clear, 0, land.area_m2) / land.area_m2
        return _Lines(nothing + 1, land.flow_line_m, taken, nothing)
    if apart is None:
        return _Lines(nothing + 1, across, _taken(measure, across, land), nothing)
    if BENCH in measure.spacing_rules:
        laid = bench_of(measure, land.used_pct, asked.plan)
        length = land.area_m2 / laid.whole_m
        # Where a riser would never meet the slope there is no bench, and no earth to count.
        stands = np.isfinite(laid.riser_m)
        taken = np.divide(laid.riser_m, laid.whole_m, out=nothing + 1, where=stands)
        cut = np.multiply(length, laid.cut_m3_m, out=unknown, where=stands)
        return _Lines(np.ceil(land.length_m / laid.whole_m), length, taken, cut)
    # The first line is along the top edge, so that no piece is longer than the spacing.
    count = np.maximum(np.ceil(land.length_m / apart.apart_m - DUST), 1)
    length = np.where(np.isnan(count), land.area_m2 / apart.apart_m, count * across)
    return _Lines(count, length, _taken(measure, length, land), nothing)


def _taken(measure: Measure, length_m: Floats, land: Land) -> Floats:
    return np.minimum(measure.number("width_m") * length_m / land.area_m2, 1.0)


def _spacing(apart: Spacing | None, land: Land) -> dict[str, Floats | NDArray[np.object_]]:
    nothing = np.full_like(land.used_pct, np.nan)
    by, other = (nothing, nothing) if apart is None else (apart.apart_m, apart.other_m)
    by, other = (np.where(np.isfinite(m), m, np.nan) for m in (by, other))
    rule = None if apart is None else apart.rule
    beside = None if apart is None else apart.other_rule
    return {
        "line_apart_m": by,
        "spacing_rule": np.full(len(by), rule, dtype=object),
        "line_apart_other_m": other,
        "spacing_rule_other": np.array(
            [beside if known else None for known in ~np.isnan(other)], dtype=object
        ),
        "line_drop_m": vertical_m(by, land.used_pct),
    }


def _tonnes(left: Range, asked: _Asked) -> dict[str, Floats | NDArray[np.int64]]:
    plots = asked.plots
    now = Range(*(_numbers(plots[f"soil_loss_now_{end}_t_ha_yr"]) for end in ENDS))
    after = loss_after(now, left)
    area_ha = asked.land.area_m2 / M2_IN_HA
    saved = (now.likely - after.likely) * area_ha
    floor = _numbers(plots["soil_loss_floor_t_ha_yr"]) * (WHOLE - left.likely) * area_ha
    return {
        **{f"soil_loss_after_{end}_t_ha_yr": getattr(after, end) for end in ENDS},
        "soil_saved_t_yr": saved,
        "soil_saved_counted_t_yr": np.where(np.isnan(saved), floor, saved),
        "saved_by_floor": (np.isnan(saved) & ~np.isnan(floor)).astype(np.int64),
    }


def _costs(measure: Measure, lines: _Lines, asked: _Asked) -> dict[str, Floats]:
    counted = {
        "100 m": lines.length_m / 100,
        "m³": lines.cut_m3,
        "ha": asked.land.area_m2 / M2_IN_HA,
    }[measure.labour_per]
    days = counted * measure.days
    pay = asked.plan.conservation.day_cost
    # A pay that isn't given leaves the cost unknown.
    money = days * (np.nan if pay is None else pay) + counted * measure.material_money
    return {"person_days": days, "cost_money": money}


def _kept(values: pd.Series, taken: Floats) -> pd.Series:
    left = _numbers(values) * (1 - taken)
    return _whole(left) if pd.api.types.is_integer_dtype(values) else pd.Series(left)


def _whole(values: Floats) -> pd.Series:
    """Round to whole numbers, halves up; unknown stays unknown."""
    rounded = pd.Series(np.floor(np.where(np.isfinite(values), values, np.nan) + 0.5))
    return rounded.astype("Int64")


def _numbers(values: pd.Series) -> Floats:
    return values.to_numpy(dtype=np.float64, na_value=np.nan)
