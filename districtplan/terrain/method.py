"""How rows are laid out on a plot, and why so."""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.plan import Plan, Terrain
    from districtplan.terrain.noise import Doubt, ErrorModel

REASONS = (
    "supported",
    "flat",
    "flat_drains_poorly",
    "straight_rows_too_steep",
    "too_few_cells",
    "too_level_to_tell",
    "no_best_direction",
    "bearing_too_uncertain",
)
"""Why a plot has its row method, as ``row_method_reason`` gives it."""

LEVEL_REASONS = ("flat", "flat_drains_poorly")
"""Reasons of nearly level plots: rows may run in any direction, or beds must have a fall."""

BEARING_REASONS = ("supported", "straight_rows_too_steep", "bearing_too_uncertain")
"""Reasons of plots for which a standard error of the bearing means something."""

METHODS = {
    "supported": "straight",
    "flat": "any direction",
    "flat_drains_poorly": "measure on the ground",
    "straight_rows_too_steep": "guide lines",
    "too_few_cells": "measure on the ground",
    "too_level_to_tell": "measure on the ground",
    "no_best_direction": "measure on the ground",
    "bearing_too_uncertain": "measure on the ground",
}


def grades(doubt: Doubt, error: ErrorModel, limits: Terrain) -> pd.DataFrame:
    """Give the numbers that decide whether straight rows do.

    Parameters
    ----------
    doubt : Doubt
        Bearing, slope and how far the raster's error may reach.
    error : ErrorModel
        The error.
    limits : Terrain
        The plan's section on when a bearing is good enough.

    Returns
    -------
    pandas.DataFrame
        ``slope_corrected_pct``, ``slope_se_pct``, ``row_grade_likely_pct``, ``row_grade_95_pct``,
        ``row_grade_limit_pct`` and ``coherence``, one row a plot.
    """
    share = limits.row_grade_limit_share
    return pd.DataFrame(
        {
            "slope_corrected_pct": 100 * doubt.slope,
            "slope_se_pct": 100 * doubt.slope_se,
            "row_grade_likely_pct": 100 * doubt.grade_likely(),
            "row_grade_95_pct": 100 * doubt.grade_95(error),
            "row_grade_limit_pct": np.minimum(
                limits.row_grade_limit_pct, share * 100 * doubt.slope
            ),
            "coherence": doubt.coherence(),
        }
    )


def reasons(
    table: pd.DataFrame, doubt: Doubt, error: ErrorModel, plan: Plan
) -> NDArray[np.object_]:
    """Say why each plot gets its method; the first reason that holds, in this order.

    Parameters
    ----------
    table : pandas.DataFrame
        ``cells``, ``coherence``, ``slope_corrected_pct``, ``slope_se_pct``, ``row_grade_95_pct``
        and ``row_grade_limit_pct``; ``soil_drainage`` where it is known, which stands before the
        plan's.
    doubt : Doubt
        How far the raster's error may reach.
    error : ErrorModel
        The error.
    plan : Plan
        Its section ``terrain`` says when a bearing is good enough, ``rows`` how much of a row must
        keep within the limit, ``soil`` whether level land may be planted flat.

    Returns
    -------
    numpy.ndarray
        One of ``REASONS`` a plot, shape (plots,).
    """
    limits, wet = plan.terrain, tables.drains_poorly(table, plan.soil.drainage)
    slope = table["slope_corrected_pct"].to_numpy()
    limit = table["row_grade_limit_pct"].to_numpy()
    reach = error.turn_se * table["slope_se_pct"].to_numpy()
    turned = np.sin(np.minimum(error.turn_se * doubt.turn, np.pi / 2))
    from_turn = 100 * np.sqrt(np.abs(doubt.deviator)) * turned
    level = slope + reach <= limits.level_slope_pct
    steep = table["row_grade_95_pct"].to_numpy() > limit
    bends = doubt.level > error.level_se * doubt.level_se
    # Where land bends, grades vary along rows much as a normal variable of that root mean square:
    # so much of their length keeps within the limit.
    within = NormalDist().inv_cdf((1 + plan.rows.within_share_min) / 2)
    steep_by_bend = within * 100 * np.sqrt(np.maximum(doubt.level, 0.0)) > limit
    rules = {
        "too_few_cells": table["cells"].to_numpy() < limits.cells_min,
        "flat_drains_poorly": wet & level,
        "flat": level,
        # The raster can't tell the slope from level ground.
        "too_level_to_tell": slope <= reach,
        # The error of the bearing alone would break the limit.
        "bearing_too_uncertain": from_turn > limit,
        "no_best_direction": table["coherence"].to_numpy() < limits.coherence_min,
        "straight_rows_too_steep": (steep | steep_by_bend) & bends,
    }
    # Past the limit, but the raster can't tell a bend from its own error.
    default = np.where(steep, "bearing_too_uncertain", "supported")
    return np.select(list(rules.values()), list(rules), default=default).astype(object)
