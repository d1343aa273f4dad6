"""Soil loss, classes and flags of each plot.

Flags are codes; the sentences are the outputs' work. What each means, and the values that its
sentence needs (column names of :mod:`districtplan.tables`, keys of the plan, handbook tables):

``slope_beyond_equations``
    Too steep for the equations, no tonnes: slope_mean_pct, erosion.equations_slope_max_pct.
``forest_only``
    From erosion.forest_from_slope_pct: slope_mean_pct, the limit.
``perennials_only``
    From erosion.perennials_from_slope_pct, below the former limit: slope_mean_pct, the limit.
``rows_alone_not_enough``
    From erosion.structures_from_slope_pct, also on all steeper land: slope_mean_pct, the limit.
``loss_class_high``
    Soil loss with rows on the contour is in a class that the table ``erosion_classes`` flags:
    soil_loss_contour_likely_t_ha_yr, erosion_class.
``steeper_than_contour_limit``
    Steeper than the last class of the table ``contour_p``, so rows on the contour get no credit:
    slope_used_pct.
``longer_than_contour_limit``
    Longer than rows on the contour hold at this slope, so they get no credit: slope_length_m,
    the limit (:func:`districtplan.erosion.practice_factor.contour_p` of slope_used_pct).
``contour_no_credit_flat_rows``
    Rows on the contour would get credit if they were ridged or earthed up: practice.row_form.
``slope_length_capped``
    Soil loss is that of a shorter slope: slope_length_m, erosion.slope_length_cap_m.
``no_slope_length``
    The fall has no clear direction, so slope length and tonnes are left out: no values.
``no_soil_values``
    R, K or C isn't given, so there are no tonnes: the keys of the plan's section soil.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.erosion import classes, ls
from districtplan.erosion.practice_factor import NO_CREDIT, contour_p

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

FLAGS = (
    "slope_beyond_equations",
    "forest_only",
    "perennials_only",
    "rows_alone_not_enough",
    "loss_class_high",
    "steeper_than_contour_limit",
    "longer_than_contour_limit",
    "contour_no_credit_flat_rows",
    "slope_length_capped",
    "no_slope_length",
    "no_soil_values",
)


@dataclass(frozen=True)
class _Ground:
    slope_pct: Floats
    """For classes and land-use limits: as measured, else the raster's mean, which errs upward."""
    used_pct: Floats
    """For the equations: as measured, else the raster's less the bias of its error."""
    length_m: Floats
    beyond: Bools
    """Too steep for the equations."""
    unmeasured: Bools
    """Without a slope length."""


@dataclass(frozen=True)
class _Contour:
    p: Floats
    steep: Bools
    """Steeper than the last class."""
    long: Bools
    """Longer than its class allows."""
    unearned: Bools
    """Credit that flat rows forgo."""


def assess(
    plots: pd.DataFrame,
    terrain: pd.DataFrame,
    plan: Plan,
    handbook: Handbook,
) -> pd.DataFrame:
    """Assess soil erosion of each plot.

    Soil loss is ``A = R K LS C P`` [1]_ on the corrected mean slope and on the slope length, cut
    at the plan's cap. Slope class, land-use limits and the limit of the equations go by the mean
    slope of the raster as it is, which errs towards more caution. A slope measured on the ground
    takes the place of both.

    Parameters
    ----------
    plots : pandas.DataFrame
        Plots; ``plot_id`` is used.
    terrain : pandas.DataFrame
        ``plot_id``, ``slope_mean_pct``, ``slope_measured_pct``, ``slope_used_pct`` and
        ``slope_length_m`` of the same plots; the measured slope is null where there is none, the
        length where the fall has no clear direction.
    plan : Plan
        What is wanted: soil values, limits, form of the rows.
    handbook : Handbook
        The published tables.

    Returns
    -------
    pandas.DataFrame
        ``plot_id`` and the columns made by erosion, in the order of ``plots``.

    Raises
    ------
    ValueError
        If the terrain of a plot is missing.

    References
    ----------
    .. [1] Renard, K.G., Foster, G.R., Weesies, G.A., McCool, D.K., Yoder, D.C. (1997). Predicting
       soil erosion by water (RUSLE). USDA Agriculture Handbook 703.
    """
    ground = _ground(plots, terrain, plan)
    contour = _contour(ground, plan, handbook)
    found = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy()})
    slopes = handbook.rows("slope_classes").sort_values("lower_pct")
    place = classes.place(ground.slope_pct, slopes["lower_pct"])
    found["slope_class_number"] = slopes["number"].to_numpy(dtype=np.int64)[place]
    found["slope_class"] = slopes["name"].to_numpy()[place]
    found["ls"] = _ls(ground, plan, handbook)
    found["r"] = _given(plan.soil.rain_erosivity_mj_mm_ha_h_yr)
    found["k"] = _given(plan.soil.erodibility_t_ha_h_ha_mj_mm)
    found["c"] = _given(plan.soil.cover_factor)
    found["p_contour"] = np.where(ground.beyond | ground.unmeasured, np.nan, contour.p)
    # A product with an unknown factor is NaN, so losses are empty beyond the equations, without
    # a slope length, and without R, K and C.
    bare = found["r"] * found["k"] * found["ls"] * found["c"]
    found["soil_loss_up_down_likely_t_ha_yr"] = bare * NO_CREDIT
    found["soil_loss_contour_likely_t_ha_yr"] = bare * found["p_contour"]
    _add_loss_class(found, ground, handbook)
    raised = _limits(ground, plan) | {
        "loss_class_high": _flagged(found, handbook),
        "steeper_than_contour_limit": contour.steep,
        "longer_than_contour_limit": contour.long,
        "contour_no_credit_flat_rows": contour.unearned,
        "no_soil_values": found[["r", "k", "c"]].isna().any(axis="columns").to_numpy(),
    }
    found["erosion_flags"] = _codes(raised)
    return tables.check(found, ("plot_id", *tables.made_by("erosion")))


