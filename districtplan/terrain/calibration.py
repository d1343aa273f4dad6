"""What readings say of the raster: its bias and scatter, and how large its error really is.

A difference d of raster and reading has the variance k² s² + r², with s the standard error that the
raster's stated vertical error σ gives the plot's slope, r that of a reading, and k how many times
larger than stated the raster's error is. Where slope outweighs noise s is proportional to σ, so k σ
is the error that the readings show. k² is the mean of (d² - r²) / s² weighted by its precision
(Fisher scoring of the normal likelihood), over differences within a few standard errors; what that
cut takes off a normal variance is put back.

Errors of plots closer than the correlation length are alike, so readings should lie apart: the
standard errors given here take them as independent.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import geodesy, records, tables
from districtplan.terrain.readings import latest, true_bearing

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

ROUNDS_MAX = 200
"""Rounds of the search for k; it settles in about ten."""

NOT_COMPARED = ("level land by the raster", "the raster is not sure of its own bearing")
"""Why a bearing read isn't compared with the raster's."""

CLOSE = 1e-9
"""The search for k stops where a round moves it by less than this share."""


@dataclass(frozen=True)
class Spread:
    """Differences of raster less reading, in the unit of what was read.

    Attributes
    ----------
    slope_class : str
        Class of the slopes read; empty for the district.
    readings : int
        Number of readings.
    bias : float
        Mean difference, slips apart.
    bias_se : float
        Its standard error.
    scatter : float
        Standard deviation of the differences, slips apart.
    """

    slope_class: str
    readings: int
    bias: float
    bias_se: float
    scatter: float


@dataclass(frozen=True)
class Calibration:
    """What the readings in force say of the raster.

    Attributes
    ----------
    slopes : tuple[Spread, ...]
        Slopes [%] over the district, then by class; empty under the least number of readings.
    bearings : tuple[Spread, ...]
        Bearings [degrees], alike.
    outside : tuple[str, ...]
        Plots whose reading lies outside what the stated errors explain.
    vertical_error_m : float | None
        The raster's vertical error that slopes suggest [m]; None where they can't tell.
    vertical_error_se_m : float | None
        Its standard error [m]; None where the readings show no error of the raster.
    """

    slopes: tuple[Spread, ...]
    bearings: tuple[Spread, ...]
    outside: tuple[str, ...]
    vertical_error_m: float | None
    vertical_error_se_m: float | None


def calibrate(
    terrain: pd.DataFrame,
    readings: pd.DataFrame,
    plots: pd.DataFrame,
    grid_crs: CRS,
    plan: Plan,
    handbook: Handbook,
) -> tuple[pd.DataFrame, Calibration]:
    """Compare the raster with readings.

    Parameters
    ----------
    terrain : pandas.DataFrame
        What the raster says, before readings override it, with the columns made for ``estimate``.
    readings : pandas.DataFrame
        Readings used.
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg`` and ``latitude_deg`` of the same plots.
    grid_crs : pyproj.CRS
        UTM zone that grid bearings refer to.
    plan : Plan
        The raster's stated vertical error.
    handbook : Handbook
        Errors of readings and when they judge the raster (table ``ground_readings``), slope
        classes.

    Returns
    -------
    compared : pandas.DataFrame
        One row a reading used, in their order: the columns made by the comparison.
    calibration : Calibration
        What they say together.
    """
    raster = terrain.set_index("plot_id").loc[readings["plot_id"]].reset_index(drop=True)
    true = true_bearing(readings, plots, grid_crs)
    slope = readings["slope_pct"].to_numpy(dtype=np.float64)
    slope_off = raster["slope_corrected_pct"].to_numpy() - slope
    line, line_se, why_not = _line(raster, ~np.isnan(true), handbook)
    compared = pd.DataFrame(
        {
            "source_row": readings["source_row"].to_numpy(dtype=np.int64),
            "plot_id": readings["plot_id"].to_numpy(),
            "reading_date": [day.isoformat() for day in readings["date"]],
            "reading_method": readings["method"].to_numpy(),
            "slope_read_pct": slope,
            "slope_raster_pct": raster["slope_corrected_pct"].to_numpy(),
            "slope_raster_se_pct": raster["slope_se_pct"].to_numpy(),
            "slope_difference_pct": slope_off,
            "bearing_read_true_deg": true,
            "bearing_raster_true_deg": line,
            "bearing_raster_se_deg": line_se,
            "bearing_difference_deg": geodesy.shorter_turn_deg(line - true),
            "bearing_not_compared": why_not,
        }
    )
    in_force = {
        name: compared.index.isin(latest(compared, column).index)
        for name, column in (("slope", "slope_read_pct"), ("bearing", "bearing_read_true_deg"))
    }
    compared["reading_use"] = _use(in_force)
    for kind, unit in (("slope", "pct"), ("bearing", "deg")):
        expected = _expected(compared, kind, unit, handbook)
        off = compared[f"{kind}_difference_{unit}"].to_numpy()
        compared[f"{kind}_agrees"] = _agrees(off, expected, handbook)
    names = ("source_row", "plot_id", *tables.made_by("comparison"))
    compared = tables.check(compared, names)
    return compared, _calibration(compared, in_force, plan, handbook)


def _line(
    raster: pd.DataFrame, read: Bools, handbook: Handbook
) -> tuple[Floats, Floats, NDArray[np.object_]]:
    """Give the raster's own line and its standard error, printed or not, or why there is none."""
    se = raster["level_line_se_deg"].to_numpy()
    level = (raster["row_method_reason"] == "flat").to_numpy()
    unsure = se > handbook.number(records.TABLE, "compared_se_max_deg")
    on_level, not_sure = NOT_COMPARED
    why_not = np.full(len(se), None, dtype=object)
    why_not[read & unsure] = not_sure
    why_not[read & level] = on_level
    known = ~level & ~unsure
    line = np.where(known, raster["level_line_true_deg"].to_numpy(), np.nan)
    return line, np.where(known, se, np.nan), why_not


