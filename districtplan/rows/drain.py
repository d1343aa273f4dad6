"""Which way rows drain, what lies there, and what fall they are to have."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import geodesy, tables
from districtplan.rows.ends import REFUSED, SAFE, ends
from districtplan.rows.straight import DUST

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

FLAGS = ("no_safe_outlet", "outlet_before_fall")
"""What ``outlet_flags`` may hold."""

STRAIGHT, GUIDED = "straight", "guide lines"
EITHER = "either end"
SIDES = (
    "north end",
    "north-east end",
    "east end",
    "south-east end",
    "south end",
    "south-west end",
    "west end",
    "north-west end",
)


def drain(
    plots: pd.DataFrame,
    ground: pd.DataFrame,
    grid_crs: CRS,
    features: pd.DataFrame,
    plan: Plan,
    handbook: Handbook,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Find which end of straight rows is low and what lies there, and give rows a fall if need be.

    The mean grade along rows is the slope times the cosine between the bearing and the fall. An end
    is low only where that exceeds what the error of the bearing explains 19 times in 20, and the
    least fall of the plan; else rows are level as far as anyone knows. A bearing read on the ground
    is level by that reading.

    Where the soil drains poorly, rows are to fall to a safe end. The bearing is turned towards it
    by the arc sine of fall over slope only where the raster supports that: the fall is as much more
    than the least as rows may err 19 times in 20, and with the same error again it stays within the
    limit. Elsewhere a level must give rows their fall.

    Rows that follow guide lines are given the least fall, to an end that is safe as seen along the
    bearing at their middle; which end of them is low isn't told.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg``, ``latitude_deg`` and ``geometry``, the last in the UTM zone;
        ``soil_drainage`` where it is known, which stands before the plan's.
    ground : pandas.DataFrame
        The columns of terrain and readings, of the same plots in any order.
    grid_crs : pyproj.CRS
        The zone.
    features : pandas.DataFrame
        ``kind``, ``width_m`` and ``geometry`` in the zone of what takes land.
    plan : Plan
        Its sections ``rows`` and ``soil``.
    handbook : Handbook
        How many standard errors count (table ``terrain_noise``).

    Returns
    -------
    ground : pandas.DataFrame
        The same, in the order of ``plots``; bearings and grades are those of turned rows.
    drainage : pandas.DataFrame
        ``plot_id`` and the columns that :mod:`districtplan.tables` gives the step.
    """
    ground = ground.set_index("plot_id").loc[plots["plot_id"]].reset_index()
    wet = tables.drains_poorly(plots, plan.soil.drainage)
    chosen = np.flatnonzero(_asked(ground, wet))
    of = ground.iloc[chosen]
    place = (plots[name].to_numpy()[chosen] for name in ("longitude_deg", "latitude_deg"))
    ahead, behind = ends(
        plots["geometry"].to_numpy(dtype=object),
        chosen,
        of["row_bearing_grid_deg"].to_numpy(),
        features,
        plan.rows.outlet_reach_m * geodesy.point_scale(grid_crs, *place),
    )
    grade = _grade(of, plan, handbook.number("terrain_noise", "turn_se"))
    wanted = _wanted(of, grade, np.isin(ahead, SAFE), np.isin(behind, SAFE), plan)
    wanted = wanted.only(wet[chosen])
    turned = wanted.turn_deg != 0
    ground = _turn(ground, chosen[turned], wanted.turn_deg[turned], wanted.fall_pct[turned])
    grade = np.where(turned, wanted.toward * wanted.fall_pct, grade)
    bearing = ground["row_bearing_true_deg"].to_numpy()[chosen]
    outlet = np.where(grade > 0, ahead, behind)
    outlet[grade == 0] = None
    raised = np.column_stack([np.isin(outlet, REFUSED), np.isnan(wanted.fall_pct)]).tolist()
    flags = np.empty(len(plots), dtype=object)
    flags[:] = [()] * len(plots)
    for at, row in zip(chosen, raised, strict=True):
        flags[at] = tuple(compress(FLAGS, row))
    found = {
        "row_end_ahead": ahead,
        "row_end_behind": behind,
        "row_low_end": _side(bearing, grade),
        "row_outlet": outlet,
        "row_fall_pct": np.abs(grade),
        "row_fall_to": np.where(wanted.either, EITHER, _side(bearing, wanted.toward)),
        "row_grade_design_pct": wanted.fall_pct,
        "row_turn_deg": wanted.turn_deg,
    }
    table = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy(), "outlet_flags": flags})
    for name, values in found.items():
        empty = np.full(len(plots), None if values.dtype == object else np.nan, values.dtype)
        empty[chosen] = values
        table[name] = empty
    return ground, tables.check(table, ("plot_id", *tables.made_by("drainage")))