def _ground(plots: pd.DataFrame, terrain: pd.DataFrame, plan: Plan) -> _Ground:
    known = terrain.set_index("plot_id")[["slope_mean_pct", "slope_used_pct"]]
    missing = known.reindex(plots["plot_id"]).isna().any(axis="columns")
    if missing.any():
        raise ValueError(f"no slope of the plots {missing.index[missing].tolist()}")
    joined = terrain.set_index("plot_id").loc[plots["plot_id"]]
    measured = joined["slope_measured_pct"].to_numpy(dtype=np.float64)
    raw = joined["slope_mean_pct"].to_numpy(dtype=np.float64)
    slope_pct = np.where(np.isnan(measured), raw, measured)
    length_m = joined["slope_length_m"].to_numpy(dtype=np.float64)
    return _Ground(
        slope_pct,
        joined["slope_used_pct"].to_numpy(dtype=np.float64),
        length_m,
        slope_pct > plan.erosion.equations_slope_max_pct,
        np.isnan(length_m),
    )


def _contour(ground: _Ground, plan: Plan, handbook: Handbook) -> _Contour:
    p, length_max_m = contour_p(ground.used_pct, handbook)
    last_pct = float(handbook.rows("contour_p")["slope_high_pct"].max())
    # NaN where there is no class: not longer than any limit.
    long = ground.length_m > length_max_m
    earned = np.where(long, NO_CREDIT, p)
    flat = plan.practice.row_form == "flat"
    return _Contour(
        np.full_like(earned, NO_CREDIT) if flat else earned,
        ground.used_pct > last_pct,
        long,
        (earned < NO_CREDIT) & ~ground.beyond & flat,
    )


def _ls(ground: _Ground, plan: Plan, handbook: Handbook) -> Floats:
    length_m = np.minimum(ground.length_m, plan.erosion.slope_length_cap_m)
    factor = ls.ls_factor(ground.used_pct, length_m, ls.constants(handbook))
    # On level ground any length has the same factor, an unknown one too: left out all the same.
    return np.where(ground.beyond | ground.unmeasured, np.nan, factor)


def _given(value: float | None) -> float:
    return np.nan if value is None else value


def _add_loss_class(found: pd.DataFrame, ground: _Ground, handbook: Handbook) -> None:
    rows = handbook.rows("erosion_classes")
    with_tonnes = rows.dropna(subset="lower_t_ha_yr").sort_values("lower_t_ha_yr")
    beyond = rows[rows["lower_t_ha_yr"].isna()].iloc[0]
    loss = found["soil_loss_contour_likely_t_ha_yr"].to_numpy(dtype=np.float64)
    place = classes.place(loss, with_tonnes["lower_t_ha_yr"])
    number = with_tonnes["number"].to_numpy(dtype=np.int64)[place]
    number = np.where(ground.beyond, int(beyond["number"]), number)
    unknown = np.isnan(loss) & ~ground.beyond
    found["erosion_class_number"] = pd.array(number, dtype="Int64")
    found.loc[unknown, "erosion_class_number"] = pd.NA
    name = np.where(ground.beyond, beyond["name"], with_tonnes["name"].to_numpy()[place])
    found["erosion_class"] = pd.Series(name, dtype="object").mask(unknown)


def _flagged(found: pd.DataFrame, handbook: Handbook) -> Bools:
    rows = handbook.rows("erosion_classes")
    numbers = rows.loc[rows["flagged"] != 0, "number"]
    return found["erosion_class_number"].isin(numbers).to_numpy(dtype=np.bool_)


def _limits(ground: _Ground, plan: Plan) -> dict[str, Bools]:
    slope, limits = ground.slope_pct, plan.erosion
    forest = slope >= limits.forest_from_slope_pct
    return {
        "slope_beyond_equations": ground.beyond,
        "forest_only": forest,
        "perennials_only": (slope >= limits.perennials_from_slope_pct) & ~forest,
        "rows_alone_not_enough": slope >= limits.structures_from_slope_pct,
        "no_slope_length": ground.unmeasured & ~ground.beyond,
        "slope_length_capped": ~ground.beyond & (ground.length_m > limits.slope_length_cap_m),
    }


def _codes(raised: dict[str, Bools]) -> list[tuple[str, ...]]:
    marks = np.column_stack([raised[code] for code in FLAGS])
    return [tuple(compress(FLAGS, row)) for row in marks.tolist()]