def _use(in_force: dict[str, Bools]) -> list[str]:
    told = zip(*(used.tolist() for used in in_force.values()), strict=True)
    return [
        " and ".join(name for name, used in zip(in_force, row, strict=True) if used) or "none"
        for row in told
    ]


def _agrees(off: Floats, expected: Floats, handbook: Handbook) -> list[str | None]:
    reach = handbook.number(records.TABLE, "outside_se") * expected
    return [
        None if np.isnan(difference) else "outside" if far else "inside"
        for difference, far in zip(off.tolist(), (np.abs(off) > reach).tolist(), strict=True)
    ]


def _expected(compared: pd.DataFrame, kind: str, unit: str, handbook: Handbook) -> Floats:
    """Give the standard errors of differences as stated."""
    raster = compared[f"{kind}_raster_se_{unit}"].to_numpy()
    expected: Floats = np.hypot(raster, handbook.number(records.TABLE, f"{kind}_se_{unit}"))
    return expected


def _calibration(
    compared: pd.DataFrame, in_force: dict[str, Bools], plan: Plan, handbook: Handbook
) -> Calibration:
    slopes = compared[in_force["slope"]]
    known = compared["bearing_difference_deg"].notna()
    bearings = compared[in_force["bearing"] & known]
    # A plot's class is that of the slope read with its bearing or, for want of it, the raster's.
    steep = bearings["slope_read_pct"].fillna(bearings["slope_raster_pct"])
    outside = (in_force["slope"] & (compared["slope_agrees"] == "outside")) | (
        in_force["bearing"] & (compared["bearing_agrees"] == "outside")
    )
    error, error_se = _vertical_error(slopes, plan, handbook)
    return Calibration(
        _spreads(
            slopes["slope_difference_pct"].to_numpy(),
            _expected(slopes, "slope", "pct", handbook),
            slopes["slope_read_pct"].to_numpy(),
            handbook,
        ),
        _spreads(
            bearings["bearing_difference_deg"].to_numpy(),
            _expected(bearings, "bearing", "deg", handbook),
            steep.to_numpy(),
            handbook,
        ),
        tuple(dict.fromkeys(compared.loc[outside, "plot_id"])),
        error,
        error_se,
    )


