"""The plots whose rank is least certain: where a look tells most.

A plot's doubt is the larger of two: how evenly the chance of being in the worst tenth is balanced,
``4 p (1 - p)``, and the share of what should be known of it that isn't. Equal doubts go by how far
low and high lie apart. Reasons are codes:

``may_be_worst_tenth``
    The chance of being in the worst tenth is balanced: chance_worst_tenth.
``beyond_equations``
    Too steep for tonnes.
``no_slope_length``
    The fall has no clear direction, so there are no tonnes.
``slope_above_not_known``
    The slope above may be longer: LS is a lower limit.
``practice_not_known``
    What is there now isn't known.
``bearing_not_known``
    The raster gives no bearing: measure on the ground.
"""

from __future__ import annotations

from itertools import compress
from typing import TYPE_CHECKING

import numpy as np

from districtplan import tables

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LISTED = 10
"""Plots that a walk-over visits."""
REASONS = (
    "may_be_worst_tenth",
    "beyond_equations",
    "no_slope_length",
    "slope_above_not_known",
    "practice_not_known",
    "bearing_not_known",
)
BALANCED = 0.5
"""Doubt from which a chance is told as a reason."""


def walk_over(plots: pd.DataFrame) -> pd.DataFrame:
    """List the least certain plots.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``village``, ``chance_worst_tenth``, low and high of the loss now,
        ``soil_loss_floor_t_ha_yr``, ``slope_length_m``, ``ls_at_least``, ``practice_now_known``
        and ``row_method``.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``, ``village`` and the columns made by walk over; ten rows, fewer where fewer
        plots give a reason, the most doubtful first.
    """
    chance = _numbers(plots["chance_worst_tenth"])
    balance = np.nan_to_num(4 * chance * (1 - chance))
    missing = {
        "beyond_equations": plots["soil_loss_floor_t_ha_yr"].notna().to_numpy(),
        "no_slope_length": plots["slope_length_m"].isna().to_numpy(),
        "slope_above_not_known": (plots["ls_at_least"] != 0).to_numpy(),
        "practice_not_known": (plots["practice_now_known"] == 0).to_numpy(),
        "bearing_not_known": (plots["row_method"] == "measure on the ground").to_numpy(),
    }
    doubt = np.maximum(balance, np.mean(list(missing.values()), axis=0))
    low, high = (_numbers(plots[f"soil_loss_now_{end}_t_ha_yr"]) for end in ("low", "high"))
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.nan_to_num(np.log(high / low), nan=np.inf)
    marks = np.column_stack([balance >= BALANCED, *missing.values()])
    order = np.lexsort((plots["plot_id"].to_numpy(), -spread, -doubt))
    # Without a reason there is nothing to look for.
    order = order[marks[order].any(axis=1)][:LISTED]
    marks = marks[order]
    found = plots[["plot_id", "village"]].iloc[order].reset_index(drop=True)
    found["walk_order"] = np.arange(1, len(found) + 1)
    found["doubt"] = doubt[order]
    found["walk_reasons"] = [tuple(compress(REASONS, row)) for row in marks.tolist()]
    return tables.check(found, ("plot_id", "village", *tables.made_by("walk over")))


def _numbers(values: pd.Series) -> Floats:
    return values.to_numpy(dtype=np.float64, na_value=np.nan)
