"""The pocket table: what a slope measured on the ground asks for, without a computer.

Lines along the contour lie a spacing h apart on the map, h s lower on a slope s, and
h √(1 + s²) apart along the ground, which is what paces measure. Two rules of the trade differ,
most on steep land, so both are given: a distance by how steep the land is, and a drop that is
never farther apart than a distance. A row laid δ off the contour falls s sin δ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan import intervals

if TYPE_CHECKING:
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

SLOPES, SPACINGS = "pocket_slopes", intervals.COMMON


@dataclass(frozen=True)
class Spacing:
    """From one line to the next below.

    Attributes
    ----------
    map_m : float
        As on the map [m].
    drop_m : float
        How much lower the next line lies [m].
    steps : int
        Paces straight down the slope.
    """

    map_m: float
    drop_m: float
    steps: int


@dataclass(frozen=True)
class PocketRow:
    """One slope of the table.

    Attributes
    ----------
    slope_pct : float
        The slope [%].
    by_distance : Spacing
        By the rule of distances.
    by_drop : Spacing
        By the rule of a drop.
    grade_limit_pct : float
        Steepest grade along a row there [%].
    grade_off_pct : tuple[float, ...]
        Grade of a row laid off the contour by each of the table's errors [%].
    error_max_deg : float
        Error of a bearing that brings a row to its limit [degrees]; 90 if none does.
    """

    slope_pct: float
    by_distance: Spacing
    by_drop: Spacing
    grade_limit_pct: float
    grade_off_pct: tuple[float, ...]
    error_max_deg: float


@dataclass(frozen=True)
class Pocket:
    """The table.

    Attributes
    ----------
    errors_deg : tuple[float, ...]
        Errors of a bearing that it shows [degrees].
    rows : tuple[PocketRow, ...]
        One a slope, the gentlest first.
    """

    errors_deg: tuple[float, ...]
    rows: tuple[PocketRow, ...]


def pocket_table(plan: Plan, handbook: Handbook) -> Pocket:
    """Make the table under a plan.

    Parameters
    ----------
    plan : Plan
        Its pace and row-grade limits.
    handbook : Handbook
        Slopes (table ``pocket_slopes``) and rules (table ``line_spacings``).

    Returns
    -------
    Pocket
        The table.
    """
    errors = tuple(
        handbook.number(SPACINGS, f"bearing_error_{size}_deg")
        for size in ("small", "middle", "large")
    )
    slopes = sorted(float(slope) for slope in handbook.rows(SLOPES)["slope_pct"])
    return Pocket(errors, tuple(_row(slope, errors, plan, handbook) for slope in slopes))


def _row(slope_pct: float, errors: tuple[float, ...], plan: Plan, handbook: Handbook) -> PocketRow:
    terrain = plan.terrain
    limit = min(terrain.row_grade_limit_pct, terrain.row_grade_limit_share * slope_pct)
    return PocketRow(
        slope_pct,
        _spacing(_apart_m(intervals.DISTANCE, slope_pct, handbook), slope_pct, plan.rows.pace_m),
        _spacing(_apart_m(intervals.DROP, slope_pct, handbook), slope_pct, plan.rows.pace_m),
        limit,
        tuple(float(slope_pct * np.sin(np.radians(error))) for error in errors),
        float(np.degrees(np.arcsin(min(limit / slope_pct, 1.0)))),
    )


def _spacing(map_m: float, slope_pct: float, pace_m: float) -> Spacing:
    slope = slope_pct / 100
    steps = int(np.floor(map_m * np.hypot(1, slope) / pace_m + 0.5))
    return Spacing(map_m, map_m * slope, steps)


def _apart_m(rule: str, slope_pct: float, handbook: Handbook) -> float:
    return float(intervals.horizontal_m(rule, np.array([slope_pct]), handbook)[0])
