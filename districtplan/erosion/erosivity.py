"""Rain erosivity R from yearly or monthly rain, by regional equations.

Each equation is of one region; between accepted ones R differs threefold at the same rain. So the
plan names one, and none stands in for another. All numbers are in the table
``erosivity_equations``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from districtplan.erosion.unit_systems import to_si

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from districtplan.handbook import Handbook
    from districtplan.plan import Soil

TABLE = "erosivity_equations"


@dataclass(frozen=True)
class Erosivity:
    """Rain erosivity of the district.

    Attributes
    ----------
    r : float | None
        R [MJ mm/(ha h yr)]; None where the plan gives neither R nor an equation.
    spread_factor : float
        R may be larger or smaller by this factor, 19 times in 20.
    equation : str | None
        The equation that gave it; None where R is as given.
    rain_mm : float | None
        Annual rain, or the modified Fournier index, that it went by [mm].
    """

    r: float | None
    spread_factor: float
    equation: str | None = None
    rain_mm: float | None = None


def fournier(monthly_mm: Sequence[float]) -> float:
    """Give the modified Fournier index: the sum of squares of monthly rain over annual rain.

    Parameters
    ----------
    monthly_mm : Sequence[float]
        Mean rain of each month [mm].

    Returns
    -------
    float
        Index [mm]; 0 without rain.
    """
    total = sum(monthly_mm)
    return sum(month * month for month in monthly_mm) / total if total > 0 else 0.0


def branch(equation: str, rain_mm: float, handbook: Handbook) -> pd.Series:
    """Find the row of an equation that holds at a rain.

    Parameters
    ----------
    equation : str
        Name of the equation.
    rain_mm : float
        Annual rain, or the modified Fournier index [mm].
    handbook : Handbook
        The published tables.

    Returns
    -------
    pandas.Series
        Row of the table ``erosivity_equations``.
    """
    rows = handbook.rows(TABLE)
    rows = rows[rows["equation"] == equation].fillna({"from_mm": 0.0}).sort_values("from_mm")
    return rows[rows["from_mm"] <= rain_mm].iloc[-1]


def by_equation(equation: str, rain_mm: float, handbook: Handbook) -> float:
    """Work out R by one equation [1]_.

    Parameters
    ----------
    equation : str
        Name of the equation.
    rain_mm : float
        Annual rain, or the modified Fournier index, as the equation asks [mm].
    handbook : Handbook
        The published tables.

    Returns
    -------
    float
        R [MJ mm/(ha h yr)]; negative where the equation doesn't reach.

    References
    ----------
    .. [1] The source of each equation stands in its row of the table ``erosivity_equations``.
    """
    row = branch(equation, rain_mm, handbook)
    term = {name: _or(row[name], 0.0) for name in ("constant", "factor", "square", "power_factor")}
    x = _or(row["inner_constant"], 0.0) + _or(row["inner_factor"], 1.0) * rain_mm
    found = term["constant"] + term["factor"] * x + term["square"] * x * x
    if term["power_factor"] != 0:
        found += term["power_factor"] * x ** float(row["power"])
    return found * to_si("rain_erosivity", str(row["unit_system"]), handbook)


def valid_mm(equation: str, handbook: Handbook) -> tuple[float, float]:
    """Give the rain for which an equation isn't doubted.

    Parameters
    ----------
    equation : str
        Name of the equation.
    handbook : Handbook
        The published tables.

    Returns
    -------
    low : float
        Least annual rain, or modified Fournier index [mm].
    high : float
        Most [mm].
    """
    rows = handbook.rows(TABLE)
    rows = rows[rows["equation"] == equation]
    return float(rows["valid_low_mm"].min()), float(rows["valid_high_mm"].max())


def _or(value: float, empty: float) -> float:
    """Take a cell as it is, or what an empty one stands for."""
    return empty if math.isnan(value) else float(value)


def of_plan(soil: Soil, handbook: Handbook) -> Erosivity:
    """Take R as the plan gives it, or by the equation that it names.

    Parameters
    ----------
    soil : Soil
        The plan's section.
    handbook : Handbook
        The published tables.

    Returns
    -------
    Erosivity
        R and its spread.
    """
    given = handbook.number("loss_spread", "rain_erosivity_given_factor")
    if soil.rain_equation is None:
        return Erosivity(soil.rain_erosivity_mj_mm_ha_h_yr, given)
    monthly = soil.rain_monthly_mm
    kind = handbook.rows(TABLE).set_index("equation")["rain"]
    if monthly is not None and (kind.loc[[soil.rain_equation]] == "fournier").any():
        rain = fournier(monthly)
    else:
        rain = soil.annual_mm
    row = branch(soil.rain_equation, rain, handbook)
    # Beyond its region's rain an equation may turn negative: no R then.
    found = by_equation(soil.rain_equation, rain, handbook)
    r = found if found > 0 else None
    return Erosivity(r, float(row["spread_factor"]), soil.rain_equation, rain)