def _asked(ground: pd.DataFrame, wet: Bools) -> Bools:
    """Say which rows are looked at: straight ones, and guided ones where they need a fall."""
    method = ground["row_method"].to_numpy()
    known = ground["row_bearing_grid_deg"].notna().to_numpy()
    return np.asarray((method == STRAIGHT) | (wet & (method == GUIDED) & known))


@dataclass(frozen=True)
class _Wanted:
    """What fall rows are to have, a value a plot."""

    toward: Floats  # 1 to the end that the bearing points to, -1 to the other, 0 to neither
    either: Bools  # whether both ends will do
    fall_pct: Floats  # NaN where rows need a fall and have nowhere to fall to
    turn_deg: Floats  # clockwise, 0 where the bearing stays

    def only(self, wet: Bools) -> _Wanted:
        """Ask for it where the soil drains poorly alone; elsewhere rows lie level."""
        return _Wanted(
            np.where(wet, self.toward, 0.0),
            self.either & wet,
            np.where(wet, self.fall_pct, 0.0),
            np.where(wet, self.turn_deg, 0.0),
        )


def _grade(of: pd.DataFrame, plan: Plan, times: float) -> Floats:
    """Give the mean grade towards the end that the bearing points to, 0 where none is known [%]."""
    slope = of["slope_used_pct"].to_numpy()
    away = of["downslope_true_deg"].to_numpy() - of["row_bearing_true_deg"].to_numpy()
    along = slope * np.cos(np.radians(away))
    error = np.minimum(times * np.radians(of["row_bearing_se_deg"].to_numpy()), np.pi / 2)
    least = np.maximum(slope * np.sin(error), max(plan.rows.row_grade_min_pct, DUST))
    read = of["row_bearing_measured_true_deg"].notna().to_numpy()
    sure = (of["row_method"].to_numpy() == STRAIGHT) & ~read
    return np.where((np.abs(along) > least) & sure, along, 0.0)


def _wanted(of: pd.DataFrame, grade: Floats, ahead: Bools, behind: Bools, plan: Plan) -> _Wanted:
    """Say what fall rows need, and to which end, where ahead or behind is safe."""
    none = np.zeros(len(of))
    either = ahead & behind & (grade == 0)
    toward = np.where(ahead & behind, np.sign(grade), ahead * 1.0 - behind)
    least = plan.rows.row_grade_min_pct
    err, limit, slope, downslope, bearing = (
        of[name].to_numpy()
        for name in (
            "row_grade_95_pct",
            "row_grade_limit_pct",
            "slope_used_pct",
            "downslope_true_deg",
            "row_bearing_true_deg",
        )
    )
    more = np.maximum(least + err - toward * grade, 0)
    held = (toward != 0) & (least + 2 * err <= limit) & (more < slope) & ~np.isnan(downslope)
    held &= of["row_bearing_measured_true_deg"].isna().to_numpy()
    held &= of["row_method"].to_numpy() == STRAIGHT
    turn = np.degrees(np.arcsin(np.divide(more, slope, out=none.copy(), where=held)))
    # Towards the fall: clockwise where it lies to the right of the end that rows are to fall to.
    right = np.sin(np.radians(downslope - bearing)) * toward > 0
    fall = np.where(ahead | behind, np.where(held, least + err, least), np.nan)
    return _Wanted(toward, either, fall, np.where(right, turn, 0 - turn))


def _turn(ground: pd.DataFrame, which: Integers, turn_deg: Floats, fall: Floats) -> pd.DataFrame:
    """Turn bearings, and let grades along rows say so."""
    turned = ground.copy()
    for name in ("row_bearing_true_deg", "row_bearing_grid_deg", "row_bearing_magnetic_deg"):
        values = ground[name].to_numpy().copy()
        values[which] = geodesy.line_deg(values[which] + turn_deg)
        turned[name] = values
    words = ground["row_bearing_words"].to_numpy(dtype=object).copy()
    words[which] = geodesy.line_in_words(turned["row_bearing_true_deg"].to_numpy()[which])
    turned["row_bearing_words"] = words
    likely, most = (
        ground[name].to_numpy().copy() for name in ("row_grade_likely_pct", "row_grade_95_pct")
    )
    likely[which] = np.hypot(likely[which], fall)
    most[which] += fall
    return turned.assign(row_grade_likely_pct=likely, row_grade_95_pct=most)


def _side(bearing_deg: Floats, toward: Floats) -> Objects:
    """Name the end that the bearing points to, the other one, or none, by the sign given."""
    direction = np.where(toward < 0, bearing_deg + 180, bearing_deg)
    nearest = np.floor(direction * len(SIDES) / 360 + 0.5).astype(np.int64) % len(SIDES)
    names = np.array(SIDES, dtype=object)[nearest]
    names[toward == 0] = None
    return names
