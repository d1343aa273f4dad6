"""Soil values of the plan that are believable in no district, most often a mix of unit systems."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.erosion import cover, erosivity

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
    by_rain = erosivity.of_plan(plan.soil, handbook)
    said += _of_equation(by_rain, handbook)
    given = plan.soil.rain_erosivity_mj_mm_ha_h_yr
    low, high = number("rain_erosivity_low"), number("rain_erosivity_high")
    if given is not None and not low <= given <= high:
        said.append(
            f"rain_erosivity_mj_mm_ha_h_yr = {given:g} lies outside {low:g} to {high:g}. "
            "Check its unit: US customary values must be multiplied by "
            f"{number('rain_erosivity_us_to_si'):g}."
        )
    erodibility = plan.soil.erodibility_t_ha_h_ha_mj_mm
    low, high = number("erodibility_low"), number("erodibility_high")
    if erodibility is not None and not low <= erodibility <= high:
        said.append(
            f"erodibility_t_ha_h_ha_mj_mm = {erodibility:g} lies outside {low:g} to {high:g}. "
            "Check its unit: US customary values must be multiplied by "
            f"{number('erodibility_us_to_si'):g}."
        )
    if cover.of_plan(plan.soil, handbook).author == "roose":
        said.append(
            "soil.cover is of an author who prints no P of rows on the contour: they get no credit."
        )
    return said


def _of_equation(found: erosivity.Erosivity, handbook: Handbook) -> list[str]:
    if found.equation is None or found.rain_mm is None:
        return []
    row = erosivity.branch(found.equation, found.rain_mm, handbook)
    name = f"rain_equation = {found.equation}"
    if found.r is None:
        return [f"{name} gives no R at {found.rain_mm:.0f} mm, so tonnes are left out."]
    said = []
    low, high = erosivity.valid_mm(found.equation, handbook)
    if not low <= found.rain_mm <= high:
        kind = "annual rain" if row["rain"] == "annual" else "the modified Fournier index"
        said.append(
            f"{name} is doubted outside {low:g} to {high:g} mm of {kind}: the plan has "
            f"{found.rain_mm:.0f} mm. It is of this region: {row['region']}."
        )
    least = handbook.number("soil_ranges", "rain_erosivity_low")
    most = handbook.number("soil_ranges", "rain_erosivity_high")
    if not least <= found.r <= most:
        said.append(
            f"{name} gives R = {found.r:.0f} MJ mm/(ha h yr), outside {least:g} to {most:g}. "
            "Check the rain, and whether the equation is of your region."
        )
    return said