def _spreads(
    off: Floats, expected: Floats, slope: Floats, handbook: Handbook
) -> tuple[Spread, ...]:
    if len(off) < handbook.number(records.TABLE, "readings_min"):
        return ()
    classes = handbook.rows("slope_classes").sort_values("lower_pct")
    place = np.searchsorted(classes["lower_pct"].to_numpy(), slope, side="right") - 1
    found = [spread(off, expected, handbook)]
    for number, name in enumerate(classes["name"]):
        here = place == number
        if here.sum() >= handbook.number(records.TABLE, "class_readings_min"):
            found.append(spread(off[here], expected[here], handbook, str(name)))
    return tuple(found)


def spread(off: Floats, expected: Floats, handbook: Handbook, slope_class: str = "") -> Spread:
    """Give the mean and standard deviation of differences, slips apart.

    A slip is a difference of more than a few robust standard deviations from the median, each
    measured by its own expected error: plots differ. What leaving those out takes off a normal
    variance is put back: nearly as exact as the plain numbers, and slips don't move them.

    Parameters
    ----------
    off : numpy.ndarray
        Differences, shape (readings,).
    expected : numpy.ndarray
        Their standard errors up to a common factor, above 0, shape (readings,).
    handbook : Handbook
        The table ``ground_readings``.
    slope_class : str, default ""
        What class they are of.

    Returns
    -------
    Spread
        In the unit of the differences.
    """
    times = handbook.number(records.TABLE, "reject_se")
    away = np.abs(off - np.median(off)) / expected
    robust = np.median(away) / NormalDist().inv_cdf(3 / 4)
    # Where most differences are the same, none is a slip for that.
    kept = off[away <= times * robust] if robust > 0 else off
    scatter = float(np.std(kept, ddof=1) / np.sqrt(_kept_variance(times)))
    return Spread(
        slope_class, len(off), float(kept.mean()), scatter / float(np.sqrt(len(kept))), scatter
    )


def _kept_variance(times: float) -> float:
    """Give the variance of a standard normal distribution cut at some standard deviations."""
    normal = NormalDist()
    return 1 - 2 * times * normal.pdf(times) / (2 * normal.cdf(times) - 1)


def _vertical_error(
    slopes: pd.DataFrame, plan: Plan, handbook: Handbook
) -> tuple[float | None, float | None]:
    """Find the vertical error that slopes suggest."""
    sigma = plan.elevation.vertical_error_m
    times = handbook.number(records.TABLE, "outside_se")
    se = slopes["slope_raster_se_pct"].to_numpy()
    # Where noise drowns the slope, its error isn't proportional to the raster's.
    clear = (se > 0) & (slopes["slope_read_pct"].to_numpy() > times * se)
    if clear.sum() < handbook.number(records.TABLE, "readings_min"):
        return None, None
    off = slopes["slope_difference_pct"].to_numpy()[clear]
    reading = handbook.number(records.TABLE, "slope_se_pct")
    bias = spread(off, np.hypot(se[clear], reading), handbook).bias
    cut = handbook.number(records.TABLE, "reject_se")
    larger, larger_se = _times_larger(off - bias, se[clear], reading, cut)
    return sigma * larger, None if larger_se is None else sigma * larger_se


def _times_larger(
    off: Floats, se: Floats, reading: float, cut: float
) -> tuple[float, float | None]:
    """Find k and its standard error; the bias is taken off already."""
    median = np.median(off**2) / NormalDist().inv_cdf(3 / 4) ** 2
    squared = max(float(median - reading**2), 0.0) / float(np.mean(se**2))
    back = _kept_variance(cut) * (1 - 1 / len(off))
    each = (off**2 / back - reading**2) / se**2
    for _ in range(ROUNDS_MAX):
        weight = _precision(off, se, reading, cut, squared)
        before, squared = squared, max(float(weight @ each / weight.sum()), 0.0)
        if abs(squared - before) <= CLOSE * before:
            break
    if squared == 0:
        return 0.0, None
    weight = _precision(off, se, reading, cut, squared)
    return float(np.sqrt(squared)), float(np.sqrt(2 / weight.sum() / squared) / 2)


def _precision(off: Floats, se: Floats, reading: float, cut: float, squared: float) -> Floats:
    """Weigh differences by how exactly each gives k²; slips not at all."""
    variance = squared * se**2 + reading**2
    return np.where(off**2 <= cut**2 * variance, se**4 / variance**2, 0.0)
