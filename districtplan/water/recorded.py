"""What staff recorded of water from above: it overrides what the heights say."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.water.above import BEGINS, FEATURE

if TYPE_CHECKING:
    import pandas as pd

RUNS_ON = "yes"
RECORDED = "as recorded"
"""Where the slope above begins that someone saw to be cut off."""


def override(water: pd.DataFrame, run_on: pd.DataFrame) -> pd.DataFrame:
    """Put what was recorded in the place of what was worked out.

    Where nothing runs on, no slope lies above, and no area. Where water is said to run on although
    a feature is drawn above, or the heights have no slope above, that slope isn't known: what is
    left is a lower limit.

    Parameters
    ----------
    water : pandas.DataFrame
        The table of :func:`districtplan.water.trace`.
    run_on : pandas.DataFrame
        ``plot_id`` and ``run_on``: ``yes``, ``none``, ``stopped by`` something, or empty where
        nothing was recorded.

    Returns
    -------
    pandas.DataFrame
        The same table, with what was recorded.
    """
    said = water["plot_id"].map(dict(zip(run_on["plot_id"], run_on["run_on"], strict=True)))
    yes = said.eq(RUNS_ON).to_numpy(dtype=np.bool_)
    stopped = (said.notna() & said.ne("")).to_numpy(dtype=np.bool_) & ~yes
    cut = water["slope_above_begins"].eq(BEGINS[FEATURE]) | water["slope_length_above_m"].eq(0)
    unknown = yes & cut.to_numpy(dtype=np.bool_)
    found = water.copy()
    found.loc[stopped, ["slope_length_above_m", "run_on_area_ha"]] = 0.0
    found.loc[stopped, "slope_length_above_at_least"] = 0
    found.loc[unknown, "slope_length_above_at_least"] = 1
    found.loc[stopped, "slope_above_begins"] = RECORDED
    return found
