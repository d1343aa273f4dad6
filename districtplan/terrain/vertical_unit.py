"""Signs that heights are in feet where they are taken for metres: told, never acted on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.terrain.surface import TABLE

if TYPE_CHECKING:
    import pandas as pd

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

ASKED = (
    'Are the heights in feet? If so, set vertical_unit = "foot" in [elevation] (slopes are then '
    '0.3 times as steep); if not, "metre" ends this question.'
)


def doubts(
    terrain: pd.DataFrame, compared: pd.DataFrame, plan: Plan, handbook: Handbook
) -> list[str]:
    """Ask for the unit of heights where they look like feet.

    Parameters
    ----------
    terrain : pandas.DataFrame
        ``elevation_mean_m`` and ``slope_corrected_pct`` of the plots.
    compared : pandas.DataFrame
        ``slope_read_pct`` and ``slope_raster_pct`` of ground readings; may be empty.
    plan : Plan
        Says whether the unit is known.
    handbook : Handbook
        When heights look like feet (table ``surface_checks``).

    Returns
    -------
    list[str]
        One sentence with the signs and the question; empty where there is no sign or the plan
        gives the unit.
    """
    if plan.elevation.vertical_unit is not None:
        return []
    limits = handbook.numbers(TABLE)
    signs = []
    height = float(np.nanmedian(terrain["elevation_mean_m"]))
    if height > limits["feet_height_min_m"]:
        signs.append(
            f"half of the plots lie above {height:,.0f} m, where few crops are grown "
            f"({0.3048 * height:,.0f} m if that is feet)"
        )
    slope = float(np.nanmedian(terrain["slope_corrected_pct"]))
    if slope > limits["feet_slope_min_pct"]:
        signs.append(f"half of the plots are steeper than {slope:.0f} %, as few fields are")
    read = compared["slope_read_pct"].to_numpy(dtype=np.float64)
    raster = compared["slope_raster_pct"].to_numpy(dtype=np.float64)
    steep = read >= limits["feet_reading_min_pct"]
    if steep.sum() >= limits["feet_readings_min"]:
        times = float(np.median(raster[steep] / read[steep]))
        if limits["feet_times_min"] <= times <= limits["feet_times_max"]:
            signs.append(
                f"the raster is {times:.1f} times as steep as {steep.sum()} slopes measured on "
                "the ground, and a metre has 3.28 feet"
            )
    return [f"The raster: {'; '.join(signs)}. {ASKED}"] if signs else []
