"""Soil values of the plan that are believable in no district, most often a mix of unit systems."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan


def doubts(plan: Plan, handbook: Handbook) -> list[str]:
    """Say which soil values of the plan look wrong.

    Parameters
    ----------
    plan : Plan
        What is wanted.
    handbook : Handbook
        The published tables.

    Returns
    -------
    list[str]
        A sentence a doubt; empty where there is none.
    """

    def number(name: str) -> float:
        return handbook.number("soil_ranges", name)

    said = []
    erosivity = plan.soil.rain_erosivity_mj_mm_ha_h_yr
    low, high = number("rain_erosivity_low"), number("rain_erosivity_high")
    if erosivity is not None and not low <= erosivity <= high:
        said.append(
            f"rain_erosivity_mj_mm_ha_h_yr = {erosivity:g} lies outside {low:g} to {high:g}. "
            "Check its unit: US customary values must be multiplied by "
            f"{number('rain_erosivity_us_to_si'):g}."
        )
    erodibility = plan.soil.erodibility_t_ha_h_ha_mj_mm
    if erodibility is not None and erodibility > number("erodibility_high"):
        said.append(
            f"erodibility_t_ha_h_ha_mj_mm = {erodibility:g} lies above "
            f"{number('erodibility_high'):g}. Check its unit: US customary values must be "
            f"multiplied by {number('erodibility_us_to_si'):g}."
        )
    return said
