"""Which measures a plot may bear, by slope, soil depth and drainage: needs no tonnes.

Reasons are codes; the sentences are the outputs' work:

``annual_crops_end``
    From erosion.perennials_from_slope_pct on only permanent cover is offered.
``too_gentle``, ``too_steep``
    Outside the slopes of the measure (table ``measure_numbers``).
``soil_not_known``
    The measure needs deep or freely draining soil, and depth or drainage isn't known.
``soil_shallow``, ``drains_poorly``
    They are known, and not enough.
``slipping_ground``
    It would hold water back or dig on ground that slips: stop, and call the technician.
``gathered_water``
    It would hold water back where more gathers than falls on the plot, which breaks it.
``there_already``
    A sound structure of the kind stands there.
``no_run_on``
    No land above drains onto the plot, so there is nothing to cut off.
``no_flow_line``
    Water doesn't gather on the plot, so it needs no waterway.
``saves_nothing``
    It holds back no more than what is there (told by the effects, not here).
``vetoed``
    Staff have ruled it out in the field (told by the vetoes, not here).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan import tables
from districtplan.conservation.catalogue import ALL_ITS_LAND

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.conservation.catalogue import Measure
    from districtplan.conservation.land import Land
    from districtplan.plan import Plan

REASONS = (
    "annual_crops_end",
    "too_gentle",
    "too_steep",
    "slipping_ground",
    "soil_not_known",
    "soil_shallow",
    "drains_poorly",
    "gathered_water",
    "there_already",
    "no_run_on",
    "no_flow_line",
    "saves_nothing",
    "vetoed",
)
ALLOWED = ""


def reasons(measure: Measure, land: Land, plan: Plan) -> NDArray[np.object_]:
    """Say of each plot why it can't bear a measure.

    Bounds of slopes are allowed themselves; so is a soil as deep as the least depth.

    Parameters
    ----------
    measure : Measure
        The measure.
    land : Land
        The plots.
    plan : Plan
        Its limits of land use and of flow lines.

    Returns
    -------
    numpy.ndarray
        The first of ``REASONS`` that holds, empty where it may be there.
    """
    depth = measure.number("depth_min_m", 0.0)
    unknown = (np.isnan(land.soil_depth_m) & (depth > 0)) | (
        (land.drainage == "") & measure.drains_freely
    )
    above = (land.total_m > land.length_m) | (land.run_on_ha > 0)
    gathers = tables.crossed(land.flow_line_m, plan.water.crossing_min_m)
    holds = {
        "annual_crops_end": (land.slope_pct >= plan.erosion.perennials_from_slope_pct)
        & (measure.effect != ALL_ITS_LAND),
        "too_gentle": land.slope_pct < measure.number("slope_low_pct", 0.0),
        "too_steep": land.slope_pct > measure.number("slope_high_pct", np.inf),
        "slipping_ground": land.slipping & (measure.carries_water | measure.soil_known),
        "soil_not_known": unknown & measure.soil_known,
        "soil_shallow": land.soil_depth_m < depth,
        "drains_poorly": (land.drainage == "poor") & measure.drains_freely,
        "gathered_water": gathers & measure.drains_freely,
        "there_already": np.isin(land.structure, measure.already) & (land.condition == "good"),
        "no_run_on": ~above & (measure.effect == "run_on"),
        "no_flow_line": ~gathers & (measure.effect == "none"),
    }
    found: NDArray[np.object_] = np.select(
        list(holds.values()), [np.array(code, dtype=object) for code in holds], ALLOWED
    ).astype(object)
    return found
