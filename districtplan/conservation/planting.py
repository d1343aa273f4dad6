"""Planting material of the measures, and when it has to be raised.

Weeks are counted back from the usual onset of rain, of the village's zone where it is given: splits
and seedlings go out in wet ground.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.conservation.catalogue import Measure, catalogue

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]


def plants_to_raise(
    measure: Measure, length_m: Floats, area_ha: Floats, handbook: Handbook
) -> Floats:
    """Count splits or seedlings: metres times rows times plants a metre, and those that die.

    Parameters
    ----------
    measure : Measure
        The measure.
    length_m : numpy.ndarray
        Length of its lines [m].
    area_ha : numpy.ndarray
        Area that it covers where it is no line [ha].
    handbook : Handbook
        The published tables: the share that dies.

    Returns
    -------
    numpy.ndarray
        Plants to raise, whole and rounded up, so that after losses enough are left; 0 for a
        measure without plants, NaN where its length isn't known.
    """
    a_metre = measure.number("rows", 0.0) * measure.number("plants_per_m", 0.0)
    a_hectare = measure.number("plants_per_ha", 0.0)
    if a_metre + a_hectare == 0:
        return np.zeros_like(area_ha)
    needed = area_ha * a_hectare if a_hectare > 0 else length_m * a_metre
    return np.ceil(needed / (1 - handbook.number("measure_numbers", "planting losses_share")))


def nurseries(
    chosen: pd.DataFrame, plan: Plan, handbook: Handbook, onsets: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Add up what nurseries raise, by village and measure.

    Parameters
    ----------
    chosen : pandas.DataFrame
        Measures to be built: ``village``, ``measure`` and ``measure_plants``.
    plan : Plan
        Its usual onset of rain, from which weeks are counted back.
    handbook : Handbook
        The published tables: plants a square metre of bed, and weeks in it.
    onsets : pandas.DataFrame | None, default None
        ``village`` and ``onset_usual``, which stands before the plan's.

    Returns
    -------
    pandas.DataFrame
        ``village``, ``measure`` and the columns made by nurseries, sorted by village and then in
        the order of the catalogue; measures without plants are left out. ``nursery_plants`` is
        null where the length of a line isn't known.
    """
    made = ("village", "measure", *tables.made_by("nurseries"))
    usual = plan.usual_onset(handbook)
    days = (
        {} if onsets is None else dict(zip(onsets["village"], onsets["onset_usual"], strict=True))
    )
    found = []
    measures = [one for one in catalogue(handbook) if not np.isnan(one.number("nursery_weeks"))]
    for village, of_village in chosen.groupby("village", sort=True):
        for measure in measures:
            plants = of_village.loc[of_village["measure"] == measure.name, "measure_plants"]
            if plants.empty:
                continue
            total = pd.NA if plants.isna().any() else int(plants.sum())
            weeks = measure.number("nursery_weeks")
            a_m2 = measure.number("nursery_plants_m2")
            starts = days.get(village, usual) - timedelta(weeks=weeks)
            found.append(
                {
                    "village": village,
                    "measure": measure.name,
                    "nursery_plants": total,
                    "nursery_m2": np.nan if total is pd.NA else np.ceil(total / a_m2),
                    "nursery_weeks": weeks,
                    "nursery_date": starts.isoformat(),
                }
            )
    table = pd.DataFrame(found, columns=list(made))
    kinds = {"nursery_plants": "Int64", "nursery_m2": "float64", "nursery_weeks": "float64"}
    return tables.check(table.astype(kinds), made)
